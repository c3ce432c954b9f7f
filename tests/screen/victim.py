"""The screen as a program of its own, to be struck.

    python -m tests.screen.victim crash|crash-in-2|whole ARGUMENT...

With "crash" its drawing fails as soon as mains are on by their feedback, with "crash-in-2" as soon as anything is on in
the second slot; the rest is ``rig screen ARGUMENT...``.
"""

from __future__ import annotations

import sys
from typing import Any

from rig.cli.main import main
from rig.screen.app import BenchApp

FAILS_ON = {"crash": (0, "mains"), "crash-in-2": (1, "bus-dc24")}  # slot, output


def fail_when_it_is_on(at: int, output: str) -> None:
    """Have the drawing fail then."""
    draw = BenchApp.draw

    def failing(self: Any) -> None:
        scene = list(self.slots)[at].scene
        seen = scene.seen if scene is not None else None
        if seen is not None and any(o.name == output for o in seen.named("on")):
            raise ZeroDivisionError("the drawing fails, as the test wants it")
        draw(self)

    BenchApp.draw = failing  # type: ignore[method-assign]


if __name__ == "__main__":
    if sys.argv[1] in FAILS_ON:
        fail_when_it_is_on(*FAILS_ON[sys.argv[1]])
    main(["screen", *sys.argv[2:]])
