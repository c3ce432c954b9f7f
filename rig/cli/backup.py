"""``rig backup`` and ``rig restore``: the records in one other file, and back."""

from __future__ import annotations

import shlex
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rig.cli.codes import PASSED
from rig.cli.options import json_option, print_json, store_option

if TYPE_CHECKING:
    from rig.records.backup import Copied


@click.command("backup")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@store_option
@json_option
def command(file: Path, store: str | None, as_json: bool) -> int:
    """Copy all records into FILE, also while a run is being written, and follow the chains of the copy.

    \b
    Example:
      rig backup /media/stick/records-friday.sqlite

    FILE must not exist. The signing key is not in it: keep a copy of the folder 'keys' elsewhere.
    """
    from rig.records.backup import backup
    from rig.records.store import Store

    with Store.open(store, must_exist=True) as records:
        copied = backup(records, file)
    _say(copied, "kept in", as_json)
    return PASSED


@click.command("restore")
@click.argument("file", type=click.Path(path_type=Path, dir_okay=False))
@store_option
@json_option
def restore_command(file: Path, store: str | None, as_json: bool) -> int:
    """Bring the records in FILE back, after following their chains.

    \b
    Example:
      rig restore /media/stick/records-friday.sqlite

    Refused where records are already: put those aside first.
    """
    from rig.records.backup import restore

    _say(restore(file, store), "brought back to", as_json)
    return PASSED


def _say(copied: Copied, how: str, as_json: bool) -> None:
    if as_json:
        print_json(asdict(copied))
        return
    runs = "1 run" if copied.runs == 1 else f"{copied.runs} runs"
    print(f"{runs} and {copied.entries} entries {how} {shlex.quote(copied.place)}; every chain holds")
    print(f"last entry: {copied.head}")
