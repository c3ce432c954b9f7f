"""The JSON Schemas describe the files as they are written: the bundled ones fit, wrong ones do not."""

from __future__ import annotations

import json
import re
from typing import Any

import pytest
from small_shop import Shop

from rig.errors import InputError
from rig.plan.load import FOLDERS, bundled
from rig.plan.schema import FIRST_KEYS, schema
from rig.plan.source import plain, read

_TYPES: dict[str, tuple[type, ...]] = {
    "object": (dict,), "array": (list,), "string": (str,), "integer": (int,), "number": (int, float),
    "boolean": (bool,),
}  # fmt: skip
_KNOWN = {
    "$ref", "$defs", "$schema", "title", "description", "examples", "default", "type", "properties", "required",
    "additionalProperties", "patternProperties", "propertyNames", "items", "minItems", "maxItems", "minLength",
    "maxLength", "pattern", "minimum", "maximum", "exclusiveMinimum", "minProperties", "enum", "const", "oneOf",
    "anyOf",
}  # fmt: skip


def fits(value: Any, rule: dict[str, Any], root: dict[str, Any]) -> bool:
    """A validator of the keywords that our schemas use (JSON Schema 2020-12); an unknown keyword is an error."""
    assert set(rule) <= _KNOWN, set(rule) - _KNOWN
    if "$ref" in rule:
        return fits(value, root["$defs"][rule["$ref"].removeprefix("#/$defs/")], root)
    if "oneOf" in rule and sum(fits(value, r, root) for r in rule["oneOf"]) != 1:
        return False
    if "anyOf" in rule and not any(fits(value, r, root) for r in rule["anyOf"]):
        return False
    if "enum" in rule and value not in rule["enum"]:
        return False
    if "const" in rule and value != rule["const"]:
        return False
    kinds = [rule["type"]] if isinstance(rule.get("type"), str) else rule.get("type", [])
    if kinds and not any(
        isinstance(value, _TYPES[k]) and (k == "boolean" or not isinstance(value, bool)) for k in kinds
    ):
        return False
    if isinstance(value, dict):
        return _mapping_fits(value, rule, root)
    if isinstance(value, list):
        within = rule.get("minItems", 0) <= len(value) <= rule.get("maxItems", len(value))
        return within and all(fits(item, rule.get("items", {}), root) for item in value)
    if isinstance(value, str):
        within = rule.get("minLength", 0) <= len(value) <= rule.get("maxLength", len(value))
        return within and ("pattern" not in rule or re.search(rule["pattern"], value) is not None)
    if isinstance(value, (int, float)) and not isinstance(value, bool):
        return rule.get("minimum", value) <= value <= rule.get("maximum", value) and (
            "exclusiveMinimum" not in rule or value > rule["exclusiveMinimum"]
        )
    return True


def _mapping_fits(value: dict[str, Any], rule: dict[str, Any], root: dict[str, Any]) -> bool:
    known = rule.get("properties", {})
    if not all(key in value for key in rule.get("required", [])) or len(value) < rule.get("minProperties", 0):
        return False
    for key, item in value.items():
        if not fits(key, rule.get("propertyNames", {}), root):
            return False
        rules = [known[key]] if key in known else []
        rules += [r for pattern, r in rule.get("patternProperties", {}).items() if re.search(pattern, key)]
        if not rules:
            others = rule.get("additionalProperties", True)
            if others is False:
                return False
            rules = [others] if isinstance(others, dict) else []
        if not all(fits(item, r, root) for r in rules):
            return False
    return True


@pytest.mark.parametrize("kind", list(FIRST_KEYS))
def test_every_bundled_file_fits_its_schema(kind: str) -> None:
    found = schema(kind)
    json.dumps(found)
    for path in bundled(FIRST_KEYS[kind]).values():
        assert fits(plain(read(path)), found, found), path.name


@pytest.mark.parametrize("kind", list(FIRST_KEYS))
def test_a_file_of_another_kind_does_not_fit(kind: str) -> None:
    found = schema(kind)
    for other in set(FOLDERS) - {FIRST_KEYS[kind]}:
        for path in bundled(other).values():
            assert not fits(plain(read(path)), found, found), path.name


@pytest.mark.parametrize(
    ("name", "kind", "old", "new"),
    [
        ("procedure", "procedure", "drive: dead", "drive: ded"),
        ("procedure", "procedure", "start-within: 60", "start_within: 60"),
        ("procedure", "procedure", "times: 3", "times: 51"),
        ("procedure", "procedure", "needs: [earth]", "needs: earth"),
        ("procedure", "procedure", "stage: cold", "stage: Cold"),
        ("procedure", "procedure", "switch: {turn-on: [mains]}", "swich: {turn-on: [mains]}"),
        ("procedure", "procedure", "title: A small procedure", "title:"),
        ("procedure", "procedure", "range: 100 Ohm", "range: true"),
        ("bench", "bench", "simulated: true", "simulated: yes"),
        ("bench", "bench", "  jug: {", "  Jug: {"),
        ("bench", "bench", "raw: [0, 30000]", "raw: [0]"),
        ("profile", "profile", "limits:\n", "limit:\n"),
        ("profile", "profile", "valve: DC coil", "valve: true"),
    ],
)
def test_the_small_shop_fits_and_its_mistakes_do_not(shop: Shop, name: str, kind: str, old: str, new: str) -> None:
    found = schema(kind)
    assert fits(plain(read(shop.path(name))), found, found)
    assert not fits(plain(read(shop.change(old, new).path(name))), found, found)


def test_nothing_in_a_schema_may_be_null() -> None:
    for kind in FIRST_KEYS:
        assert "null" not in json.dumps(schema(kind))


def test_an_unknown_kind_is_told_with_the_known_ones() -> None:
    with pytest.raises(InputError) as caught:
        schema("procedures")
    text = " ".join(caught.value.lines())
    assert "nearest is 'procedure'" in text
    assert "profile" in text
    assert "bench" in text
