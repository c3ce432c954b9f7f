"""``rig gauge``: a crossed study of a gauge, parts by people by trials."""

from __future__ import annotations

import sys
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

import click

from rig.cli.codes import PASSED
from rig.cli.options import json_option, print_json, printable, store_option

if TYPE_CHECKING:
    from rig.cli.printer import Printer
    from rig.health.gauge_study import Row, Study
    from rig.records.gauge_data import StudyData

PROCEDURE, STEP = "gauge-study", "part"


@click.command("gauge")
@click.argument("procedure", default=PROCEDURE)
@click.option("--step", default=STEP, show_default=True, help="The step whose readings are studied.")
@click.option("--bench", default="simulated", show_default=True, help="The bench that the gauge is part of.")
@click.option("--people", callback=printable, default="", help="Measure now: the people, with commas between.")
@click.option("--parts", callback=printable, default="", help="Measure now: the parts, with commas between.")
@click.option("--trials", type=click.IntRange(2, 10), default=3, show_default=True, help="How often each is measured.")
@click.option("--seed", type=int, default=0, show_default=True, help="Of the first reading on a simulated bench.")
@store_option
@json_option
def command(
    procedure: str,
    step: str,
    bench: str,
    people: str,
    parts: str,
    trials: int,
    seed: int,
    store: str | None,
    as_json: bool,
) -> int:
    """Study a gauge: how much of what it shows is its own doing, and how much the people's.

    \b
    Examples:
      rig gauge --people "Ada,Ben,Cy" --parts "P1,P2,P3,P4,P5" --trials 3
      rig gauge gauge-study --step part --json

    With --people and --parts the readings are taken now, one run of PROCEDURE each, every person measuring every part
    in every trial; a run's --by is the person and its --serial the part. Without them the runs on record are studied.
    Repeatability, reproducibility and the number of distinct categories are given by analysis of variance and by
    ranges, as AIAG's Measurement Systems Analysis (4th edition) has them.
    """
    from rig.cli.printer import Printer
    from rig.health.gauge_study import anova, by_anova, by_ranges
    from rig.plan.load import load_named
    from rig.plan.wiring import Bench
    from rig.records.gauge_data import readings_of, study_of
    from rig.records.store import Store

    names = [[word.strip() for word in text.split(",") if word.strip()] for text in (people, parts)]
    if any(names) and not all(len(set(some)) == len(some) >= 2 for some in names):
        raise click.UsageError("a study needs two different people or more, and two different parts or more")
    printer = Printer(sys.stderr if as_json else sys.stdout)
    if all(names):
        _measure(procedure, bench, names[0], names[1], trials, seed, store)
    wiring, plan = load_named("bench", bench).model, load_named("procedure", procedure).model
    assert isinstance(wiring, Bench)
    name = getattr(plan, "procedure", procedure)
    with Store.open(store, must_exist=True) as records, records.reading() as connection:
        data = study_of(readings_of(connection, name, step, wiring.bench), f"{name}, step {step}")
    try:
        table, studies = anova(data.values), [by_anova(data.values)]
    except ValueError as error:
        raise click.UsageError(str(error)) from error
    if max(len(data.people), len(data.parts), len(data.values[0])) <= 10:
        studies.append(by_ranges(data.values))
    if as_json:
        print_json(_as_json(data, table, studies))
    else:
        _print(data, table, studies, printer)
    return PASSED


def _measure(
    procedure: str, bench: str, people: list[str], parts: list[str], trials: int, seed: int, store: str | None
) -> None:
    """Every reading of the study, trial by trial, so that what drifts meanwhile falls on everybody alike.

    On a simulated bench each has a seed of its own: the same one would give the same reading."""
    from rig.cli.performing import Wanted
    from rig.cli.printer import Printer
    from rig.cli.run import perform

    every = [(person, part) for _ in range(trials) for person in people for part in parts]
    for n, (person, part) in enumerate(every):
        print(f"{n + 1} of {len(every)}: {person} measures {part}", file=sys.stderr)
        perform(Wanted(procedure, bench, serial=part, by=person, seed=seed + n, store=store), Printer(sys.stderr))


def _as_json(data: StudyData, table: tuple[Row, ...], studies: list[Study]) -> dict[str, Any]:
    return {
        "people": list(data.people),
        "parts": list(data.parts),
        "trials": len(data.values[0]),
        "unit": data.unit,
        "anova": [asdict(row) for row in table],
        "studies": [
            asdict(s) | {"gauge": s.gauge, "total": s.total, "gauge_share": s.share(s.gauge), "ndc": s.categories}
            for s in studies
        ],
    }


def _print(data: StudyData, table: tuple[Row, ...], studies: list[Study], out: Printer) -> None:
    from rig.cli.table import table as drawn

    size = f"{len(data.parts)} parts, {len(data.people)} people, {len(data.values[0])} trials"
    out.line(f"{size}, in {data.unit}", "")
    rows = [
        (
            r.source,
            str(r.dof),
            f"{r.squares:.6g}",
            f"{r.mean:.6g}",
            *("-" if v is None else f"{v:.4g}" for v in (r.f, r.p)),
        )
        for r in table
    ]
    out.line(*drawn(("source", "dof", "sum of squares", "mean square", "F", "p"), rows, out.width))
    for study in studies:
        parts = (
            ("repeatability", study.repeatability), ("reproducibility", study.reproducibility), ("gauge", study.gauge),
            ("parts", study.parts), ("total", study.total),
        )  # fmt: skip
        lines = [(name, f"{value:.6g} {data.unit}", f"{100 * study.share(value):.2f} %") for name, value in parts]
        out.line("", f"by {study.how}", *drawn(("standard deviation", "", "of the total"), lines, out.width))
        out.line(f"distinct categories: {study.categories}")


def _or_dash(value: float | None) -> str:
    return "-" if value is None else f"{value:.4g}"
