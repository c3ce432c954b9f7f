"""``rig people``: who works here, in which role, since when."""

from __future__ import annotations

import sys
from collections.abc import Callable
from datetime import UTC, date, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import inherited_store_option, json_option, print_json, printable, say, store_option
from rig.cli.who import NEW, asked, given_pin, proved, who_options
from rig.errors import InputError

if TYPE_CHECKING:
    from rig.records.people import Person

_ROLES = ("technician", "QA", "lead")


def day(ctx: click.Context, parameter: click.Parameter, value: str | None) -> date | None:
    """A date, YYYY-MM-DD."""
    if value is None:
        return None
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise click.BadParameter(f"expected a date such as 2026-03-31, found {value[:40]!a}") from None


def _role(function: Callable[..., Any]) -> Callable[..., Any]:
    return click.option("--role", type=click.Choice(_ROLES, case_sensitive=False), required=True)(function)


@click.group("people", invoke_without_command=True)
@store_option
@json_option
@click.pass_context
def command(ctx: click.Context, store: str | None, as_json: bool) -> int:
    """Show who works here; add people, give and end roles, set PINs, unlock.

    \b
    Examples:
      rig people
      rig people add "A. Bench" --role technician --by "L. Lead"
      rig people unlock "A. Bench" --by "L. Lead"

    The first person is a lead, and is added without another. A PIN is typed unseen; in scripts it comes from
    --pin-file or RIG_PIN, a new one from --new-pin-file or RIG_NEW_PIN. Nobody shares one.
    """
    if ctx.invoked_subcommand is not None:
        return PASSED
    from rig.cli.printer import Printer
    from rig.cli.table import table
    from rig.records.declared import declared
    from rig.records.people import everybody
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        people, own = list(everybody(records).values()), declared(records)
    if as_json:
        print_json([_plain(person) for person in people])
        return PASSED
    out = Printer(sys.stdout)
    out.line(own.heading())
    rows = [(p.name, _locked(p) or "-", _roles(p)) for p in people]
    out.line(*(table(("name", "locked", "roles"), rows, out.width) if rows else ["Nobody is on record here."]))
    return PASSED


def _roles(person: Person) -> str:
    return "; ".join(f"{s.role} {s.since}–{s.until or 'now'}" for s in person.roles) or "none"


def _locked(person: Person) -> str:
    until = person.locked_until(datetime.now(UTC))
    return "" if until is None else f"until {until:%H:%M} UTC"


def _plain(person: Person) -> dict[str, Any]:
    roles = [{"role": s.role, "from": str(s.since), "until": s.until and str(s.until)} for s in person.roles]
    return {"name": person.name, "roles": roles, "locked": _locked(person) or None}


def _new_pin_option(function: Callable[..., Any]) -> Callable[..., Any]:
    says = f"Where the new PIN is read; else from {NEW}, else it is asked for."
    path = click.Path(path_type=Path, dir_okay=False)
    return click.option("--new-pin-file", type=path, metavar="FILE", help=says)(function)


def _new_pin(new_pin_file: Path | None, name: str) -> str:
    pin = given_pin(new_pin_file, NEW) or asked(f"new PIN of {name}", twice=True)
    if pin is None:
        do = f"Type it at the terminal, or give --new-pin-file FILE or {NEW}."
        raise InputError("there is no new PIN", do, name)
    return pin


def _span(function: Callable[..., Any]) -> Callable[..., Any]:
    function = click.option("--until", callback=day, metavar="DATE", help="Its last day; none if not given.")(function)
    return click.option("--from", "since", callback=day, metavar="DATE", help="Its first day; today if not given.")(
        function
    )


@command.command("add")
@click.argument("name", callback=printable)
@click.option("--role", "roles", type=click.Choice(_ROLES, case_sensitive=False), multiple=True, required=True)
@_span
@_new_pin_option
@who_options
@inherited_store_option
@json_option
def add_command(
    store: str | None,
    name: str,
    roles: tuple[str, ...],
    since: date | None,
    until: date | None,
    new_pin_file: Path | None,
    by: str,
    pin_file: Path | None,
    as_json: bool,
) -> int:
    """Put NAME on record, with a role and a PIN. A lead does it; the first person of all is a lead.

    \b
    Examples:
      rig people add "L. Lead" --role lead
      rig people add "A. Bench" --role technician --by "L. Lead"
    """
    from rig.cli.standing import today
    from rig.records.people import add_person, everybody
    from rig.records.store import Store

    with Store.open(store) as records:
        who = proved(records, by, pin_file) if everybody(records) else None
        pin = _new_pin(new_pin_file, name)
        add_person(records, name, [(role, since or today(), until) for role in roles], pin, who)
    say(f"{name}: {', '.join(roles)}", {"name": name, "roles": list(roles)}, as_json)
    return PASSED


@command.command("role")
@click.argument("name", callback=printable)
@_role
@_span
@click.option("--end", is_flag=True, help="End it; the first day without it is --from.")
@who_options
@inherited_store_option
@json_option
def role_command(
    store: str | None,
    name: str,
    role: str,
    since: date | None,
    until: date | None,
    end: bool,
    by: str,
    pin_file: Path | None,
    as_json: bool,
) -> int:
    """Give NAME a role, or end it. What was before stays on record.

    \b
    Examples:
      rig people role "A. Bench" --role QA --from 2026-04-01 --until 2026-12-31 --by "L. Lead"
      rig people role "A. Bench" --role technician --end --by "L. Lead"
    """
    from rig.cli.standing import today
    from rig.records.people import end_role, give_role
    from rig.records.store import Store

    if end and until is not None:
        raise click.UsageError("--end takes its day from --from")
    with Store.open(store, must_exist=True) as records:
        who = proved(records, by, pin_file)
        if end:
            end_role(records, name, role, since or today(), who)
        else:
            give_role(records, name, role, since or today(), until, who)
    what = "ended" if end else "given"
    say(f"{name}: {role} {what}", {"name": name, "role": role, "done": what}, as_json)
    return PASSED


@command.command("pin")
@click.argument("name", callback=printable)
@_new_pin_option
@who_options
@inherited_store_option
@json_option
def pin_command(
    store: str | None, name: str, new_pin_file: Path | None, by: str, pin_file: Path | None, as_json: bool
) -> int:
    """Set a new PIN for NAME: one's own, or, as a lead, somebody's who has forgotten it.

    \b
    Example:
      rig people pin "A. Bench" --by "A. Bench"
    """
    from rig.records.people import set_pin
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        who = proved(records, by, pin_file)
        set_pin(records, name, _new_pin(new_pin_file, name), who)
    say(f"{name}: new PIN set by {who.name}", {"name": name, "done": "new PIN", "by": who.name}, as_json)
    return PASSED


@command.command("unlock")
@click.argument("name", callback=printable)
@who_options
@inherited_store_option
@json_option
def unlock_command(store: str | None, name: str, by: str, pin_file: Path | None, as_json: bool) -> int:
    """Let NAME try again after too many wrong PINs. A lead does it, never for themselves.

    \b
    Example:
      rig people unlock "A. Bench" --by "L. Lead"
    """
    from rig.records.people import unlock
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        unlock(records, name, proved(records, by, pin_file))
    say(f"{name}: unlocked", {"name": name, "done": "unlocked"}, as_json)
    return PASSED
