"""What a screen looks like, held against a picture that somebody has looked at.

A picture is a text file in ``pictures/``: the characters, and under a line of its own every stretch that is not in the
terminal's plain style. Digits that change from run to run are 0 in it. RIG_NEW_PICTURES=1 makes the pictures anew: look
at them before they are kept.
"""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import Any

from textual.pilot import Pilot
from textual.widgets import Input

FOLDER = Path(__file__).with_name("pictures")
SIZES = ((80, 24), (160, 50))
CHANGES = re.compile(
    r"\b[0-9a-f]{8}-[0-9a-f]{4}\b|\b\d{4}-\d\d-\d\d(?: \d\d:\d\d)?|\d+\.\d s ago|\d+:\d\d ago|\b\d-[0-9a-f]{12}\b"
)


def picture_of(app: Any) -> str:
    """The characters, then ``line first-last style`` for every stretch with a style of its own."""
    lines, styles = [], []
    for n, strip in enumerate(app.screen._compositor.render_strips(app.size), 1):
        text, at = "", 0
        for segment in strip:
            style = _told(segment.style)
            if style and segment.text:
                styles.append(f"{n} {at + 1}-{at + len(segment.text)} {style}")
            text, at = text + segment.text, at + len(segment.text)
        lines.append(text.rstrip())
    steady = CHANGES.sub(lambda found: re.sub(r"[0-9a-f]", "0", found.group()), "\n".join(lines))
    return "\n".join([steady, "=" * 20, *styles, ""])


def _told(style: Any) -> str:
    if style is None:
        return ""
    words = [name for name in ("bold", "dim", "reverse", "underline") if getattr(style, name)]
    colours = [("", style.color), ("on ", style.bgcolor)]
    words += [f"{on}{colour.name}" for on, colour in colours if colour is not None and not colour.is_default]
    return " ".join(words)


async def _settled(pilot: Pilot[int]) -> str:
    """What is seen once it does not change any more; the cursor does not blink meanwhile."""
    for field in pilot.app.query(Input):
        field.cursor_blink = False
    seen = ""
    while True:
        await pilot.pause(0.3)
        pilot.app.draw()  # type: ignore[attr-defined]
        await pilot.pause()
        before, seen = seen, picture_of(pilot.app)
        if seen == before:
            return seen


async def held(pilot: Pilot[int], name: str) -> None:
    """The screen as it is now, at both sizes, against its pictures."""
    before = pilot.app.size
    for width, height in SIZES:
        await pilot.resize_terminal(width, height)
        path = FOLDER / f"{name}-{width}x{height}.txt"
        seen = await _settled(pilot)
        if os.environ.get("RIG_NEW_PICTURES"):
            FOLDER.mkdir(exist_ok=True)
            path.write_text(seen, encoding="utf-8")
            Path(os.environ["RIG_NEW_PICTURES"]).joinpath(f"{name}-{width}x{height}.svg").write_text(
                pilot.app.export_screenshot(title=name), encoding="utf-8"
            )
        assert seen == path.read_text(encoding="utf-8"), f"{path.name} is not what is seen"
    await pilot.resize_terminal(before.width, before.height)
    await pilot.pause(0.1)
