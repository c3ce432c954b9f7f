"""Options that several commands share, and how their words are read."""

from __future__ import annotations

import json
from collections.abc import Callable
from contextvars import ContextVar
from typing import Any, TypeVar

import click

F = TypeVar("F", bound=Callable[..., Any])

LONGEST = 200  # characters of a serial number, job or name
# Whoever reads is at the screen, drawn or in lines: what could only be typed at a command line is not said.
AT_SCREEN: ContextVar[bool] = ContextVar("at the screen", default=False)


class Repeatable(click.Option):
    """May be given more than once. Only the command line's help says so: a form has its own way."""

    def get_help_record(self, ctx: click.Context) -> tuple[str, str] | None:
        record = super().get_help_record(ctx)
        return None if record is None else (record[0], f"{record[1]} May be repeated.")


class AskedFor(click.Option):
    """Needed, but asked for at the terminal where it was left out, instead of refused."""


def printable(ctx: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    """Refuse text that cannot be kept: bytes that are no text, and too much of it."""
    if value is None:
        return None
    if len(value) > LONGEST:
        raise click.BadParameter(f"longer than {LONGEST} characters")
    if any("\ud800" <= c <= "\udfff" or c == "\0" for c in value):
        raise click.BadParameter("holds bytes that are not text")
    return value


def fault_pairs(
    ctx: click.Context, parameter: click.Parameter, values: tuple[str, ...]
) -> tuple[tuple[str, float], ...]:
    """``NAME`` or ``NAME=SEVERITY``, severity 0 to 1."""
    found: dict[str, float] = {}
    for value in values:
        name, equals, number = value.partition("=")
        try:
            severity = float(number) if equals else 1.0
        except ValueError:
            raise click.BadParameter(f"expected NAME or NAME=SEVERITY, found {value[:60]!a}") from None
        if not 0.0 <= severity <= 1.0:
            raise click.BadParameter(f"{name[:40]!a}: a severity lies between 0 and 1, found {number[:20]!a}")
        if name in found:
            raise click.BadParameter(f"{name[:40]!a} is given twice")
        found[name] = severity
    return tuple(found.items())


def fault_option(command: F) -> F:
    """``--fault``, repeatable."""
    return click.option(
        "--fault",
        "faults",
        multiple=True,
        metavar="NAME[=SEVERITY]",
        callback=fault_pairs,
        help="Put a fault into the simulated unit; severity 0 to 1, 1 if not given; NAME~ comes and goes. Repeatable.",
    )(command)


WireFault = tuple[str, str, int | None]  # kind, instrument, for so many exchanges


def wire_faults(ctx: click.Context, parameter: click.Parameter, values: tuple[str, ...]) -> tuple[WireFault, ...]:
    """``KIND@INSTRUMENT`` or ``KIND@INSTRUMENT=TIMES``."""
    found: list[WireFault] = []
    for value in values:
        place, equals, number = value.partition("=")
        kind, at, instrument = place.partition("@")
        if not (kind and at and instrument) or (equals and not (number.isdigit() and int(number) > 0)):
            raise click.BadParameter(f"expected KIND@INSTRUMENT or KIND@INSTRUMENT=TIMES, found {value[:60]!a}")
        found.append((kind, instrument, int(number) if equals else None))
    return tuple(found)


def wire_fault_option(command: F) -> F:
    """``--wire-fault``, repeatable."""
    return click.option(
        "--wire-fault",
        "wire_faults",
        multiple=True,
        metavar="KIND@INSTRUMENT[=TIMES]",
        callback=wire_faults,
        help="Let a simulated instrument's wire lie, for so many exchanges or throughout. May be repeated.",
    )(command)


def store_option(command: F) -> F:
    """``--store``."""
    return click.option(
        "--store",
        metavar="URL",
        help="Where the records are: sqlite:///PATH. Without it: in RIG_HOME, else with your user data.",
    )(command)


def _own_or_parents(ctx: click.Context, parameter: click.Parameter, value: str | None) -> str | None:
    return value if value is not None or ctx.parent is None else ctx.parent.params.get("store")


def inherited_store_option(command: F) -> F:
    """``--store`` of a command's command: after either of the two words."""
    return click.option("--store", metavar="URL", callback=_own_or_parents, help="Where the records are.")(command)


class Numbered(click.Group):
    """A group that takes a number first: ``rig job 7 --json``, ``rig job 7 estimate --price 90``."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        own: list[str] = []
        rest = list(args)
        number = [rest.pop(0)] if rest and not rest[0].startswith("-") else []
        while number and rest and rest[0].startswith("-"):
            own.append(rest.pop(0))
            if own[-1] == "--store" and rest:
                own.append(rest.pop(0))
        return super().parse_args(ctx, [*own, *number, *rest])


def json_option(command: F) -> F:
    """``--json``."""
    return click.option("--json", "as_json", is_flag=True, help="Print one JSON value on stdout.")(command)


def say(words: str, facts: dict[str, Any], as_json: bool) -> None:
    """What a command has done: in words, or as one JSON value."""
    if as_json:
        print_json(facts)
    else:
        print(words)


def print_json(value: Any) -> None:
    """One JSON value on stdout, in ASCII: nothing in it can act on a terminal."""
    print(json.dumps(value, indent=2, allow_nan=False))
