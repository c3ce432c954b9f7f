"""How good the diagnosis is on units that it has not seen: right remedy, true cause, two causes, calibration, minutes.

    python -m tests.diagnosis.evaluate --units 2000 --seed 77

draws units (causes as often as the tables say, severities, parts and instruments), runs the procedures on each in the
simulator, and ranks. A unit takes about four seconds of one core. ``--keep FILE`` keeps the readings: a
second evaluation of the same file runs nothing. Seeds are other than those of ``rig likelihoods``.

What no procedure reads is drawn from the table's own chances (see ``drawn_units``); causes that the simulator does not
know are not drawn, and are named.
"""

from __future__ import annotations

import argparse
import os
from collections import Counter, defaultdict
from collections.abc import Callable, Sequence
from pathlib import Path

import numpy as np

from rig.cli.likelihoods import known_faults
from rig.diagnosis.evidence import known
from rig.diagnosis.learn import Knowledge
from rig.diagnosis.likelihoods import kept, worth_running
from rig.diagnosis.model import Model, build
from rig.diagnosis.rank import Ranking, rank
from rig.diagnosis.unit_table import UnitTable
from rig.plan.causes import OUTCOMES
from rig.plan.load import bundled
from tests.diagnosis.decisions import Decision, by_advice, in_written_order
from tests.diagnosis.drawn_units import DrawnUnit, drawn_units
from tests.small_tables import bundled_table

ALIKE = 0.97  # the chance that two units with the same cause and severity show the same outcome, for the reference


