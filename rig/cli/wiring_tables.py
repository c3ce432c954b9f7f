"""A bench's wiring as tables, and as JSON values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel
from rich.text import Text

from rig.cli.table import table
from rig.plan.safety import Circuit, InputHolds, Interlock, OutputHolds, QuantityHolds, QuantityRises, StepConfirmed

if TYPE_CHECKING:
    from rig.plan.wiring import Bench

Rows = list[Sequence[object]]


def wiring_lines(wiring: Bench, width: int) -> list[Text]:
    """Outputs, inputs, quantities, test points, and what must hold for outputs to be on."""
    parts: list[tuple[tuple[str, ...], Rows]] = [
        (("output", "at", "feedback", "longest on", "energizes", "what it is"), _outputs(wiring)),
        (("input", "at", "open / closed", "what it is"), _inputs(wiring)),
        (("quantity", "at", "range", "accuracy", "what it is"), _quantities(wiring)),
        (("test point", "relay", "circuit", "what it is"), _test_points(wiring)),
        (("interlock", "for", "held by", "must hold, and why"), _interlocks(wiring)),
        (("held by the wiring alone", "why"), [(n, w.because) for n, w in wiring.wiring_only.items()]),
        (("circuit", "proved dead before ohms"), _circuits(wiring)),
    ]
    lines: list[Text] = []
    for head, rows in parts:
        if rows:
            lines += [Text(""), *table(head, rows, width)]
    return lines


def _outputs(wiring: Bench) -> Rows:
    return [
        (name, f"{o.instrument}:{o.channel}", o.feedback, o.longest_on, o.energizes, o.for_)
        for name, o in wiring.outputs.items()
    ]


def _inputs(wiring: Bench) -> Rows:
    return [
        (name, f"{i.instrument}:{i.channel}", f"{i.open} / {i.closed}", i.for_) for name, i in wiring.inputs.items()
    ]


def _quantities(wiring: Bench) -> Rows:
    return [
        (name, f"{q.instrument}:{q.channel}", q.span(), q.accuracy, q.for_) for name, q in wiring.quantities.items()
    ]


def _test_points(wiring: Bench) -> Rows:
    return [
        (
            name,
            f"{t.select.instrument}:{t.select.channel}" if t.select is not None else "by hand",
            t.on,
            f"{t.for_}: {_listed(t.measures)}",
        )
        for name, t in wiring.test_points.items()
    ]


def _interlocks(wiring: Bench) -> Rows:
    return [
        (name, _listed(i.for_), _listed(("program", *i.also)), f"{_held(i)}. {i.because}")
        for name, i in wiring.interlocks.items()
    ]


def _held(lock: Interlock) -> str:
    lifts = " or ".join(condition_text(state) for state in lock.unless)
    return condition_text(lock.must) + (f", unless {lifts}" if lifts else "")


def _circuits(wiring: Bench) -> Rows:
    return [(name, _proof(circuit)) for name, circuit in wiring.circuits.items()]


def _proof(circuit: Circuit) -> str:
    if circuit.never_live:
        return f"never live: {circuit.never_live}"
    return f"{' and '.join(circuit.functions)} at {circuit.test_point} below {circuit.below}"


def condition_text(must: BaseModel) -> str:
    """An interlock's condition in a few words."""
    if isinstance(must, InputHolds):
        return f"{must.input} {must.is_}"
    if isinstance(must, OutputHolds):
        return f"{must.output} {must.is_}"
    if isinstance(must, QuantityRises):
        return f"{must.quantity} rises {must.rises} within {must.within}, until {must.until}"
    if isinstance(must, QuantityHolds):
        ends = [("at least", must.at_least), ("at most", must.at_most)]
        bounds = " and ".join(f"{word} {end}" for word, end in ends if end is not None)
        return f"{must.quantity} {bounds}, read within {must.no_older_than}"
    if isinstance(must, StepConfirmed):
        return f"{must.confirmed} passed in this run"
    raise TypeError(f"no words for {must!r}")


def _listed(words: Iterable[str]) -> str:
    return ", ".join(words)


def wiring_values(wiring: Bench) -> dict[str, Any]:
    """The same as JSON values; quantities as they are written."""
    names = ("outputs", "inputs", "quantities", "test_points", "interlocks", "wiring_only", "circuits")
    return {name: _plain(getattr(wiring, name)) for name in names}


def _plain(value: Any) -> Any:
    if isinstance(value, BaseModel):
        value = dict(value)
    if isinstance(value, dict):
        return {key.rstrip("_"): _plain(v) for key, v in value.items()}
    if isinstance(value, list | tuple):
        return [_plain(v) for v in value]
    return value if value is None or isinstance(value, bool | int | float | str) else str(value)
