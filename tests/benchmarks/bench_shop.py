"""Both stores with many runs of 40 readings each: one serial's history, and the workshop's figures.

    python -m tests.benchmarks.bench_shop [--runs 300 1000] [--only sqlite]

prints, for each number of runs, milliseconds of ``Store.list_runs(serial)``, of ``overview`` with its tables up to
date, of taking one more run in, of listing the jobs that are open, and of following the ledger, as a release does; and
by how much each grew with the runs. ``--runs 1000 10000 100000`` is the long form: 100,000 runs are 4 million readings.
Data are invented.
"""

from __future__ import annotations

import argparse
import random
import statistics
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass, replace
from datetime import UTC, date, datetime, timedelta
from itertools import pairwise
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from rig.events import Event, RunEnded, RunStarted, StepEnded
from rig.limits import Verdict, worst
from rig.records import ledger, schema
from rig.records.canonical import FORM, canonical
from rig.records.chain import BEGINNING, link
from rig.records.codec import encode, encode_fields
from rig.records.facts import Fact, InstrumentOnBench, PartFitted, Received, Repaired, RunBegan, RunClosed, Shipped
from rig.records.ids import uuid7
from rig.records.job import jobs_of
from rig.records.journal import reading_row, run_row
from rig.records.ledger_problems import follow
from rig.records.store import Store
from rig.shop.figures import Asked
from rig.shop.overview import overview
from rig.shop.summary import bring_up_to_date
from tests.postgres import serve
from tests.records.shop import result

READINGS, RUNS_A_JOB, AT_ONCE = 40, 4, 100
BENCHES, UNITS = [f"bench-{n}" for n in range(1, 9)], ["demo-18-ac", "demo-18-dc", "demo-24-dc"]
CAUSES = ["rectifier-open", "filter-choked", "probe-coated", "heater-scaled", "gasket-worn"]
BEGIN = datetime(2023, 1, 2, 8, 0, tzinfo=UTC)
ASKED = Asked(None, None, ("final-inspection", "electrical-safety"), 90, frozenset({"not-level"}))
TODAY = date(2027, 1, 1)
TIMED = ("history", "figures", "one more", "open jobs", "followed")


@dataclass
class Filler:
    """Writes invented runs and jobs straight into the tables, hashes and all, as journals and moves would have."""

    store: Store
    chance: random.Random
    runs: int = 0

    def fill(self, upto: int) -> None:
        while self.runs < upto:
            with self.store.writing() as connection:
                self._some(connection, min(AT_ONCE, upto - self.runs))

    def _some(self, connection: sa.Connection, count: int) -> None:
        tables: dict[str, list[dict[str, Any]]] = {"jobs": [], "runs": [], "events": [], "readings": []}
        seq, head = ledger.head_of(connection)
        entries: list[dict[str, Any]] = []
        for fact, subject, when in self._facts(count, tables):
            seq += 1
            row: dict[str, Any] = {"seq": seq, "id": str(uuid7(seq, 0, seq)), "subject": subject, "previous": head}
            row |= {"kind": type(fact).__name__, "utc": when, "by": "A. Bench", "body": encode_fields(fact)}
            head = ledger.entry_hash(row)
            entries.append(row | {"body": canonical(row["body"]), "hash": head})
        for name, rows in tables.items():
            if rows:
                connection.execute(sa.insert(schema.tables.tables[name]), rows)
        connection.execute(sa.insert(schema.entries), entries)

    def _facts(self, count: int, tables: dict[str, list[dict[str, Any]]]) -> Iterator[tuple[Fact, str, str]]:
        for _ in range(count):
            n = self.runs
            self.runs += 1
            job, place = divmod(n, RUNS_A_JOB)
            when = (BEGIN + timedelta(minutes=20 * n)).isoformat(timespec="milliseconds")
            subject, unit, serial = f"job:{job + 1}", UNITS[job % 3], f"LM-{job % 5000:05}"
            if place == 0:
                yield Received(serial, unit, f"Practice {job % 400}", "no-water-level", ""), subject, when
                tables["jobs"].append({"job": str(job + 1), "first_run": ""})
            run = str(uuid7(int(datetime.fromisoformat(when).timestamp() * 1000), 0, n))
            if place == 0:
                tables["jobs"][-1]["first_run"] = run
            procedure = ("incoming-inspection", "incoming-inspection", "final-inspection", "electrical-safety")[place]
            start = RunStarted(0.0, run, procedure, "1", unit, serial, BENCHES[n % 8], False, "A. Bench", str(job + 1),
                               None, (), when, READINGS, 5.0, "terminal")  # fmt: skip
            instruments = (InstrumentOnBench("meter-1", f"M{n % 8}", "2027-01-15"),)
            yield RunBegan(run, procedure, unit, serial, start.bench, False, True, (), instruments), subject, when
            head, verdict = self._run(start, tables)
            yield RunClosed(run, READINGS + 2, head, verdict), subject, when
            if place == 1:
                cause = CAUSES[self.chance.randrange(5)]
                yield Repaired((PartFitted("rectifier", "L1"),), 30.0, cause, ""), subject, when
            if place == 3:
                yield Shipped("parcel"), subject, when

    def _run(self, start: RunStarted, tables: dict[str, list[dict[str, Any]]]) -> tuple[str, str]:
        events: list[Event] = [start]
        for n in range(READINGS):
            value = self.chance.gauss(5.0, 1.6)
            verdict = Verdict.PASS if 1.2 <= value <= 8.8 else Verdict.FAIL
            step = result(f"step-{n:02}", verdict)
            assert step.reading is not None
            reading = replace(step.reading, value=value, instrument=f"{start.bench} meter-1")
            events.append(StepEnded(float(n), replace(step, reading=reading)))
        end = worst(e.result.verdict for e in events if isinstance(e, StepEnded))
        events.append(RunEnded(99.0, end, None, True, 1800.0, 60.0))
        tables["runs"].append(run_row(start))
        head = BEGINNING
        for seq, event in enumerate(events):
            plain = encode(event)
            body = canonical(plain)
            previous, head = head, link(start.run, seq, head, body, FORM)
            tables["events"].append({"run": start.run, "seq": seq, "kind": plain["event"], "at": event.at,
                                     "body": body, "previous": previous, "hash": head, "form": FORM})  # fmt: skip
            if isinstance(event, StepEnded):
                tables["readings"].append({"run": start.run, "seq": seq} | reading_row(event))
        return head, str(end)


