"""``rig check``: what can be proved of files before anything is energized."""

from __future__ import annotations

import os
import shutil
from collections.abc import Sequence
from dataclasses import asdict, replace
from pathlib import Path

import click

from rig.cli.codes import PASSED, WRONG_INPUT
from rig.cli.options import json_option, print_json


@click.command("check")
@click.argument("files", nargs=-1, required=True, metavar="FILE...")
@click.option("--bench", help="Prove procedures on this bench: a name, or a file.")
@click.option("--unit", help="Prove procedures with this unit profile: a name, or a file.")
@click.option("--ratios", is_flag=True, help="List what is known of every limit before the run.")
@click.option("--in-tolerance", type=click.FloatRange(1, 100, min_open=True, max_open=True), metavar="PERCENT",
              help="With --ratios: the risks of deciding, where so many units in 100 conform.")  # fmt: skip
@json_option
def command(
    files: tuple[str, ...],
    bench: str | None,
    unit: str | None,
    ratios: bool,
    in_tolerance: float | None,
    as_json: bool,
) -> int:
    """Read FILEs of any kind and prove what can be proved before power. The name of a bundled one will do.

    \b
    Examples:
      rig check incoming-inspection --bench simulated --unit demo-18-dc
      rig check my-procedure.yaml
      rig check final-inspection --ratios
      rig check final-inspection --ratios --in-tolerance 95

    Prints one line a fault, file:line:column: what is wrong; the exit code is then 2. A line that says 'warning' is of
    something that should be known before the run, and is no fault. --ratios tells the uncertainty to expect at each
    limit and the test uncertainty ratio, or why they cannot be known before the run; scatter comes on top.
    With a stated prior (--in-tolerance: the units lie normally about the middle of a limit with two ends) it tells the
    consumer's risk, a unit passed that does not conform, and the producer's, one not passed that does.
    """
    from rig.plan.check import look_over

    if in_tolerance is not None and not ratios:
        raise click.UsageError("--in-tolerance goes with --ratios")
    paths = [_path_of(name) for name in files]
    found = look_over(paths, bench, unit)
    faults = found.faults
    if ratios and not faults:
        _list_ratios(paths, bench, unit, None if in_tolerance is None else in_tolerance / 100.0, as_json)
    elif as_json:
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


def _list_ratios(
    paths: Sequence[str | Path], bench: str | None, unit: str | None, in_tolerance: float | None, as_json: bool
) -> None:
    from rig.cli.table import table
    from rig.plan.check import expected_ratios
    from rig.shown.numbers import limit_text, significant, with_unit

    found = [
        (procedure, profile, each, None if in_tolerance is None else each.risks(in_tolerance))
        for procedure, profile, each in expected_ratios(paths, bench, unit)
    ]
    if as_json:
        values = [
            {"procedure": procedure, "unit": profile, **asdict(each)}
            | ({} if in_tolerance is None else {"risks": risks and asdict(risks)})
            for procedure, profile, each, risks in found
        ]
        print_json(values)
        return
    head = (
        "procedure",
        "step",
        "limit",
        "U",
        "ratio",
        *(() if in_tolerance is None else ("risks: consumer, producer",)),
    )
    rows = []
    for procedure, _, each, risks in found:
        code = "K" if each.limit.unit == "Cel" else each.limit.unit
        expanded = "" if each.expanded is None else with_unit(significant(each.expanded, 2), code, False)
        ratio = each.why_not and "not known before the run: " + each.why_not
        ratio = ratio or ("no span" if each.ratio is None else significant(each.ratio, 2))
        row = (procedure, each.step, limit_text(each.limit, False), expanded, ratio)
        both = "" if risks is None else f"{100 * risks.consumer:.2g} %, {100 * risks.producer:.2g} %"
        rows.append(row if in_tolerance is None else (*row, both))
    for text in table(head, rows, shutil.get_terminal_size().columns):
        print(text.plain)


def _path_of(name: str) -> str | Path:
    """A file's path; that of a bundled file where there is no such file and one is called so."""
    from rig.plan.load import KINDS, bundled

    if "/" in name or name.endswith((".yaml", ".yml")) or os.path.exists(name):
        return name
    return next((found[name] for found in map(bundled, KINDS) if name in found), name)
