"""What a reading that a person typed is worth.

A person who says ± is believed. Where nothing is said, and the reading is by the instrument that the bench has for it
(its name or its serial number is typed), the bench file's statement holds; else half of the last digit is all that is
known. By that instrument, for which the bench file states a drift, what readings have in common drops out of their
difference, as it does where the program reads.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import date

from rig.judgement.accuracy import Statement
from rig.plan.hand_instruments import is_meant
from rig.plan.procedure import Measure, Record, Waveform
from rig.plan.stated import narrowest_statement, stated_quantity
from rig.plan.wiring import Bench
from rig.quantities import canonical, convert, unit
from rig.run.typed import Typed, digit_typed
from rig.uncertainty import Line, line

Step = Measure | Record | Waveform


def lines_of(said: Typed, text: str, bench: Bench, step: Step | None, today: date) -> list[Line]:
    """The budget of a reading, in its canonical unit; ``text`` is what was typed, ``step`` what it was asked for.
    Papers must hold ``today``."""
    code, half = canonical(said.unit), _half(said.off_by, said.unit)
    statement = None if step is None else _stated(bench, step, said.instrument, today)
    if said.stated:
        return _believed(half, _digit(said, text), statement)
    digit = line("last digit", half, "half of it")
    if statement is None or said.bound is not None:
        return [digit]
    return [*replace(statement, step=0.0).lines(convert(said.value, said.unit, code)), digit]


def _believed(half: float, digit: float, statement: Statement | None) -> list[Line]:
    """What a person states, half width ``half``: drift and last digit are another error in each reading."""
    drift = 0.0 if statement is None else (statement.drift or 0.0) / 2.0
    if statement is None or not 0.0 < drift + digit < half or drift == 0.0:
        return [line("stated by hand", half, "stated with the reading")]
    source = f"{statement.source}, by hand"
    lasting = "stated with the reading, less half the drift and the last digit"
    return [
        line("stated by hand", half - drift - digit, lasting, f"{source}: what lasts", source),
        line("drift", drift, "half of what the bench file states", statement=source),
        line("last digit", digit, "half of it", statement=source),
    ]


def change(before: Sequence[Line], after: Sequence[Line], seconds: float) -> list[Line]:
    """The budget of a rate: a reading after, less one ``seconds`` before it."""
    return [
        replace(each, name=f"{each.name} {when}").scaled(sign / seconds)
        for when, sign, lines in (("before", -1.0, before), ("after", 1.0, after))
        for each in lines
    ]


def _digit(said: Typed, text: str) -> float:
    """Half of the last digit; 0 for a number that says nothing about it."""
    try:
        return _half(digit_typed(text, said.unit), said.unit)
    except ValueError:
        return 0.0


def _half(half: float, code: str) -> float:
    """A half width in the canonical unit."""
    return half if unit(code).offset else convert(half, code, canonical(code))


def _stated(bench: Bench, step: Step, typed: str, today: date) -> Statement | None:
    """What the bench states of the instrument that it has for a step's reading, where that was read."""
    place = step.at if isinstance(step, Measure) else step.judged if isinstance(step, Record) else step.waveform
    quantity, point = bench.quantities.get(place), bench.test_points.get(place)
    own = quantity.instrument if quantity is not None else point.meter if point is not None else ""
    spec = bench.instruments.get(own)
    if spec is None or not is_meant(typed, own, spec.serial):
        return None
    if quantity is not None:
        return stated_quantity(bench, place) if not isinstance(step, Record) or step.figure == "slope" else None
    if not isinstance(step, Measure) or step.range is None:
        return None
    return narrowest_statement(bench, own, step.measure, step.range.canonical().value, today)
