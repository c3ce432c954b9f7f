"""Who acts, and the PIN that proves it. A PIN is typed unseen, or comes from a file or the environment; never from the
command line, where everybody on the machine can read it."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from contextvars import ContextVar
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rig.cli.options import AT_SCREEN, printable
from rig.errors import InputError, RuleError

if TYPE_CHECKING:
    from rig.records.people import Proved
    from rig.records.store import Store

F = TypeVar("F", bound=Callable[..., Any])
ENVIRONMENT, NEW = "RIG_PIN", "RIG_NEW_PIN"
# What a form has taken unseen, by whoever shows one: then nobody is asked at the terminal. Empty: no PIN was typed.
TYPED: ContextVar[str | None] = ContextVar("typed PIN", default=None)


def who_options(command: F) -> F:
    """``--by`` and ``--pin-file``."""
    says = f"Where that person's PIN is read; else from {ENVIRONMENT}, else it is asked for."
    path = click.Path(path_type=Path, dir_okay=False)
    command = click.option("--pin-file", type=path, metavar="FILE", help=says)(command)
    return click.option("--by", default="", callback=printable, metavar="NAME", help="Who does it.")(command)


def proved(store: Store, by: str, pin_file: Path | None) -> Proved:
    """The person, after the PIN was right. Raises RuleError, InputError."""
    from rig.records.people import everybody, known, prove

    person = known(everybody(store), by)
    pin = given_pin(pin_file, ENVIRONMENT)
    if pin is None:
        pin = asked(f"PIN of {person.name}")
    if pin is None:
        do = "Type it." if AT_SCREEN.get() else f"Answer at the terminal, or give --pin-file FILE or {ENVIRONMENT}."
        raise RuleError(f"{person.name} has given no PIN", do, "--by")
    return prove(store, person.name, pin)


def given_pin(pin_file: Path | None, variable: str) -> str | None:
    """A PIN that a form has taken, or from a file or the environment, if there is one. Raises InputError."""
    typed = TYPED.get() if variable == ENVIRONMENT else None
    if typed is not None:
        return typed or None
    if pin_file is None:
        return os.environ.get(variable) or None
    try:
        text = pin_file.read_text(encoding="utf-8")
    except (OSError, ValueError) as fault:
        raise InputError(
            f"the PIN cannot be read: {fault}", "Name a file that holds the PIN alone.", str(pin_file)
        ) from None
    return text.strip() or None


def asked(question: str, twice: bool = False) -> str | None:
    """A PIN that is typed unseen at the terminal; None where nobody can be asked, or nothing was typed."""
    try:
        if TYPED.get() is not None or not sys.stdin.isatty():
            return None
    except ValueError:  # closed
        return None
    found = click.prompt(question, hide_input=True, default="", show_default=False, err=True, confirmation_prompt=twice)
    return str(found) or None
