"""``rig screen``: the bench on one screen."""

from __future__ import annotations

import os
import sys
from typing import Any

import click

from rig.cli.options import fault_option, printable, store_option, wire_fault_option

MOST_SLOTS = 4  # with more of them, 24 lines have no room left for the run that one looks at


@click.command("screen")
@click.option(
    "--procedure", default="incoming-inspection", show_default=True, help="What is offered first: a name or a file."
)
@click.option("--bench", "benches", multiple=True, default=["simulated"], show_default=True,
              help="The bench that is offered first: a name or a file. Given again: another slot beside it, "
                   "for another unit; a simulated one may be the same.")  # fmt: skip
@click.option("--unit", default="demo-18-dc", show_default=True, help="The unit profile that is offered first.")
@click.option("--serial", default="", callback=printable, help="The serial number of the unit, in the first slot.")
@click.option("--by", default="", callback=printable, metavar="NAME", help="Who works here.")
@click.option("--speed", type=click.FloatRange(0, 1000), default=10, show_default=True,
              help="A simulated bench's seconds to one of the wall; 0 is as fast as it goes.")  # fmt: skip
@fault_option
@wire_fault_option
@click.option("--seed", type=click.IntRange(0, 2**63 - 1), default=0, show_default=True,
              help="Which of the simulated units of this type it is; the next slot has the next seed.")  # fmt: skip
@click.option("--person", type=click.Choice(["auto", "simulated"]), default="auto", show_default=True,
              help="Who answers the prompts of a simulated bench.")  # fmt: skip
@click.option("--plain", is_flag=True, help="Lines only, nothing drawn over: for screen readers.")
@click.option("--words", "words_file", metavar="FILE", help="Other words for what the screen says: a translation.")
@store_option
def command(**options: Any) -> int:
    """Work at the bench: scan a unit, run a procedure and watch it, find the cause, release.

    \b
    Examples:
      rig screen
      rig screen --fault lead-high-ohm --seed 5
      rig screen --bench simulated --bench simulated
      rig screen --plain

    Esc turns everything off, at once, from anywhere; with several slots, in all of them. F12 turns to the next slot:
    questions and keys are the chosen slot's alone. F1 lists what can be done. Colours are left out with NO_COLOR.

    The exit code is 0 when one has left with everything off, 3 when an output could not be confirmed off or the screen
    failed, 128 + n after signal n; with --plain it is that of the last run.
    """
    from rig.cli.looks import can_show
    from rig.screen.preset import Preset, side_by_side
    from rig.screen.words import read_words

    words = read_words(options["words_file"])
    speed: float = options["speed"]
    benches: tuple[str, ...] = options["benches"]
    if len(benches) > MOST_SLOTS:
        raise click.UsageError(f"--bench is given {len(benches)} times; one screen has room for {MOST_SLOTS} slots")
    preset = Preset(options["procedure"], benches[0], options["unit"], options["serial"], options["by"],
                    f"{speed:g}", options["person"], options["seed"], options["faults"],
                    tuple((kind, on) for kind, on, _ in options["wire_faults"]))  # fmt: skip
    if options["plain"]:
        if len(benches) > 1:
            raise click.UsageError("--plain is for one bench: give --bench once")
        from rig.screen.plain import talk

        return talk(words, preset, options["store"])
    if not at_terminal():
        raise click.UsageError("the screen needs a terminal; --plain makes do with lines")
    from rig.screen.app import BenchApp
    from rig.screen.lifeline import Lifeline

    app = BenchApp(words, can_show(sys.stdout), side_by_side(preset, benches), options["store"])
    return Lifeline(app).run()


def at_terminal() -> bool:
    """Whether a screen can be drawn, and keys be read."""
    try:
        return sys.stdin.isatty() and sys.stdout.isatty() and os.environ.get("TERM", "") not in ("dumb", "unknown", "")
    except ValueError:  # closed
        return False
