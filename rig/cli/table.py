"""Plain tables: columns as wide as what they hold, the last one wrapped."""

from __future__ import annotations

from collections.abc import Sequence

from rich.cells import cell_len
from rich.text import Text

from rig.cli.rows import wrapped
from rig.plan.visible import visible

_GAP = 2
_INDENT = 4
_LEAST = 20  # columns for the last one, even where that is too much
_MOST = 44  # columns for any other


def table(head: Sequence[str], rows: Sequence[Sequence[object]], width: int) -> list[Text]:
    """The lines of a table; every cell is made safe to show."""
    cells = [[visible(cell, 200) for cell in row] for row in rows]
    last = len(head) - 1
    sizes = [min(_MOST, max(cell_len(r[n]) for r in [list(head), *cells])) for n in range(last)]
    indent = sum(sizes) + _GAP * last
    room = max(width - 1, _LEAST)
    if indent + _LEAST > room:
        return _in_two_lines(head, cells, sizes, room)
    lines = [Text(_joined(head, sizes), "bold")]
    for row in cells:
        if any(cell_len(cell) > size for cell, size in zip(row[:last], sizes, strict=True)):
            lines += _below(row, sizes, room, "")
            continue
        tail = wrapped(Text(row[last]), room, indent)
        first = tail[0].plain[indent:] if tail else ""
        lines.append(Text(_joined([*row[:last], first], sizes)))
        lines += tail[1:]
    return lines


def _in_two_lines(head: Sequence[str], cells: Sequence[Sequence[str]], sizes: Sequence[int], room: int) -> list[Text]:
    """For want of room: the last column below the others."""
    rows = [("bold", head), *(("", row) for row in cells)]
    return [line for style, row in rows for line in _below(row, sizes, room, style)]


def _below(row: Sequence[str], sizes: Sequence[int], room: int, style: str) -> list[Text]:
    above = _joined([*row[:-1], ""], sizes)
    lines = [*wrapped(Text(above), room, 0), *wrapped(Text(row[-1]), room, _INDENT)]
    for line in lines:
        line.stylize(style)
    return lines


def _joined(row: Sequence[str], sizes: Sequence[int]) -> str:
    text = ""
    for n, size in enumerate(sizes):
        cell = row[n]
        text += cell + " " * (max(0, size - cell_len(cell)) + _GAP)
    return (text + row[-1]).rstrip()
