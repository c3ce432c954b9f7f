"""The ledger: everything that is kept beside the runs' own events, in one order, in one chain.

A run's beginning and its end are entries of it, too. So a job, a run, an entry that is taken away or changed leaves a
gap in the one chain. What was cut off at its very end leaves none: the last entry is noted beside the store as well
(``anchor.py``), and every signature and backup names the last of its time.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import sqlalchemy as sa

from rig.records import schema
from rig.records.canonical import canonical, parsed
from rig.records.chain import BEGINNING, digest
from rig.records.codec import decode_fields, encode_fields
from rig.records.facts import KINDS, Fact
from rig.records.ids import new_run_id


@dataclass(frozen=True)
class Came:
    """What an entry is in the chain of the bench that it was gathered from."""

    store: str
    number: int
    subject: str
    previous: str
    hash: str


@dataclass(frozen=True)
class Kept:
    """An entry on record. ``by`` is the person, empty where the program itself speaks; ``subject`` is ``job:N``,
    or empty for what concerns the whole store; ``body`` is what it says, as it was written. ``seq`` is its place in
    the chain; ``order`` says what happened before what, also on several benches, and means nothing else."""

    seq: int
    id: str
    subject: str
    kind: str
    utc: str
    by: str
    body: str
    previous: str
    hash: str
    fact: Fact
    order: int
    came: Came | None = None


def job_subject(job: str) -> str:
    """How the ledger names a job."""
    return f"job:{job}"


def now() -> str:
    """The time of an entry: UTC, ISO 8601."""
    return datetime.now(UTC).isoformat(timespec="milliseconds")


def head_of(connection: sa.Connection) -> tuple[int, str]:
    """Number and hash of the last entry; 0 and the beginning in an empty ledger."""
    e = schema.entries.c
    last = connection.execute(sa.select(e.seq, e.hash).order_by(e.seq.desc()).limit(1)).first()
    return (0, BEGINNING) if last is None else (last.seq, last.hash)


def append(connection: sa.Connection, fact: Fact, *, subject: str = "", by: str = "", utc: str = "") -> Kept:
    """Add one entry, in a transaction that writes."""
    seq, previous = head_of(connection)
    envelope: dict[str, Any] = {
        "seq": seq + 1,
        "id": new_run_id(),
        "subject": subject,
        "kind": type(fact).__name__,
        "utc": utc or now(),
        "by": by,
        "body": encode_fields(fact),
        "previous": previous,
    }
    found = entry_hash(envelope)
    row = envelope | {"body": canonical(envelope["body"]), "hash": found}
    connection.execute(sa.insert(schema.entries).values(**row))
    if _gathers(connection):
        _place_after_all(connection, row)
    return kept(row)


def _gathers(connection: sa.Connection) -> bool:
    """Whether benches are gathered here."""
    return connection.execute(sa.select(schema.gathered.c.seq).limit(1)).first() is not None


def _place_after_all(connection: sa.Connection, row: dict[str, Any]) -> None:
    """Whoever adds to the shop's ledger has seen what is in it, whatever the clocks of the benches say."""
    latest = connection.execute(sa.select(sa.func.max(schema.gathered.c.happened))).scalar_one()
    own = {name: row[name] for name in ("seq", "id", "subject", "previous", "hash")}
    place = own | {"store": "", "number": row["seq"], "happened": max(row["utc"], latest)}
    connection.execute(sa.insert(schema.gathered).values(**place))


def entry_hash(envelope: dict[str, Any], body: str | None = None) -> str:
    """SHA-256 over the canonical JSON of an entry, which names the hash before it; ``body`` is the text of its body
    where that is there already. Raises ValueError."""
    told = canonical(envelope["body"]) if body is None else body
    rest = canonical({name: envelope[name] for name in ("by", "id", "kind", "previous", "seq", "subject", "utc")})
    return digest(f'{{"body":{told},{rest[1:]}')  # these keys stand in order, and "body" before them


