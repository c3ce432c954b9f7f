"""``rig likelihoods``: chances counted on simulated units, and where the tables' numbers disagree with them."""

from __future__ import annotations

import os
import random
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import json_option, print_json
from rig.errors import InputError

if TYPE_CHECKING:
    from rig.cli.simulated_units import SimulatedUnit
    from rig.diagnosis.learn import Simulated
    from rig.diagnosis.likelihoods import SimulatedCase
    from rig.diagnosis.unit_table import UnitTable

LEAST_SEVERITY = 0.4  # below this hardly any fault shows at all
SEEDS = 10**9  # seeds of units are drawn below this
GOLDEN = (5**0.5 - 1) / 2


@click.command("likelihoods")
@click.option("--unit", default="demo-18-dc", show_default=True, help="A unit profile's name.")
@click.option("--complaint", metavar="NAME", help="Only the causes of this complaint; all if not given.")
@click.option("--procedure", "procedures", multiple=True, metavar="NAME",
              help="What is run on every unit; may repeat. Without it, whatever feeds the table.")  # fmt: skip
@click.option("--cases", type=click.IntRange(0, 10_000), default=0, metavar="N",
              help="Simulate N units of every cause; without it, what is kept is shown.")  # fmt: skip
@click.option("--seed", type=click.IntRange(0, 2**31), default=1, show_default=True,
              help="Which units, severities and instruments are drawn.")  # fmt: skip
@click.option("--processes", type=click.IntRange(1, 64), default=os.cpu_count() or 1, show_default=True,
              help="How many units at once.")  # fmt: skip
@click.option("--out", metavar="FILE", help="Where the counts are kept; without it, in RIG_HOME.")
@click.option("--keep", metavar="FILE",
              help="Keep what was read, a line a run, and take from there what was run before.")  # fmt: skip
@json_option
def command(
    unit: str,
    complaint: str | None,
    procedures: tuple[str, ...],
    cases: int,
    seed: int,
    processes: int,
    out: str | None,
    keep: str | None,
    as_json: bool,
) -> int:
    """Build P(outcome | cause) from simulated units, or show where it and the tables' estimates disagree.

    \b
    Examples:
      rig likelihoods --complaint no-water-level --procedure fill-diagnosis --cases 24 --seed 1
      rig likelihoods --unit demo-18-dc

    A run takes one to four seconds of one core. A table that was changed is counted anew from the runs of --keep.
    """
    from rig.diagnosis.likelihoods import disagreements, kept

    path = Path(out) if out is not None else own_file(unit)
    tables = _tables(unit, complaint)
    if cases:
        how = How(procedures, cases, seed, processes, Path(keep) if keep is not None else None)
        counted = _build(unit, how, path, tables)
    else:
        counted = [c for t in tables if (c := kept(unit, t.complaint, path)) is not None]
        if not counted:
            raise InputError(f"nothing is kept for {unit}", "Build it: rig likelihoods --cases 24.", "--unit")
    by_complaint = {t.complaint: t for t in tables}
    found = {c.complaint: disagreements(by_complaint[c.complaint], c) for c in counted}
    if as_json:
        print_json({complaint: [vars(d) for d in some] for complaint, some in found.items()})
        return PASSED
    _show(found)
    return PASSED


def own_file(unit: str) -> Path:
    """Where a shop's own counts lie."""
    from rig.records.store import default_path

    return default_path().parent / "likelihoods" / f"{Path(unit).stem}.json"


def _tables(unit: str, complaint: str | None) -> list[UnitTable]:
    from rig.diagnosis.unit_table import for_unit
    from rig.plan.causes import CauseTable
    from rig.plan.load import bundled, load_named
    from rig.plan.profile import UnitProfile

    profile = load_named("unit-profile", unit).model
    assert isinstance(profile, UnitProfile)
    names = [complaint] if complaint is not None else list(bundled("complaint"))
    models = [load_named("complaint", name).model for name in names]
    return [for_unit(m, profile, "bench") for m in models if isinstance(m, CauseTable)]


@dataclass(frozen=True)
class How:
    """What is run (whatever feeds a table where ``procedures`` are none), how often, and where the runs are kept."""

    procedures: tuple[str, ...]
    cases: int
    seed: int
    processes: int
    keep: Path | None


