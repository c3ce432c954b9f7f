"""How long a ranking and a proposal take, beside one pass over the same numbers.

    python -m tests.benchmarks.bench_diagnosis

Every cause of each bundled table, all pairs, twenty observations; once with the table's rows alone, once with four
degrees of every cause. The ratio is to one pass over the stacked table (a product and a sum), in the same process;
the milliseconds are this machine's, this time. "From file" builds the model and gives advice.
"""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable

import numpy as np

from rig.diagnosis.advice import advise
from rig.diagnosis.evidence import seen
from rig.diagnosis.model import Model, build
from rig.diagnosis.next_test import propose
from rig.diagnosis.rank import rank
from tests.small_tables import bundled_table

REPEATS = 15
OBSERVATIONS = 20
COMPLAINTS = ("no-water-level", "slow-heat", "wet-or-leaking")


def milliseconds(what: Callable[[], object]) -> float:
    """The median of a few calls, after one to warm up."""
    what()
    times = []
    for _ in range(REPEATS):
        began = time.perf_counter()
        what()
        times.append(1e3 * (time.perf_counter() - began))
    return statistics.median(times)


def four_degrees(model: Model) -> Model:
    """The same table with four degrees of every cause, each a little different."""
    stream = np.random.default_rng(1)
    rows = {}
    for name, base in model.base.items():
        for n, cause in enumerate(model.causes[:-1]):
            rows[name, cause] = stream.dirichlet(50 * base[n] + 0.1, size=4)
    return build(model.table, rows)


def rows_of(model: Model) -> dict[tuple[str, str], np.ndarray]:
    """The rows that the model was built with, to build it again."""
    return {
        (name, cause): base[model.cause_of == n]
        for name, base in model.base.items()
        for n, cause in enumerate(model.causes[:-1])
    }


def main() -> None:
    heads = ("rank", "next", "advice", "from file", "one pass", "ratio")
    print(f"{'table':38} {'hypotheses':>10} " + " ".join(f"{h:>9}" for h in heads))
    for complaint in COMPLAINTS:
        plain = build(bundled_table(complaint, unit=None))
        for label, model in ((complaint, plain), (f"{complaint}, four degrees", four_degrees(plain))):
            found = [seen(name, "normal") for name in model.names[:OBSERVATIONS]]
            model.stacked  # noqa: B018  (made once for a unit, not for every question)
            part = rank(model, found[:4])
            times = [
                milliseconds(lambda m=model, f=found: rank(m, f)),
                milliseconds(lambda p=part: propose(p)),
                milliseconds(lambda p=part: advise(p)),
                milliseconds(lambda m=model, f=found: advise(rank(build(m.table, rows_of(m)), f[:4]))),
                milliseconds(lambda m=model: np.sum(m.stacked * m.prior[:, None, None], axis=0)),
            ]
            shown = " ".join(f"{t:6.1f} ms" for t in times)
            print(f"{label:38} {len(model.prior):10} {shown} {times[0] / times[4]:9.2f}")


if __name__ == "__main__":
    main()
