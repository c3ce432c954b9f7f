"""Which complaint a run shows, where nobody has said."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from rig.diagnosis.evidence import known, one_each
from rig.diagnosis.from_runs import from_run
from rig.diagnosis.model import Model
from rig.diagnosis.rank import likelihood
from rig.events import RunRecord

ALIKE = 0.5  # bits: two tables that differ by no more explain a run alike
SHOWS = 1.0  # bits: what explains no more than this is nothing out of order


def explains(model: Model, records: Sequence[RunRecord]) -> float:
    """Bits by which the best of a table's causes explains the runs better than a healthy unit does.

    The largest log2(P(e | cause) / P(e | healthy)) over what the table can read from the runs. It is the best cause's
    and not the average's: a table is not taken or passed over for how common its causes are, or how many it has.
    """
    together, healthy = np.ones_like(model.prior), 0.0
    for one in one_each(e for r in records for e in from_run(model.table.observations, r)):
        likely = likelihood(model, one)
        if likely.size:
            told = model.outcomes[one.observation]
            weights = known(one.weights, told)
            together *= likely
            healthy += float(np.log2(model.healthy[one.observation] @ [weights.get(o, 0.0) for o in told]))
    named = model.cause_of[model.first] < len(model.causes) - 1
    return float(np.log2(np.max(together[named & (model.second < 0)]))) - healthy


def likeliest_complaint(models: Sequence[Model], records: Sequence[RunRecord]) -> tuple[Model, str]:
    """The model that explains the runs best, the first of equals (within ``ALIKE``), and why it was taken."""
    bits = [explains(m, records) for m in models]
    best = next(n for n, b in enumerate(bits) if b >= max(bits) - ALIKE)
    name = models[best].table.complaint
    if bits[best] < SHOWS:
        return models[best], f"nothing in the run is out of order; taken as {name}, for want of --complaint"
    return models[best], "its causes explain the run best"