def _build(unit: str, how: How, path: Path, tables: list[UnitTable]) -> list[Simulated]:
    from rig.diagnosis.likelihoods import as_file, read_whole

    counted = {table.complaint: _count(unit, how, table) for table in tables}
    path.parent.mkdir(parents=True, exist_ok=True)
    whole = read_whole(path, unit) if path.exists() else {}
    path.write_text(as_file(unit, whole | counted), encoding="utf-8")
    print(f"kept in {path}", file=sys.stderr)
    return [one for _, one in counted.values()]


def _count(unit: str, how: How, table: UnitTable) -> tuple[dict[str, Any], Simulated]:
    """How one table's counts came about, and the counts."""
    from rig import __version__
    from rig.diagnosis.likelihoods import DEGREES, count, worth_running
    from rig.plan.load import load_named

    procedures = how.procedures or worth_running(table)
    units = list(draw(unit, procedures, how.cases, how.seed, set(table.causes)))
    print(f"{table.complaint}: {len(units)} runs, {how.processes} at once", file=sys.stderr)
    made_with = {
        "rig": __version__,
        "seed": how.seed,
        "cases": how.cases,
        "severities": [LEAST_SEVERITY, 1.0],
        "degrees": DEGREES,
        "procedures": {p: getattr(load_named("procedure", p).model, "revision", "") for p in procedures},
    }
    return made_with, count(table, simulate(units, len(procedures), how.processes, how.keep))


def draw(unit: str, procedures: tuple[str, ...], cases: int, seed: int, causes: set[str]) -> Iterator[SimulatedUnit]:
    """Units of every cause that the simulator knows: severities spread evenly, every unit made anew (its seed draws
    its parts and its instruments), one run a procedure. More cases of one seed begin with the fewer ones: the places
    are multiples of the golden section, whose fractions are even at every length (the additive recurrence of
    H. Niederreiter, Random Number Generation and Quasi-Monte Carlo Methods, 1992, ch. 3)."""
    from rig.cli.simulated_units import SimulatedUnit

    stream = random.Random(f"likelihoods/{unit}/{seed}")
    names = sorted(causes & known_faults(unit))
    begin = {name: stream.random() for name in names}
    for case in range(cases):
        for name in names:
            severity = LEAST_SEVERITY + (1.0 - LEAST_SEVERITY) * ((begin[name] + case * GOLDEN) % 1.0)
            made = stream.randrange(SEEDS)
            for procedure in procedures:
                yield SimulatedUnit(unit, procedure, ((name, round(severity, 4)),), made)


def known_faults(unit: str) -> set[str]:
    """The faults that a simulated unit of this profile can have."""
    from rig.cli.station import station_module

    return {f["name"] for f in station_module().list_faults() if unit in f["units"]}


def simulate(
    units: list[SimulatedUnit], each: int, processes: int, keep: Path | None = None
) -> Iterator[SimulatedCase]:
    """Run them; ``each`` runs in a row are of one unit."""
    from rig.cli.simulated_units import run_all
    from rig.diagnosis.likelihoods import SimulatedCase

    records = []
    for n, (unit, record) in enumerate(run_all(units, processes, keep), 1):
        records.append(record)
        if len(records) == each:
            cause, severity = unit.faults[0] if unit.faults else ("", 0.0)
            yield SimulatedCase(cause, severity, tuple(records))
            records = []
        if n % 50 == 0 or n == len(units):
            print(f"  {n} of {len(units)}", file=sys.stderr, flush=True)


def _show(found: dict[str, list[Any]]) -> None:
    from rig.cli.printer import Printer
    from rig.cli.table import table

    out = Printer(sys.stdout)
    for complaint, some in found.items():
        out.line("", f"{complaint}: {len(some)} chances further than 0.2 from the table")
        rows = [
            (d.observation, d.cause, d.outcome, f"{d.table:.2f}", f"{d.simulation:.2f}", f"{d.cases:.0f}") for d in some
        ]
        if rows:
            out.line(*table(("observation", "cause", "outcome", "table", "simulated", "cases"), rows, out.width))