def milliseconds(act: Callable[[], object], times: int) -> float:
    """The median of some times, in ms."""
    found = []
    for _ in range(times):
        began = time.perf_counter()
        act()
        found.append((time.perf_counter() - began) * 1000)
    return statistics.median(found)


def measured(filler: Filler, runs: int) -> dict[str, float]:
    """Milliseconds by what was timed; ``made`` is the seconds that making it all took."""
    store, began = filler.store, time.perf_counter()
    filler.fill(runs)
    bring_up_to_date(store)
    if store.engine.dialect.name == "postgresql":
        with store.engine.connect().execution_options(isolation_level="AUTOCOMMIT") as connection:
            connection.exec_driver_sql("ANALYZE")
    made = time.perf_counter() - began

    def more() -> None:
        filler.fill(filler.runs + 1)
        bring_up_to_date(store)

    def followed() -> None:
        with store.reading() as connection:
            assert follow(connection).problems == ()

    return {
        "history": milliseconds(lambda: store.list_runs("LM-00007"), 9),
        "figures": milliseconds(lambda: overview(store, ASKED, TODAY, 30), 3),
        "one more": milliseconds(more, 3),
        "open jobs": milliseconds(lambda: list(jobs_of(store, still_open=True)), 3),
        "followed": milliseconds(followed, 1),
        "made": made,
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--runs", type=int, nargs="+", default=[300, 1000])
    parser.add_argument("--only", choices=["sqlite", "postgresql"])
    wanted = parser.parse_args()
    print(f"{'milliseconds':<12} {'runs':<8}" + "".join(f"{name:>11}" for name in TIMED) + "  made in s", flush=True)
    with ExitStack() as stack:
        urls = {}
        if wanted.only != "postgresql":
            folder = stack.enter_context(tempfile.TemporaryDirectory())
            urls["sqlite"] = f"sqlite:///{Path(folder) / 'records.sqlite'}"
        if wanted.only != "sqlite":
            serving = serve()
            stack.callback(serving.close)
            server = next(serving)
            urls["postgresql"] = server.url(server.database())
        for kind, url in urls.items():
            rows: list[tuple[int, dict[str, float]]] = []
            with Store.open(url) as store:
                filler = Filler(store, random.Random(1))
                for runs in wanted.runs:
                    found = measured(filler, runs)
                    rows.append((runs, found))
                    times = "".join(f"{found[name]:11.1f}" for name in TIMED)
                    print(f"{kind:<12} {runs:<8}{times}{found['made']:11.1f}", flush=True)
            for (few, before), (many, after) in pairwise(rows):
                said = ", ".join(f"{name} x {after[name] / before[name]:.2f}" for name in TIMED)
                print(f"  {kind}: {many / few:.2f} x the runs: {said}")


if __name__ == "__main__":
    main()
