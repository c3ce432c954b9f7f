"""What comes to the shop from a bench: each entry once, in the bench's own order, whatever else comes meanwhile.

An entry gets a place in the shop's one chain, and keeps beside it what it is in the chain of its bench: so that each
chain can be followed by itself. A bench that was put back to an older state goes on from there in a second branch;
both are kept.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import sqlalchemy as sa

from rig.errors import RecordError
from rig.records import ledger, schema
from rig.records.canonical import canonical
from rig.records.chain import BEGINNING
from rig.records.codec import encode_fields
from rig.records.facts import Received, RunBegan, SetAside
from rig.records.ids import new_run_id
from rig.records.job import CLOSES
from rig.records.outbox import SentEntry, SentRun
from rig.records.people import same_name

JOB = "job:"


class Arrivals:
    """Takes in the entries of one bench, within a transaction of the shop that writes. ``renamed`` are the jobs that
    got another number because theirs is another unit's; ``aside`` what could not stand beside what was there."""

    def __init__(self, connection: sa.Connection, store: str, now: str) -> None:
        self._connection, self._store, self._now = connection, store, now
        self._names: dict[str, str] = {}
        self.renamed: dict[str, str] = {}
        self.aside: list[str] = []
        self.entries = self.runs = 0

    def take(self, sent: Iterable[SentEntry]) -> None:
        """Add what is not there yet. Raises RecordError for an entry that does not follow on what is there."""
        known = self._known([entry.row["hash"] for entry in sent])
        new = [entry for entry in sent if entry.row["hash"] not in known]
        if not new:
            return
        previous = new[0].row["previous"]
        happened = self._known([previous]).get(previous, "")
        if not happened and previous != BEGINNING:
            raise RecordError("an entry before this one is missing", "Send again.", f"entry {new[0].row['seq']}")
        entries, places = [], []
        seq, head = ledger.head_of(self._connection)
        for entry in new:
            self._must_hold(entry, previous)
            previous = entry.row["hash"]
            happened = max(happened, min(entry.row["utc"], self._now))
            subject = self._subject(entry)
            fits = [self._take_run(run) for run in entry.runs]
            seq, row = seq + 1, self._row(entry, subject)
            if not all(fits):
                row = self._set_aside(entry)
            row |= {"seq": seq, "previous": head}
            head = ledger.entry_hash(row)
            entries.append(row | {"body": canonical(row["body"]), "hash": head})
            own = {name: entry.row[name] for name in ("id", "subject", "previous", "hash")}
            places.append({"seq": seq, "store": self._store, "number": entry.row["seq"], "happened": happened} | own)
            self._connection.execute(sa.insert(schema.entries), entries[-1:])
            self._connection.execute(sa.insert(schema.gathered), places[-1:])
        self.entries += len(entries)

    def _known(self, hashes: Iterable[str]) -> dict[str, str]:
        """Which entries of this bench are here, by hash, and when they happened."""
        g = schema.gathered.c
        query = sa.select(g.hash, g.happened).where(g.hash.in_(list(hashes)), g.store == self._store)
        return {row.hash: row.happened for row in self._connection.execute(query)}

    def _must_hold(self, entry: SentEntry, previous: str) -> None:
        row = entry.row
        if row["previous"] != previous or ledger.entry_hash(entry.envelope) != row["hash"]:
            what = "the bench's chain does not hold here: nothing from here on is taken in"
            raise RecordError(what, "'rig verify' on the bench says what was changed.", f"entry {row['seq']}")

    def _row(self, entry: SentEntry, subject: str) -> dict[str, Any]:
        same = ("id", "kind", "utc", "by")
        return {name: entry.row[name] for name in same} | {"subject": subject, "body": entry.envelope["body"]}

    def _set_aside(self, entry: SentEntry) -> dict[str, Any]:
        """An entry that says of a run what does not fit what is here of it: kept as it is, and counted as nothing."""
        events = tuple(row["body"] for run in entry.runs for row in self._unlike(run))
        names = ", ".join(run.row["run"] for run in entry.runs)
        why = f"run {names} is here with another end"
        self.aside.append(f"entry {entry.row['seq']} ({entry.row['kind']}): {why}; both are kept, the first one counts")
        fact = SetAside(self._store, canonical(entry.envelope), events, why)
        row = {"id": new_run_id(), "kind": SetAside.__name__, "utc": entry.row["utc"], "by": "", "subject": ""}
        return row | {"body": encode_fields(fact)}

    def _unlike(self, run: SentRun) -> list[dict[str, Any]]:
        """The events of a run from the first on that is not here."""
        e = schema.events.c
        query = sa.select(e.seq, e.hash).where(e.run == run.row["run"])
        there = {(row.seq, row.hash) for row in self._connection.execute(query)}
        return [row for row in run.events if (row["seq"], row["hash"]) not in there]

    def _take_run(self, run: SentRun) -> bool:
        """Keep a run; whether all of it is here then, and nothing else of it."""
        row, c = run.row, self._connection
        r, e = schema.runs.c, schema.events.c
        if c.execute(sa.select(r.run).where(r.run == row["run"])).first() is not None:
            count = sa.select(sa.func.count()).select_from(schema.events).where(e.run == row["run"])
            return not self._unlike(run) and c.execute(count).scalar_one() == len(run.events)
        jobs = schema.jobs.c.job
        if row["job"] and c.execute(sa.select(jobs).where(jobs == row["job"])).first() is None:
            c.execute(sa.insert(schema.jobs).values(job=row["job"], first_run=row["run"]))
        c.execute(sa.insert(schema.runs).values(**row))
        c.execute(sa.insert(schema.events), run.events)
        if run.readings:
            c.execute(sa.insert(schema.readings), run.readings)
        self.runs += 1
        return True

    # --- which job of the shop a job of the bench is

    def _subject(self, entry: SentEntry) -> str:
        own = str(entry.row["subject"])
        if not own.startswith(JOB):
            return own
        if entry.first not in self._names:
            self._names[entry.first] = self._found(entry) or self._new(entry)
        name = self._names[entry.first]
        if name != own:
            self.renamed[own.removeprefix(JOB)] = name.removeprefix(JOB)
        return name

    def _found(self, entry: SentEntry) -> str:
        e, g = schema.entries.c, schema.gathered.c
        query = sa.select(e.subject).join(schema.gathered, g.seq == e.seq)
        found = self._connection.execute(query.where(g.id == entry.first, g.store == self._store)).scalar()
        return str(found or "")

    def _new(self, entry: SentEntry) -> str:
        """The same number where it is the same unit's stay, or nobody's yet; else one that tells them apart."""
        own = str(entry.row["subject"])
        names = (own, f"{own}@{self._store[-4:]}", f"{own}@{entry.first[-8:]}")
        return next((name for name in names if self._same_job(name, entry)), names[-1])

    def _same_job(self, name: str, entry: SentEntry) -> bool:
        there = ledger.read(self._connection, name, (Received, RunBegan, *CLOSES))
        serials = {same_name(e.fact.serial) for e in there if isinstance(e.fact, Received | RunBegan)} - {""}
        received = {same_name(e.fact.serial) for e in there if isinstance(e.fact, Received)}
        left = any(isinstance(e.fact, tuple(CLOSES)) and e.utc < entry.row["utc"] for e in there)
        if left and entry.row["kind"] == Received.__name__:
            return False  # the same unit, come back
        return not there or not entry.serial or not serials or same_name(entry.serial) in (received or serials)
