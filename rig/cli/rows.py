"""One line a finished step: sign, verdict, name, reading, limit, ruler. What has no room beside goes below."""

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
_INDENT, _NAME_INDENT = 12, 3


def step_lines(result: StepResult, looks: Looks, width: int) -> list[Text]:
    """The finished line of a step, and lines below it for what does not fit beside it."""
    room = max(width - 1, 20)  # the last column stays free: some terminals wrap there
    lead, columns = _lead(result, looks, room), _columns(result, looks)
    lines = _beside(lead[0], columns, room) if columns and len(lead) == 1 else None
    if lines is None:
        lines = [*lead, *_below(columns, room)]
    reason = _reason(result)
    if reason:
        first = lines[0]
        if not columns and len(lines) == 1 and max(first.cell_len, LEAD) + 1 + cell_len(reason) <= room:
            first.append(" " * (max(LEAD - first.cell_len, 0) + 1) + reason)
        else:
            lines += wrapped(Text(reason), room, _INDENT)
    return [cut(line, room, looks) for line in lines]


def _lead(result: StepResult, looks: Looks, room: int) -> list[Text]:
    """Sign, verdict and name; the name below where it has no room beside."""
    word = Text(f"{looks.sign(result.verdict):<2} {result.verdict!s:<{_WORD}}", looks.style(result.verdict))
    again = f" (attempt {result.attempt})" if result.attempt > 1 else ""
    name = f"{visible(result.name)}{again}"
    beside = Text.assemble(word, " ", name)
    if beside.cell_len <= room:
        return [beside]
    word.rstrip()
    return [word, *wrapped(Text(name), room, _NAME_INDENT)]


def _reason(result: StepResult) -> str:
    return "" if result.reason is None else visible(result.reason, 400)


def _columns(result: StepResult, looks: Looks) -> list[Text]:
    """Reading, limit and ruler, as far as there are any."""
    reading = result.reading
    if reading is None:
        return [] if result.answer is None else [Text(f"answer: {visible(result.answer)}")]
    shown = shown_together(reading, result.limit)
    found = [Text(reading_text(shown.value, shown.expanded, shown.unit, reading.bound, looks.fancy))]
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


def _beside(lead: Text, columns: list[Text], room: int) -> list[Text] | None:
    """Everything on one line; the ruler below the reading when that is too long; None when it still is."""
    line = lead.copy()
    for column, at in zip(columns, (LEAD, LEAD + 1 + READING, LEAD + 1 + READING + 1 + LIMIT), strict=False):
        start = max(at + 1, line.cell_len + 1)
        if start + column.cell_len > room:
            if column is not columns[-1] or len(columns) < 3 or LEAD + 1 + column.cell_len > room:
                return None
            return [line, Text(" " * (LEAD + 1)).append_text(column)]
        line.append(" " * (start - line.cell_len)).append_text(column)
    line.rstrip()
    return [line]


def _below(columns: list[Text], room: int) -> list[Text]:
    """As many columns on a line as there is room for, none of them broken where that can be."""
    lines: list[Text] = []
    for column in (c for c in columns if c.cell_len):
        if lines and lines[-1].cell_len + 2 + column.cell_len <= room:
            lines[-1].append("  ").append_text(column)
        else:
            lines += wrapped(column, room, _INDENT) if _INDENT + column.cell_len > room else [_indented(column)]
    return lines


def _indented(column: Text) -> Text:
    return Text(" " * _INDENT).append_text(column)


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
