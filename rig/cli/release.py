"""``rig release``: sign that a unit may go."""

from __future__ import annotations

from pathlib import Path

import click

from rig.cli.codes import PASSED
from rig.cli.options import AT_SCREEN, json_option, print_json, store_option
from rig.cli.who import proved, who_options


@click.command("release", epilog="A refusal ends with exit code 4.")
@click.argument("number", metavar="JOB")
@click.option("--rules", default="low-mill", show_default=True, help="The shop's rules: a name, or a file.")
@who_options
@store_option
@json_option
def command(number: str, rules: str, by: str, pin_file: Path | None, store: str | None, as_json: bool) -> int:
    """Release a unit with a signature, by somebody who has neither tested nor repaired it.

    \b
    Example:
      rig release 7 --by "Q. Reviewer"

    Only on a whole final-inspection and electrical-safety after the last repair, everything that the repair disturbed
    measured again, instruments in calibration, the bench's self-check good, no open finding, every chain whole, and
    in a workshop's store nothing simulated. Otherwise it is refused, and everything that is missing is said.
    """
    from rig.cli.standing import shop_rules, standing_for
    from rig.records.job import job_of
    from rig.records.release import MEANING, release
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        job = job_of(records, number)
        who = proved(records, by, pin_file)
        standing = standing_for(records, job, shop_rules(records, rules))
        signed = release(records, number, standing, who)
    if as_json:
        facts = {"job": number, "number": signed.number, "by": who.name, "kind": standing.own.kind}
        print_json(facts | {"signature": signed.signature, "public_key": signed.public_key})
        return PASSED
    if not AT_SCREEN.get():
        print(standing.own.heading())
    print(f"job {number} is released as {signed.number}, signed by {who.name}: {MEANING}")
    if not AT_SCREEN.get():
        print(f"  certificate: rig report --job {number} --certificate FILE.pdf")
    return PASSED