def kept(row: Any, order: int | None = None, came: Came | None = None) -> Kept:
    """A row of the table as an entry. Raises ValueError when it says nothing that we know."""
    values = {name: row[name] for name in _COLUMNS}
    kind = KINDS.get(values["kind"])
    if kind is None:
        raise ValueError(f"the ledger has an entry of an unknown kind: {values['kind']!r}")
    order = values["seq"] if order is None else order
    return Kept(**values, fact=decode_fields(kind, parsed(values["body"])), order=order, came=came)


_COLUMNS = tuple(c.name for c in schema.entries.columns)


def envelope_of(entry: Kept, at_bench: bool = False) -> dict[str, Any]:
    """An entry as JSON values, as they stand in a signed record: in this chain, or in that of its bench."""
    names = ("seq", "id", "subject", "kind", "utc", "by", "previous", "hash")
    plain = {name: getattr(entry, name) for name in names} | {"body": parsed(entry.body)}
    if at_bench and entry.came is not None:
        came = entry.came
        plain |= {"seq": came.number, "subject": came.subject, "previous": came.previous, "hash": came.hash}
    return plain


def entry_from(envelope: dict[str, Any], order: int) -> Kept:
    """The entry of :func:`envelope_of`, in the order that it has among others. Raises ValueError, KeyError."""
    return kept(envelope | {"body": canonical(envelope["body"])}, order)


def read(
    connection: sa.Connection, subject: str | None = None, kinds: Sequence[type[Fact]] = (), own: bool = False
) -> tuple[Kept, ...]:
    """Entries in the order in which they happened: all, those of one subject, those of some kinds; ``own`` leaves out
    what was gathered from benches."""
    e, g = schema.entries.c, schema.gathered.c
    if not _gathers(connection):
        query = _chosen(sa.select(schema.entries).order_by(e.seq), subject, kinds)
        return tuple(kept(row) for row in connection.execute(query).mappings())
    names = ("store", "number", "subject", "previous", "hash", "happened")
    where = [g[name].label(f"at_{name}") for name in names]
    query = sa.select(schema.entries, *where).outerjoin(schema.gathered, g.seq == e.seq)
    if own:
        query = query.where(sa.or_(g.store.is_(None), g.store == ""))
    rows = connection.execute(_chosen(query, subject, kinds)).mappings()
    return tuple(sorted((_placed(row) for row in rows), key=lambda entry: entry.seq if own else entry.order))


def subjects(connection: sa.Connection, kind: type[Fact]) -> list[tuple[str, int]]:
    """What entries of a kind are about, in the order in which they happened, each with its place in that order;
    without reading what they say."""
    e, g = schema.entries.c, schema.gathered.c
    query = sa.select(e.subject, e.seq, e.utc, g.happened).outerjoin(schema.gathered, g.seq == e.seq)
    rows = connection.execute(query.where(e.kind == kind.__name__)).all()
    gathers = _gathers(connection)
    found = ((row.subject, _order(row.happened or row.utc, row.seq) if gathers else row.seq) for row in rows)
    return sorted(found, key=lambda one: one[1])


def _order(happened: str, seq: int) -> int:
    return int(datetime.fromisoformat(happened).timestamp() * 1000) << 32 | seq


def _placed(row: Any) -> Kept:
    order = _order(row["at_happened"] or row["utc"], row["seq"])
    came = None
    if row["at_store"]:
        came = Came(*(row[f"at_{name}"] for name in ("store", "number", "subject", "previous", "hash")))
    return kept(row, order, came)


def _chosen(query: sa.Select[Any], subject: str | None, kinds: Sequence[type[Fact]]) -> sa.Select[Any]:
    e = schema.entries.c
    if subject is not None:
        query = query.where(e.subject == subject)
    if kinds:
        query = query.where(e.kind.in_([kind.__name__ for kind in kinds]))
    return query
