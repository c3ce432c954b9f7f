"""What a run came to: verdict, what failed and by how much, what was not run and why, whether all is off."""

from __future__ import annotations

from collections.abc import Iterable

from rich.text import Text

from rig.cli.looks import Looks
from rig.cli.rows import wrapped
from rig.events import AllOff, RunEnded, StepResult
from rig.limits import Verdict
from rig.plan.visible import visible
from rig.shown.numbers import (
    Shown,
    distance_text,
    limit_text,
    places_for,
    places_of,
    shown_together,
    significant,
    to_places,
    with_unit,
    without_idle_zeros,
)

_MEANS = {
    Verdict.PASS: "every judged step passed",
    Verdict.CONDITIONAL_PASS: "within every limit, but somewhere by less than the uncertainty",
    Verdict.CONDITIONAL_FAIL: "outside a limit, but by less than the uncertainty",
    Verdict.FAIL: "the unit is outside a limit",
    Verdict.NOT_EVALUATED: "measured, but not everything has an approved limit",
    Verdict.NO_READING: "the rig could not get a reading; this says nothing of the unit",
    Verdict.STOPPED: "the run was stopped; what was not reached is not judged",
    Verdict.NOT_RUN: "no step was run",
}
_TOLD = (
    Verdict.STOPPED,
    Verdict.NO_READING,
    Verdict.FAIL,
    Verdict.CONDITIONAL_FAIL,
    Verdict.CONDITIONAL_PASS,
    Verdict.NOT_EVALUATED,
)


def summary_lines(
    ended: RunEnded, steps: Iterable[StepResult], all_off: AllOff | None, looks: Looks, width: int
) -> list[Text]:
    """The closing lines of a run."""
    results = list(steps)
    room = max(width - 1, 20)
    head = Text.assemble(
        ("Verdict: ", "bold"),
        (f"{looks.sign(ended.verdict)} {ended.verdict}", looks.style(ended.verdict)),
        f"  {_MEANS[ended.verdict]}",
    )
    lines = wrapped(head, room, 0)
    if ended.reason:
        lines += wrapped(Text(visible(ended.reason, 400)), room, 2)
    for verdict in _TOLD:
        for result in results:
            if result.verdict is verdict:
                lines += _told(result, looks, room)
    lines += _not_run(results, room)
    lines += _rules(results, room)
    return lines + off_lines(ended.all_off, all_off, width)


def _told(result: StepResult, looks: Looks, room: int) -> list[Text]:
    sign = f"  {looks.sign(result.verdict):<2} "
    again = f" (attempt {result.attempt})" if result.attempt > 1 else ""
    text = Text.assemble(
        (f"{result.verdict} ", looks.style(result.verdict)),
        f"{visible(result.name)}{again}: {explained(result, looks.fancy)}",
    )
    lines = wrapped(text, room, 5)
    lines[0] = Text.assemble((sign, looks.style(result.verdict)), lines[0][5:])
    return lines


def explained(result: StepResult, fancy: bool) -> str:
    """Why a step ended as it did, in words: ``14.1 V, 6.3 V below the least allowed 20.4 V``."""
    parts = []
    reading = result.reading
    if reading is not None:
        shown = shown_together(reading, result.limit)
        bound = f"{visible(reading.bound)} " if reading.bound is not None else ""
        told = bound + with_unit(_value(shown), shown.unit, fancy)
        if shown.limit is not None and shown.limit.unit == shown.unit:
            if bound:
                told += f", where {limit_text(shown.limit, fancy)} is allowed"
            else:
                told += f", {distance_text(shown.value, shown.limit, fancy)}"
        if result.verdict in (Verdict.CONDITIONAL_PASS, Verdict.CONDITIONAL_FAIL):
            told += f"; its uncertainty is {with_unit(significant(shown.expanded, 2), shown.unit, fancy)}"
        parts.append(told)
    elif result.answer is not None:
        parts.append(f"answered {visible(result.answer)}")
    if result.reason and not (reading is not None and reading.bound and reading.bound in result.reason):
        parts.append(visible(result.reason, 400))
    return "; ".join(parts) or "no more is known"


def _value(shown: Shown) -> str:
    """The value with no more digits than its uncertainty leaves, and than tell it from its limit."""
    ends = [] if shown.limit is None else [e for e in (shown.limit.at_least, shown.limit.at_most) if e is not None]
    places = places_for(max(abs(shown.value), *(abs(e) for e in ends), 0.0), 4)
    of_u = places_of(shown.expanded)
    if places is None:
        return significant(shown.value, 4)
    return without_idle_zeros(to_places(shown.value, places if of_u is None else min(places, of_u)))


def _not_run(results: list[StepResult], room: int) -> list[Text]:
    """What was not run, by reason."""
    reasons: dict[str, list[str]] = {}
    for result in results:
        if result.verdict is Verdict.NOT_RUN:
            reasons.setdefault(visible(result.reason or "no reason is known", 400), []).append(result.name)
    if not reasons:
        return []
    lines = [Text("Not run:", "bold")]
    for reason, names in reasons.items():
        lines += wrapped(Text(f"{', '.join(visible(n) for n in dict.fromkeys(names))}: {reason}"), room, 2)
    return lines


def _rules(results: list[StepResult], room: int) -> list[Text]:
    """The decision rules of the limits that judged."""
    rules = dict.fromkeys(str(each.limit.rule) for each in results if each.limit and each.reading)
    return wrapped(Text(f"Decided by: {'; '.join(rules)} (ILAC-G8:09/2019)."), room, 0) if rules else []


def off_lines(is_off: bool, all_off: AllOff | None, width: int) -> list[Text]:
    """Whether everything is off, and what could not be confirmed."""
    if is_off:
        return [Text("Everything is off, and confirmed." if all_off is not None else "Everything is off.")]
    if all_off is None:
        what = "It is not known whether everything is off."
    else:
        names = ", ".join(visible(name) for name in all_off.unconfirmed) or "not everything"
        what = f"NOT CONFIRMED OFF: {names}."
    do = "Press the emergency stop, pull the plug, then look."
    return wrapped(Text(f"{what} {do}", "bold red"), max(width - 1, 20), 0)
