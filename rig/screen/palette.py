"""The colours: those of Okabe and Ito (Color Universal Design, 2008), which people with any kind of colour vision tell
apart. Every one of them comes with a sign and a word; nothing depends on it."""

from __future__ import annotations

from rig.cli.looks import Looks

BLUE, SKY, ORANGE, VERMILLION, PURPLE = "#0072B2", "#56B4E9", "#E69F00", "#D55E00", "#CC79A7"

ON = f"bold reverse {VERMILLION}"  # something is energized
UNSURE = f"bold reverse {ORANGE}"
OFF = "bold reverse"  # no colour of its own: the usual state of a bench
CAUTION = f"bold {ORANGE}"
ASKS = f"bold {SKY}"
HEAD = "bold"
QUIET = "dim"

# what the lines of the terminal call a colour, and what it is here
PAINT = {
    "green": SKY,
    "yellow": ORANGE,
    "bold yellow": f"bold {ORANGE}",
    "red": VERMILLION,
    "bold red": f"bold {VERMILLION}",
    "cyan": PURPLE,
    "bold magenta": f"bold {PURPLE}",
}


def looks(fancy: bool) -> Looks:
    """How verdicts and rulers look here."""
    return Looks(fancy, PAINT)
