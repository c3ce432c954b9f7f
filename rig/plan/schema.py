"""The JSON Schema of the files that people write, for editors that check while one types."""

from __future__ import annotations

from typing import Any

from pydantic.json_schema import GenerateJsonSchema, JsonSchemaValue
from pydantic_core import core_schema

from rig.errors import InputError
from rig.plan.load import KINDS
from rig.plan.messages import nearest

DIALECT = "https://json-schema.org/draft/2020-12/schema"
# What people call a kind, and the first key of its files.
FIRST_KEYS = {
    "procedure": "procedure",
    "profile": "unit-profile",
    "bench": "bench",
    "causes": "complaint",
    "rules": "shop-rules",
}


class _AsWritten(GenerateJsonSchema):
    """A key without a value is a fault in our files, so null is nowhere a value; and a default of null is none."""

    def nullable_schema(self, schema: core_schema.NullableSchema) -> JsonSchemaValue:
        return self.generate_inner(schema["schema"])

    def default_schema(self, schema: core_schema.WithDefaultSchema) -> JsonSchemaValue:
        found = super().default_schema(schema)
        return {k: v for k, v in found.items() if k != "default" or v is not None}

    def dict_schema(self, schema: core_schema.DictSchema) -> JsonSchemaValue:
        found = super().dict_schema(schema)
        return {**found, "additionalProperties": False} if "patternProperties" in found else found


def schema(kind: str) -> dict[str, Any]:
    """The JSON Schema of one kind of file. Raises InputError for another word."""
    first_key = FIRST_KEYS.get(kind)
    if first_key is None:
        known = ", ".join(FIRST_KEYS)
        raise InputError(f"there is no schema of {kind[:40]!r}{nearest(kind, FIRST_KEYS)}", f"Known: {known}.")
    model = KINDS[first_key]
    return {"$schema": DIALECT, **model.model_json_schema(by_alias=True, schema_generator=_AsWritten)}