def main(arguments: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--units", type=int, default=2000)
    parser.add_argument("--seed", type=int, default=77)
    parser.add_argument("--unit", default="demo-18-dc")
    parser.add_argument("--procedure", action="append", help="may repeat; whatever feeds the tables if not given")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--likelihoods", type=Path, help="a file of rig likelihoods; else what comes with the rig")
    parser.add_argument("--estimates", action="store_true", help="the tables' estimates alone")
    parser.add_argument("--keep", type=Path, default=Path("evaluation.jsonl"))
    wanted = parser.parse_args(arguments)
    tables = [bundled_table(name, "bench", wanted.unit) for name in bundled("complaint")]
    run = {t.complaint: wanted.procedure or worth_running(t) for t in tables}
    units, quiet = drawn_units(tables, wanted.units, wanted.seed, wanted.processes, wanted.keep, run)
    print(f"{len(units)} units; {quiet} more showed nothing and were left out")
    for table in tables:
        simulated = None if wanted.estimates else kept(wanted.unit, table.complaint, wanted.likelihoods)
        knowledge = Knowledge(simulated=simulated)
        model = build(table, knowledge.degrees(table), knowledge.start(table))
        mine = [u for u in units if u.complaint == table.complaint]
        lacking = sorted(set(table.causes) - known_faults(wanted.unit))
        print(f"\n== {table.complaint}: {len(mine)} units; rows counted by simulation: {'yes' if simulated else 'no'}")
        if lacking:
            print(f"   not drawn, the simulator does not know them: {' '.join(lacking)}")
        if mine:
            evaluate(model, mine)


def evaluate(model: Model, units: Sequence[DrawnUnit]) -> None:
    """Print everything about one complaint."""
    single = [u for u in units if len(u.causes) == 1]
    double = [u for u in units if len(u.causes) == 2]
    whole = {id(u): rank(model, u.shows.values()) for u in units}
    print("   everything looked at:")
    _print_hits(model.table, single, lambda u: whole[id(u)])
    reference = _reference_hits(model, single)
    print(f"     right remedy, by each cause's own units left one out (near the exact posterior): {reference:.1%}")
    if double:
        first = sum(set(u.causes) <= set(list(whole[id(u)].shares())[:4]) for u in double)
        print(f"     two causes: both among the first four {first / len(double):.1%} of {len(double)}")
    advised = {id(u): by_advice(model, u.shows) for u in single}
    written = {id(u): in_written_order(model, u.shows) for u in single}
    print("   following the advice:")
    _print_hits(model.table, single, lambda u: advised[id(u)].ranking, lambda u: advised[id(u)].remedy)
    print("   in the table's written order, until one remedy is believed at 0.9:")
    _print_hits(model.table, single, lambda u: written[id(u)].ranking, lambda u: written[id(u)].remedy)
    _print_minutes([advised[id(u)] for u in single], [written[id(u)] for u in single])
    _print_calibration(model.table, single, advised)
    _print_causes(model.table, single, advised)


def _right(table: UnitTable, unit: DrawnUnit, remedy: str | None) -> bool:
    return remedy in {table.remedies[c] for c in unit.causes}


def _first_remedy(ranking: Ranking) -> str | None:
    return next(iter(ranking.needed()), None)


def _print_hits(
    table: UnitTable,
    units: Sequence[DrawnUnit],
    ranking: Callable[[DrawnUnit], Ranking],
    remedy: Callable[[DrawnUnit], str | None] | None = None,
) -> None:
    named = remedy or (lambda u: _first_remedy(ranking(u)))
    right = np.mean([_right(table, u, named(u)) for u in units])
    first = np.mean([next(iter(ranking(u).shares())) == u.causes[0] for u in units])
    three = np.mean([u.causes[0] in list(ranking(u).shares())[:3] for u in units])
    print(f"     right remedy first {right:.1%}, true cause first {first:.1%}, among the first three {three:.1%}")


def _reference_hits(model: Model, units: Sequence[DrawnUnit]) -> float:
    """How often the remedy is right with P(everything seen | cause) from the other units of each cause themselves."""
    table = model.table
    seen = np.array([[_code(model, u, n) for n in model.names] for u in units])
    causes = np.array([u.causes[0] for u in units])
    start = table.start()
    right = 0
    for k, unit in enumerate(units):
        alike = np.log(np.where(seen == seen[k], ALIKE, (1 - ALIKE) / 3)).sum(axis=1)
        belief: dict[str, float] = defaultdict(float)
        for cause in set(causes):
            others = (causes == cause) & (np.arange(len(units)) != k)
            if others.any():
                belief[table.remedies[cause]] += start[cause] * float(np.exp(alike[others]).mean())
        right += bool(belief) and max(belief, key=lambda r: belief[r]) == table.remedies[unit.causes[0]]
    return right / len(units)


def _code(model: Model, unit: DrawnUnit, name: str) -> int:
    told = known(unit.shows[name].weights, model.outcomes[name])
    return OUTCOMES.index(max(told, key=lambda o: told[o])) if told else -1


def _print_minutes(advised: Sequence[Decision], written: Sequence[Decision]) -> None:
    for name, some in (("advice", advised), ("written order", written)):
        minutes, looks = np.mean([d.minutes for d in some]), np.mean([d.looks for d in some])
        covers, live = np.mean([d.covers > 0 for d in some]), np.mean([d.live for d in some])
        print(
            f"     {name:14} {minutes:5.1f} minutes, {looks:4.1f} looks, covers off {covers:.0%}, live looks {live:.2f}"
        )
    ratio = np.sum([d.minutes for d in advised]) / np.sum([d.minutes for d in written])
    print(f"     minutes of the advice, as part of the written order's: {ratio:.0%}")


def _print_calibration(table: UnitTable, units: Sequence[DrawnUnit], decided: dict[int, Decision]) -> None:
    """Belief in the remedy that was named, beside how often it was right; and the Brier score over all causes."""
    score, bins = [], defaultdict(list)
    for unit in units:
        decision = decided[id(unit)]
        present = decision.ranking.present()
        score.append(sum((p - (c in unit.causes)) ** 2 for c, p in present.items()))
        bins[min(9, int(10 * decision.belief))].append((decision.belief, _right(table, unit, decision.remedy)))
    print(f"     Brier score (sum over causes) {np.mean(score):.3f}; belief in the remedy and how often it was right:")
    for n in sorted(bins):
        believed, right = np.mean(bins[n], axis=0)
        print(
            f"       {n / 10:.1f}-{(n + 1) / 10:.1f}: believed {believed:.2f}, right {right:.2f}, {len(bins[n])} units"
        )


def _print_causes(table: UnitTable, units: Sequence[DrawnUnit], decided: dict[int, Decision]) -> None:
    """Per cause, the worst first, and what was taken for it."""
    right: dict[str, list[bool]] = defaultdict(list)
    instead: dict[str, Counter[str]] = defaultdict(Counter)
    for unit in units:
        decision = decided[id(unit)]
        good = _right(table, unit, decision.remedy)
        right[unit.causes[0]].append(good)
        if not good:
            instead[unit.causes[0]][next(iter(decision.ranking.shares()))] += 1
    print("     right remedy by cause, the worst first:")
    for cause in sorted(right, key=lambda c: np.mean(right[c])):
        taken = ", ".join(f"{c} {n}" for c, n in instead[cause].most_common(3))
        print(
            f"       {np.mean(right[cause]):4.0%} of {len(right[cause]):4} {cause}"
            + (f"  (taken for {taken})" if taken else "")
        )


if __name__ == "__main__":
    main()
