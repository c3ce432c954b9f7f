"""``rig receive``: take a unit in."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.codes import PASSED
from rig.cli.options import AskedFor, Repeatable, json_option, print_json, printable, store_option
from rig.cli.who import proved, who_options

if TYPE_CHECKING:
    from rig.records.facts import Fact, Looked


@click.command("receive", epilog="Serial number, owner and complaint are asked for at the terminal when they are left "
               "out. What is noted later is noted with 'rig job N'.")  # fmt: skip
@click.option("--serial", cls=AskedFor, callback=printable, help="The serial number, typed or scanned.")
@click.option("--unit", default="demo-18-dc", show_default=True, help="The unit profile's name, or its file.")
@click.option("--owner", cls=AskedFor, callback=printable, help="The owner's reference.")
@click.option("--complaint", cls=AskedFor, callback=printable,
              help="The complaint by the table; 'other' where none fits.")  # fmt: skip
@click.option("--words", default="", callback=printable, help="The complaint in the owner's words.")
@click.option("--accessory", "accessories", multiple=True, cls=Repeatable, help="What came with it.")
@click.option("--decontaminated", type=click.Choice(["declaration", "workshop"]),
              help="By the owner's signed declaration, or here.")  # fmt: skip
@click.option("--signed-by", default="", callback=printable, help="Who signed that, or did it here.")
@click.option("--data", type=click.Choice(["none", "left", "copied", "erased"]),
              help="What became of the owner's data in the unit.")  # fmt: skip
@click.option("--consent", default="", callback=printable, help="Who agreed to that, and how.")
@click.option("--look", "looks", multiple=True, cls=Repeatable, metavar="ITEM=FINDING",
              help="A visual check: 'vessel=ok', 'cord=sheath cut'; 'all=ok'.")  # fmt: skip
@click.option("--warranty-of", callback=printable, metavar="JOB", help="The earlier job that it comes back from.")
@click.option("--job", "number", default="", callback=printable, help="A number of your own; else the next.")
@click.option("--rules", default="low-mill", show_default=True, help="The shop's rules: a name, or a file.")
@who_options
@store_option
@json_option
def command(
    serial: str | None,
    unit: str,
    owner: str | None,
    complaint: str | None,
    words: str,
    accessories: tuple[str, ...],
    decontaminated: str | None,
    signed_by: str,
    data: str | None,
    consent: str,
    looks: tuple[str, ...],
    warranty_of: str | None,
    number: str,
    rules: str,
    by: str,
    pin_file: Path | None,
    store: str | None,
    as_json: bool,
) -> int:
    """Take a unit in as a new job. What is not known yet can be noted later.

    \b
    Examples:
      rig receive --serial LM-0042 --owner "Practice Miller" --complaint no-water-level --by "A. Bench"
      rig receive --serial LM-0042 --decontaminated declaration --signed-by "S. Miller" --by "A. Bench"

    ! Treat the unit as contaminated until a statement says otherwise: without one the job cannot reach the bench.
    """
    from rig.cli.standing import shop_rules
    from rig.plan.load import load_named
    from rig.plan.profile import UnitProfile
    from rig.records.facts import DataLeft, Decontaminated, Received
    from rig.records.job import job_of
    from rig.records.moves import receive
    from rig.records.store import Store

    profile = load_named("unit-profile", unit).model
    assert isinstance(profile, UnitProfile)
    with Store.open(store) as records:
        known = shop_rules(records, rules)
        who = proved(records, by, pin_file)
        more: list[Fact] = []
        if decontaminated is not None:
            more.append(Decontaminated(decontaminated, signed_by))
        if data is not None:
            more.append(DataLeft(data, consent))
        more += looked(looks, tuple(known.look_at))
        fact = Received(
            serial=_asked(serial, "serial number", "--serial"),
            unit=profile.unit_profile,
            owner=_asked(owner, "the owner's reference", "--owner"),
            complaint=_asked(complaint, f"complaint ({', '.join(known.complaints)})", "--complaint"),
            words=words,
            accessories=accessories,
            warranty_of=warranty_of,
        )
        new = receive(records, fact, known, who, number, more)
        job = job_of(records, new)
    if as_json:
        print_json({"job": new, "stage": job.stage})
        return PASSED
    print(f"job {new}: {fact.serial}, {fact.unit}")
    if decontaminated is None:
        print("  No decontamination statement: treat the unit as contaminated; it cannot reach the bench.")
    return PASSED


def _asked(given: str | None, question: str, option: str) -> str:
    """What was given, or what is typed at the terminal. A scanner types, and ends with Enter."""
    if given is not None and given.strip():
        return given.strip()
    if given is None and sys.stdin.isatty():
        return str(click.prompt(question, err=True)).strip()
    raise click.UsageError(f"{option} is missing: {question}")


def looked(looks: tuple[str, ...], items: tuple[str, ...]) -> list[Looked]:
    """``ITEM=FINDING`` pairs as entries; ``ok`` is no finding, ``all=ok`` is every item."""
    from rig.records.facts import Looked

    found = []
    for look in looks:
        item, equals, finding = look.partition("=")
        if not equals or not finding.strip():
            raise click.BadParameter(f"expected ITEM=FINDING, found {look[:60]!a}", param_hint="--look")
        clean = finding.strip().casefold() == "ok"
        if item == "all":
            if not clean:
                raise click.BadParameter("'all' can only be 'ok'; name what has a finding", param_hint="--look")
            found += [Looked(one, "") for one in items]
        else:
            found.append(Looked(item, "" if clean else finding.strip()))
    return found
