"""``rig check``: what can be proved of files before anything is energized."""

from __future__ import annotations

import os
from dataclasses import asdict, replace
from pathlib import Path

import click

from rig.cli.codes import PASSED, WRONG_INPUT
from rig.cli.options import json_option, print_json


@click.command("check")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--bench", help="Prove procedures on this bench: a name, or a file.")
@click.option("--unit", help="Prove procedures with this unit profile: a name, or a file.")
@json_option
def command(files: tuple[str, ...], bench: str | None, unit: str | None, as_json: bool) -> int:
    """Read FILEs of any kind and prove what can be proved before power. The name of a bundled one will do.

    \b
    Examples:
      rig check incoming-inspection --bench simulated --unit demo-18-dc
      rig check my-procedure.yaml

    Prints one line a fault, file:line:column: what is wrong; the exit code is then 2. A line that says 'warning' is of
    something that should be known before the run, and is no fault.
    """
    from rig.plan.check import look_over

    found = look_over([_path_of(name) for name in files], bench, unit)
    faults = found.faults
    if as_json:
        kinds = ((found.faults, False), (found.warnings, True))
        print_json([{**asdict(each), "warning": warning} for some, warning in kinds for each in some])
    else:
        for fault in faults:
            print(str(fault))
        for each in found.warnings:
            print(replace(each, message=f"warning: {each.message}"))
        if not faults:
            many = len(dict.fromkeys(files))
            print("1 file in order" if many == 1 else f"{many} files in order")
    return WRONG_INPUT if faults else PASSED


def _path_of(name: str) -> str | Path:
    """A file's path; that of a bundled file where there is no such file and one is called so."""
    from rig.plan.load import KINDS, bundled

    if "/" in name or name.endswith((".yaml", ".yml")) or os.path.exists(name):
        return name
    return next((found[name] for found in map(bundled, KINDS) if name in found), name)
