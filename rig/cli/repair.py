"""``rig repair``: what was done to a unit."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from rig.cli.codes import PASSED
from rig.cli.options import Repeatable, json_option, print_json, printable, store_option
from rig.cli.who import proved, who_options


@click.command("repair")
@click.argument("number", metavar="JOB")
@click.option("--part", "parts", multiple=True, cls=Repeatable, metavar="NAME=LOT",
              help="What was worked on, with lot or serial where a part was fitted: rectifier=L2291.")  # fmt: skip
@click.option("--used-part", "used", multiple=True, cls=Repeatable, metavar="NAME=SERIAL",
              help="The same, of a part that is not new.")  # fmt: skip
@click.option("--minutes", type=float, required=True, help="Minutes of work.")
@click.option("--cause", required=True, callback=printable, help="The cause that it confirmed.")
@click.option("--words", default="", callback=printable, help="Torques, settings, what was seen.")
@who_options
@store_option
@json_option
def command(
    number: str,
    parts: tuple[str, ...],
    used: tuple[str, ...],
    minutes: float,
    cause: str,
    words: str,
    by: str,
    pin_file: Path | None,
    store: str | None,
    as_json: bool,
) -> int:
    """Log a repair, and see what must be measured again because of it.

    \b
    Example:
      rig repair 7 --part rectifier=L2291 --minutes 35 --cause rectifier-open --by "A. Bench"

    ! Plug out and locked away, water drained, cold and without pressure before a cover is opened. The electrical safety
    tests come again when the last cover is closed.
    """
    from rig.cli.standing import must_be_cause, shop_rules
    from rig.records.facts import PartFitted, Repaired
    from rig.records.moves import repair
    from rig.records.store import Store

    fitted = [_part(text, "new") for text in parts] + [_part(text, "used") for text in used]
    with Store.open(store, must_exist=True) as records:
        rules = shop_rules(records)
        who = proved(records, by, pin_file)
        fact = Repaired(tuple(PartFitted(*part) for part in fitted), minutes, must_be_cause(cause), words)
        repair(records, number, fact, rules, who)
    again = {part.part: rules.retest[part.part] for part in fact.parts}
    steps = sorted({step for rule in again.values() for step in rule.steps})
    procedures = sorted({name for rule in again.values() for name in rule.procedures} | set(rules.release_needs))
    if as_json:
        print_json({"job": number, "again": {"steps": steps, "procedures": procedures}})
        return PASSED
    print(f"job {number}: repair kept, by {who.name}")
    for name, rule in again.items():
        print(f"  {name}: {rule.because}")
    if steps:
        print(f"  measure again: {', '.join(steps)}")
    print(f"  run again: {', '.join(procedures)}", file=sys.stdout)
    return PASSED


def _part(text: str, condition: str) -> tuple[str, str, str]:
    name, equals, lot = text.partition("=")
    return (name.strip(), lot.strip(), condition if equals else "none")
