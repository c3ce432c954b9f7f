"""The line that is always there: is anything energized, in a sign and a word, from read-back, with its age."""

from __future__ import annotations

import time
from collections.abc import Iterable

from rich.text import Text

from rig.cli.looks import Looks
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.scene import Scene
from rig.screen.words import Words
from rig.shown.numbers import minutes_text

STALE = 3.0  # s of wall time without a sign of life of the run's thread: what was seen is told as old


def strip_line(scene: Scene | None, words: Words, looks: Looks, width: int, beside: Text | None = None) -> Text:
    """The strip, so wide; ``beside`` stands at its right end where there is room for it."""
    text, style = _said(scene, words, looks)
    line = Text(f" {text} ", style)
    mark = Text()
    if scene is not None and scene.started is not None and scene.started.simulated:
        mark = Text(f" {words('simulated')} ")
    if beside and line.cell_len + beside.cell_len + 2 + mark.cell_len <= width:
        mark = Text.assemble("  ", beside, mark)
    if mark:
        line.append(" " * max(1, width - line.cell_len - mark.cell_len))
        line.append_text(mark)
    line.truncate(width, overflow="ellipsis" if looks.fancy else "crop", pad=True)
    return line


def _said(scene: Scene | None, words: Words, looks: Looks) -> tuple[str, str]:
    off, on, unsure = looks.pick("○", "o"), looks.pick("▲", "^"), looks.pick("?", "?")
    if scene is None:
        return f"{off} {words('power.idle')}", palette.OFF
    if scene.all_off is not None and (scene.over is not None or scene.ended is not None):
        if scene.all_off.confirmed:
            ago = minutes_text(time.monotonic() - scene.all_off_wall)
            return f"{off} {words('power.confirmed-off', ago=ago)}", palette.OFF
        names = _names(scene.all_off.unconfirmed)
        return f"{unsure} {words('power.not-confirmed', names=names)}", palette.ON
    if scene.over is not None:
        begun = scene.started is not None
        return (f"{unsure} {words('power.unknown')}", palette.ON) if begun else (
            f"{off} {words('power.never')}", palette.OFF)  # fmt: skip
    seen = scene.seen
    if seen is None:
        return f"{off} {words('power.opening')}", palette.OFF
    silent = time.monotonic() - seen.wall
    energized, doubtful = seen.named("on"), seen.named("unsure")
    age = f"{seen.age((*energized, *doubtful)) + (silent if silent > STALE else 0.0):.1f} s"
    if doubtful:
        names = _names(o.name for o in (*energized, *doubtful))
        return f"{unsure} {words('power.doubtful', names=names, age=age)}", palette.UNSURE
    live = [o for o in energized if o.energizes != "nothing"]
    if energized:
        name = "power.on" if live else "power.harmless"
        return f"{on} {words(name, names=_names(o.name for o in energized), age=age)}", (
            palette.ON if live else palette.OFF
        )
    return f"{off} {words('power.nothing' if seen.read else 'power.reading', age=age)}", palette.OFF


def _names(names: Iterable[str]) -> str:
    return ", ".join(visible(name) for name in names)
