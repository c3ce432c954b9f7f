"""``rig store``: what kind of records these are, which files are in force."""

from __future__ import annotations

from dataclasses import asdict
from pathlib import Path
from typing import Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import inherited_store_option, json_option, print_json, printable, say, store_option
from rig.cli.who import proved, who_options
from rig.errors import RuleError


@click.group("store", invoke_without_command=True)
@store_option
@json_option
@click.pass_context
def command(ctx: click.Context, store: str | None, as_json: bool) -> int:
    """Show what the records are: a workshop's, or for practice; or say it, once.

    \b
    Examples:
      rig store
      rig store declare --kind workshop --name "Low Mill Bench Works" --address "1 Mill Lane"
      rig store approve my-final-inspection.yaml --by "Q. Reviewer"

    In a practice store simulated units can go the whole way; its papers are marked PRACTICE and never valid for
    shipping. A workshop's store takes no simulated run as a ground for anything.
    """
    if ctx.invoked_subcommand is not None:
        return PASSED
    from rig.records.declared import declared, in_force
    from rig.records.keys import FOLDER, own_public_key
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        own, key = declared(records), own_public_key(records.folder)
        with records.reading() as connection:
            approved = sorted(in_force(connection).values(), key=lambda f: (f.kind, f.name))
        place, keys = records.place, records.folder / FOLDER
    if as_json:
        facts: dict[str, Any] = asdict(own) | {"place": place, "practice": own.practice}
        facts["keys"] = str(keys)
        facts["public_key"] = None if key is None else key.key
        print_json(facts | {"in_force": [asdict(fact) for fact in approved]})
        return PASSED
    print(own.heading())
    print(f"records: {place}; keys: {keys}")
    print(
        f"public key ({key.kind}): {key.key}" if key is not None else "public key: none yet; the first release makes it"
    )
    for fact in approved:
        print(f"in force: {fact.kind} {fact.name} revision {fact.revision} sha256 {fact.sha256[:16]}…")
    return PASSED


@command.command("declare")
@click.option("--kind", type=click.Choice(["workshop", "practice"]), required=True, help="What it is, for good.")
@click.option("--name", required=True, callback=printable, help="The workshop's name, as printed on its papers.")
@click.option("--address", default="", callback=printable, help="Its address, as printed on its papers.")
@who_options
@inherited_store_option
@json_option
def declare_command(
    store: str | None, kind: str, name: str, address: str, by: str, pin_file: Path | None, as_json: bool
) -> int:
    """Say once, before the first unit is received, what the records are.

    \b
    Example:
      rig store declare --kind practice --name "Low Mill Bench Works"

    Once people are on record, a lead does it.
    """
    from rig.records.declared import declare
    from rig.records.people import everybody
    from rig.records.store import Store

    with Store.open(store) as records:
        who = proved(records, by, pin_file) if everybody(records) else None
        own = declare(records, kind, name, address, who)
    say(own.heading(), asdict(own), as_json)
    return PASSED


@command.command("approve")
@click.argument("file")
@who_options
@inherited_store_option
@json_option
def approve_command(store: str | None, file: str, by: str, pin_file: Path | None, as_json: bool) -> int:
    """Put FILE in force as it stands: a procedure, a unit profile, a bench or rules of the shop's own. QA does it.

    \b
    Example:
      rig store approve benches/bench-2.yaml --by "Q. Reviewer"

    A unit profile must carry its own approval (approved: in the file, for this revision), without which its limits
    judge nothing. The files that come with the rig are in force until another of the same name is. The open jobs that
    stand on the file are listed: look whether their results still count.
    """
    from rig.cli.standing import file_used
    from rig.plan.load import load
    from rig.plan.profile import UnitProfile
    from rig.plan.visible import visible
    from rig.records.declared import approve
    from rig.records.facts import FileApproved
    from rig.records.store import Store
    from rig.records.touched import jobs_touched

    loaded = load(file)
    why_not = loaded.model.unapproved() if isinstance(loaded.model, UnitProfile) else ""
    if why_not:
        do = "Its limits would judge nothing: whoever answers for them writes approved: into the file first."
        raise RuleError(why_not, do, loaded.file)
    used = file_used(loaded)
    with Store.open(store, must_exist=True) as records:
        who = proved(records, by, pin_file)
        change = FileApproved(used.kind, used.name, used.revision, used.sha256)
        approve(records, change, who)
        touched = list(jobs_touched(records, change))
    words = [f"in force: {used.kind} {used.name} revision {used.revision}, by {who.name}"]
    words += [f"touches open job {job.number}, {visible(job.received.serial)}: {job.due}" for job in touched]
    open_jobs = [{"job": job.number, "serial": job.received.serial, "stage": job.stage} for job in touched]
    say("\n".join(words), asdict(used) | {"by": who.name, "touches": open_jobs}, as_json)
    return PASSED


@command.command("roles")
@inherited_store_option
@json_option
def roles_command(store: str | None, as_json: bool) -> int:
    """Make the roles of the shop's PostgreSQL: for benches, for QA's desks, for reports.

    \b
    Example:
      rig store roles --store postgresql+psycopg://owner@shop/records

    Then its administrator puts users into them: GRANT rig_desk TO some_user. To release at a desk without a bench,
    bring the signing key to it once, into the folder that 'rig store' names there.
    """
    from rig.records.roles import ROLES, make_roles
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        make_roles(records)
    say("\n".join(f"{role}: {does}" for role, does in ROLES.items()), dict(ROLES), as_json)
    return PASSED
