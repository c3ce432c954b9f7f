"""Sending a bench's records to the shop: as often as it takes, in small parcels, each of them whole or not at all.

What is there already is found by its hash, so that a parcel which was sent twice changes nothing; after a cut cable, a
kill or a restart it goes on behind the last parcel that arrived. The bench's file is only read, in short transactions
that hold nobody up. A shop's ledger has one order of what happened, by the benches' clocks: a clock that is off by more
than a minute is put right first.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime

import sqlalchemy as sa

from rig.errors import InputError, RuleError
from rig.records import ledger, schema
from rig.records.arrivals import Arrivals
from rig.records.canonical import parsed
from rig.records.declared import read_declared
from rig.records.facts import Gathered, Received, RunClosed, StoreDeclared
from rig.records.outbox import hash_at, parcel
from rig.records.store import Store

CLOCK_SECONDS = 60.0  # shorter than anything between a repair and the test after it


@dataclass(frozen=True)
class Behind:
    """Entries of this bench that the shop has and the bench has no longer: it was put back to an older state."""

    entries: int
    after: int  # the last entry that both have
    first: str  # when the first and the last of them happened
    last: str
    runs: tuple[str, ...]

    def __str__(self) -> str:
        runs = f", with {len(self.runs)} runs ({', '.join(r[:13] for r in self.runs[:3])})" if self.runs else ""
        return (
            f"the shop has {self.entries} entries of this bench that are not on it{runs}, from {self.first} to "
            f"{self.last}: it was put back to its entry {self.after}; they are kept there"
        )


@dataclass
class Sending:
    """What one gathering has done. ``renamed``: jobs whose number is another unit's in the shop."""

    store: str
    entries: int = 0
    runs: int = 0
    known: int = 0
    clock: float = 0.0
    behind: Behind | None = None
    aside: list[str] = field(default_factory=list)
    renamed: dict[str, str] = field(default_factory=dict)


def gather(bench: Store, shop: Store, after_parcel: Callable[[Sending], None] = lambda _: None) -> Sending:
    """Send everything that is finished and not there yet. Raises RuleError, RecordError, InputError; what had arrived
    by then stays there, and is not sent again."""
    if bench.place == shop.place:
        raise InputError("these are the same records", "Name the shop's with --to, the bench's with --store.", "--to")
    with bench.reading() as connection:
        own = read_declared(connection)
    sending = Sending(own.store, clock=_clock(shop))
    if abs(sending.clock) > CLOCK_SECONDS:
        ahead = "ahead of" if sending.clock > 0 else "behind"
        off = f"{abs(sending.clock):.0f} s {ahead} the shop's"
        what = f"the bench's clock is {off}: what came first, a repair or a test, would be told wrong"
        raise RuleError(what, "Put the clock right (by NTP), then gather again; nothing is lost meanwhile.", "clock")
    sending.known = _common(bench, shop, own.store)
    sending.behind = _behind(bench, shop, own.store, sending.known)
    last = sending.known
    while True:
        with bench.reading() as connection:
            sent = parcel(connection, last)
        if not sent:
            return sending
        with shop.writing() as connection:
            _must_fit(connection, bench, own.store)
            arrivals = Arrivals(connection, own.store, ledger.now())
            arrivals.take(sent)
            last = sent[-1].row["seq"]
            if arrivals.entries:
                left = 0 if sending.behind is None else sending.behind.entries
                came = (arrivals.entries, arrivals.runs, last, sent[-1].row["hash"], round(sending.clock, 3), left)
                ledger.append(connection, Gathered(own.store, *came))
        sending.entries += arrivals.entries
        sending.runs += arrivals.runs
        sending.aside += arrivals.aside
        sending.renamed |= arrivals.renamed
        after_parcel(sending)


def _clock(shop: Store) -> float:
    """By how many seconds this computer's clock is ahead of the shop's."""
    if shop.engine.dialect.name != "postgresql":
        return 0.0
    with shop.reading() as connection:
        before = time.time()
        there: datetime = connection.execute(sa.select(sa.func.clock_timestamp())).scalar_one()
        between = (before + time.time()) / 2
    return between - there.astimezone(UTC).timestamp()


def _common(bench: Store, shop: Store, store: str) -> int:
    """The number of the last entry that both have: what the shop has of this chain is always its beginning."""
    with bench.reading() as here, shop.reading() as there:
        low, high = 0, ledger.head_of(here)[0]
        guess = high
        while low < high:
            if _has(there, store, hash_at(here, guess)):
                low = guess
            else:
                high = guess - 1
            guess = (low + high + 1) // 2
    return low


def _has(shop: sa.Connection, store: str, found: str | None) -> bool:
    g = schema.gathered.c
    return shop.execute(sa.select(g.seq).where(g.hash == found, g.store == store)).first() is not None


def _behind(bench: Store, shop: Store, store: str, known: int) -> Behind | None:
    """What the shop has of this bench and the bench has not: past what both have, and in branches from before."""
    g, e = schema.gathered.c, schema.entries.c
    twice = sa.select(g.number).where(g.store == store).group_by(g.number).having(sa.func.count() > 1)
    query = sa.select(g.number, g.hash, g.happened, e.kind, e.body).join(schema.entries, e.seq == g.seq)
    query = query.where(g.store == store, sa.or_(g.number > known, g.number.in_(twice)))
    with shop.reading() as there, bench.reading() as here:
        lost = [row for row in there.execute(query) if hash_at(here, row.number) != row.hash]
    if not lost:
        return None
    runs = tuple(parsed(row.body)["run"] for row in lost if row.kind == RunClosed.__name__)
    after = min(row.number for row in lost) - 1
    return Behind(len(lost), after, min(r.happened for r in lost), max(r.happened for r in lost), runs)


def _must_fit(connection: sa.Connection, bench: Store, store: str) -> None:
    """A shop is what its benches are, a workshop's or for practice; the first to come says which.

    Raises RuleError when this bench is of the other kind."""
    with bench.reading() as here:
        own = read_declared(here)
    shop = read_declared(connection)
    empty = connection.execute(sa.select(schema.gathered.c.seq).limit(1)).first() is None
    if not shop.since and own.since and empty and not ledger.read(connection, kinds=(Received,)):
        ledger.append(connection, StoreDeclared(own.kind, own.name, own.address))
    elif shop.kind != own.kind:
        what = f"these are {_whose(own.kind)}, the shop's are {_whose(shop.kind)}: they are kept apart"
        raise RuleError(what, "Send them to another database.", bench.place)


def _whose(kind: str) -> str:
    return "records for practice" if kind == "practice" else f"a {kind}'s records"


def lines(sending: Sending) -> Iterator[str]:
    """What a person should know of a gathering beyond its numbers."""
    if sending.behind is not None:
        yield str(sending.behind)
    for here, there in sending.renamed.items():
        yield f"job {here} is another unit's there: it is kept as job {there}"
    yield from sending.aside
