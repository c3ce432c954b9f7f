"""One line a finished step: sign, verdict, name, reading, limit, ruler. For want of room the ruler goes."""

from __future__ import annotations

import io

from rich.cells import cell_len
from rich.console import Console
from rich.text import Text

from rig.cli.looks import Looks
from rig.events import StepResult
from rig.limits import judge
from rig.plan.visible import visible
from rig.shown.numbers import limit_text, reading_text, shown_together
from rig.shown.ruler import ruler

LEAD, READING, LIMIT = 40, 20, 17  # columns; the three and two spaces make 79
_WORD = 8  # most verdicts have no more letters
_INDENT = 12


def step_lines(result: StepResult, looks: Looks, width: int) -> list[Text]:
    """The finished line of a step, and lines below it for what does not fit beside it."""
    lead = _lead(result, looks)
    columns = _columns(result, looks)
    room = max(width - 1, 20)  # the last column stays free: some terminals wrap there
    lines = [lead]
    if columns:
        beside = _beside(lead, columns, room)
        if beside is not None:
            lines = [beside]
        else:
            lines += wrapped(Text("  ").join(columns[:2]), room, _INDENT)
    reason = _reason(result)
    if reason:
        if not columns and max(lead.cell_len, LEAD) + 1 + cell_len(reason) <= room:
            lead.append(" " * (max(LEAD - lead.cell_len, 0) + 1) + reason)
        else:
            lines += wrapped(Text(reason), room, _INDENT)
    return [cut(line, room, looks) for line in lines]


def _lead(result: StepResult, looks: Looks) -> Text:
    word = f"{looks.sign(result.verdict):<2} {result.verdict!s:<{_WORD}}"
    again = f" (attempt {result.attempt})" if result.attempt > 1 else ""
    return Text.assemble((word, looks.style(result.verdict)), " ", visible(result.name), again)


def _reason(result: StepResult) -> str:
    return "" if result.reason is None else visible(result.reason, 400)


def _columns(result: StepResult, looks: Looks) -> list[Text]:
    """Reading, limit and ruler, as far as there are any."""
    reading = result.reading
    if reading is None:
        return [] if result.answer is None else [Text(f"answer: {visible(result.answer)}")]
    shown = shown_together(reading, result.limit)
    found = [Text(reading_text(shown.value, shown.u, shown.unit, reading.bound, looks.fancy))]
    if shown.limit is not None:
        found.append(Text(limit_text(shown.limit, looks.fancy)))
        found.append(drawn_ruler(result, looks))
    return found


def drawn_ruler(result: StepResult, looks: Looks) -> Text:
    """The ruler of a reading; empty where there is nothing to draw, or it was judged on other grounds."""
    reading, limit = result.reading, result.limit
    if reading is None or limit is None or reading.unit != limit.unit:
        return Text()
    try:
        verdict = judge(reading.value, reading.u, limit, reading.dof).verdict
        drawn = ruler(reading.value, reading.u, limit, reading.dof)
    except ValueError:  # not a finite number, or nothing can be accepted
        return Text()
    return looks.draw(drawn, verdict) if verdict is result.verdict else Text()


def _beside(lead: Text, columns: list[Text], room: int) -> Text | None:
    """Everything on one line; without the ruler when that is too long; None when it still is."""
    for kept in (columns, columns[:2]):
        line = lead.copy()
        at = 0
        for column, size in zip(kept, (LEAD, READING, LIMIT), strict=False):
            at += size + 1
            line.append(" " * max(1, at - line.cell_len))
            line.append_text(column)
        if line.cell_len <= room:
            return line
    return None


def wrapped(text: Text, room: int, indent: int) -> list[Text]:
    """The text in lines no wider than ``room``, each indented."""
    width = max(10, room - indent)
    lines = text.wrap(Console(width=width, file=io.StringIO()), width)
    for line in lines:
        line.rstrip()
    return [Text(" " * indent).append_text(line) for line in lines]


def cut(line: Text, room: int, looks: Looks) -> Text:
    """The line, no wider than ``room``."""
    if line.cell_len > room:
        line.truncate(room, overflow="ellipsis" if looks.fancy else "crop")
    return line
