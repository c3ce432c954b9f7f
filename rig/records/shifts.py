"""The bench's checks of itself over the shifts: whether today's is there, and the charts of its reference parts."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import sqlalchemy as sa

from rig.errors import RuleError
from rig.events import Reading, RunEnded, RunRecord, StepResult
from rig.health.charts import State, state
from rig.limits import Verdict
from rig.plan.wiring import Bench
from rig.records import schema
from rig.records.canonical import parsed
from rig.records.codec import decode
from rig.uncertainty import combine

KEPT = 60  # earlier checks that a chart is made of: a quarter of single shifts


@dataclass(frozen=True)
class Chart:
    """One reference part on one day: the newest value, its limits, and what the charts of earlier checks say."""

    step: str
    unit: str
    value: float
    lower: float
    upper: float
    earlier: int
    state: State


def refuse_unchecked(connection: sa.Connection, wiring: Bench, procedure: str, now: datetime) -> None:
    """Raises RuleError when the bench file asks for a self-check before this procedure and there is none that is young
    enough and passed. The self-check itself is never refused."""
    wanted = wiring.in_order
    if wanted is None or wanted.self_check is None or procedure == wanted.self_check:
        return
    do = f"Run {wanted.self_check} on it first: rig bench {wiring.bench} --self-check."
    r = schema.runs.c
    query = sa.select(r.run, r.utc).where(r.bench == wiring.bench, r.procedure == wanted.self_check)
    last = connection.execute(query.order_by(r.run.desc()).limit(1)).first()
    if last is None:
        raise RuleError("the bench has not checked itself, and its file asks for that", do, wiring.bench)
    if now - datetime.fromisoformat(last.utc) > timedelta(seconds=wanted.no_older_than.to("s")):
        what = (
            f"the bench's last self-check is older than {wanted.no_older_than}: {last.utc[:16].replace('T', ' ')} UTC"
        )
        raise RuleError(what, do, wiring.bench)
    verdict = _verdict(connection, last.run)
    if verdict is not Verdict.PASS:
        said = "was cut off" if verdict is None else f"ended with '{verdict}'"
        raise RuleError(f"the bench's last self-check {said}", f"Find out why. {do}", wiring.bench)


def _verdict(connection: sa.Connection, run: str) -> Verdict | None:
    e = schema.events.c
    found = connection.execute(sa.select(e.body, e.form).where(e.run == run, e.kind == RunEnded.__name__)).first()
    if found is None:
        return None
    ended = decode(parsed(found.body, found.form))
    assert isinstance(ended, RunEnded)
    return ended.verdict


def charts(connection: sa.Connection, record: RunRecord) -> tuple[Chart, ...]:
    """The charts of the parts that a self-check measured, against earlier checks of the same bench with the same unit
    of value; one a step that has a reading and a limit with two ends."""
    return tuple(_chart(connection, record, step, step.reading) for step in record.steps if step.reading is not None
                 and step.limit is not None and step.reading.bound is None
                 and step.limit.at_least is not None and step.limit.at_most is not None)  # fmt: skip


def _chart(connection: sa.Connection, record: RunRecord, step: StepResult, reading: Reading) -> Chart:
    assert step.limit is not None
    lower, upper = step.limit.at_least, step.limit.at_most
    assert lower is not None
    assert upper is not None
    earlier = _earlier(connection, record, step.name, reading.unit)
    own = combine([line.share for line in reading.budget if not line.statement])
    found = state(earlier, reading.value, lower, upper, floor=own)
    return Chart(step.name, reading.unit, reading.value, lower, upper, len(earlier), found)


def _earlier(connection: sa.Connection, record: RunRecord, step: str, unit: str) -> list[float]:
    """Values of the same step in runs before this one, oldest first."""
    q, r, began = schema.readings.c, schema.runs.c, record.started
    query = (
        sa.select(q.value)
        .join(schema.runs, r.run == q.run)
        .where(q.step == step, q.unit == unit, q.bound.is_(None), q.value.is_not(None))
        .where(r.bench == began.bench, r.procedure == began.procedure, r.simulated == began.simulated)
        .where(r.run < began.run)
        .order_by(q.run.desc(), q.seq.desc())
        .limit(KEPT)
    )
    return [float(value) for value in reversed(connection.execute(query).scalars().all())]
