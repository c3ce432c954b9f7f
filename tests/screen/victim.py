"""The screen as a program of its own, to be struck.

    python -m tests.screen.victim crash|whole ARGUMENT...

With "crash" its drawing fails as soon as the fill valve is on by its feedback; the rest is ``rig screen ARGUMENT...``.
"""

from __future__ import annotations

import sys
from typing import Any

from rig.cli.main import main
from rig.screen.app import BenchApp

FAILS_ON = "mains"


def fail_when_it_is_on() -> None:
    """Have the drawing fail then."""
    draw = BenchApp.draw

    def failing(self: Any) -> None:
        seen = self.scene.seen if self.scene is not None else None
        if seen is not None and any(o.name == FAILS_ON for o in seen.named("on")):
            raise ZeroDivisionError("the drawing fails, as the test wants it")
        draw(self)

    BenchApp.draw = failing  # type: ignore[method-assign]


if __name__ == "__main__":
    if sys.argv[1] == "crash":
        fail_when_it_is_on()
    main(["screen", *sys.argv[2:]])
