"""The screen gives way: the engine's loop runs beside it in the same interpreter, and must not wait for a picture."""

from __future__ import annotations

import gc
import sys

TURN = 0.001  # s that one thread keeps the interpreter when another wants it; Python's own is 0.005


def give_way() -> None:
    """Short turns, and no search for garbage among all that was loaded: such a search stops every thread, and what was
    loaded stays until the end. ``tests/benchmarks/bench_screen.py`` shows what it is worth."""
    sys.setswitchinterval(TURN)
    gc.collect()
    gc.freeze()
