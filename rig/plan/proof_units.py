"""Rules about steps that are for some units only: the facts are known, the words are ones that units have."""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache

from rig.errors import Fault
from rig.plan.load import Loc, bundled, load
from rig.plan.messages import listed, nearest
from rig.plan.procedure import ForUnits, Repeat, Time
from rig.plan.profile import UnitProfile
from rig.plan.view import View, unknown


def for_units_fit(view: View) -> Iterator[Fault]:
    """Each fact of for-units is a fact of some unit, in words, and each word is one that a unit has there."""
    written = [(loc, words) for loc, words in _all(view) if words]
    if not written:
        return
    if view.procedure.needs_unit == "no":
        for loc, _ in written:
            yield view.procedure_file.fault(loc, "this procedure is for no unit, so nothing in it is for some units")
        return
    facts = _facts(view.profile)
    for loc, words in written:
        for path, wanted in words.items():
            if path not in facts:
                yield view.procedure_file.fault((*loc, path), unknown("fact of a unit", path, facts))
                continue
            yield from _words(view, (*loc, path), wanted, facts[path])
    if not view.steps:
        yield view.procedure_file.fault(("stages",), "nothing in this procedure is for this unit")


def _words(view: View, loc: Loc, wanted: tuple[str, ...], known: frozenset[str]) -> Iterator[Fault]:
    for index, word in enumerate(wanted):
        if word not in known:
            words = sorted(known)
            message = f"no unit has the word '{word}' there{nearest(word, words)}; known: {listed(words) or 'none'}"
            yield view.procedure_file.fault((*loc, index), message)


def _all(view: View) -> Iterator[tuple[Loc, ForUnits]]:
    """Everything in the file that can say for-units, with its place; also what is not for the unit at hand."""
    for number, stage in enumerate(view.procedure.stages):
        yield ("stages", number, "for-units"), stage.for_units
        for part in ("make-ready", "steps", "make-safe"):
            for index, step in enumerate(getattr(stage, part.replace("-", "_"))):
                yield from _of(step, ("stages", number, part, index))


def _of(step: object, loc: Loc) -> Iterator[tuple[Loc, ForUnits]]:
    yield (*loc, "for-units"), step.for_units  # type: ignore[attr-defined]
    if isinstance(step, Repeat):
        for index, inner in enumerate(step.repeat.steps):
            yield from _of(inner, (*loc, "repeat", "steps", index))
    elif isinstance(step, Time):
        for index, beside in enumerate(step.meanwhile):
            yield from _of(beside, (*loc, "meanwhile", index))


def _facts(profile: UnitProfile | None) -> dict[str, frozenset[str]]:
    """The words of every fact, by path: of the unit at hand and of the bundled ones. Numbers have none."""
    found: dict[str, set[str]] = {}
    for one in (*_bundled(), *(() if profile is None else (profile,))):
        for group, facts in one.facts.items():
            for name, fact in facts.items():
                words = found.setdefault(f"{group}.{name}", set())
                if isinstance(fact, str):
                    words.add(fact)
    return {path: frozenset(words) for path, words in found.items()}


@cache
def _bundled() -> tuple[UnitProfile, ...]:
    """The bundled profiles; read once, and only for a procedure that tells units apart."""
    models = [load(path).model for path in bundled("unit-profile").values()]
    return tuple(m for m in models if isinstance(m, UnitProfile))


RULES = (for_units_fit,)
