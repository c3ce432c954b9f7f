"""The append-only store: a bench's SQLite file or the shop's PostgreSQL, to which a run's journal adds events."""

from __future__ import annotations

import sqlite3
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

import sqlalchemy as sa

from rig.errors import InputError, RecordError
from rig.records import anchor, ledger, migrations, postgres, schema
from rig.records.faults import guarded
from rig.records.interrupted import RunLock, held, lock_path, mark_for, report_path, without_end
from rig.records.journal import RunFacts, StoreJournal, writes
from rig.records.place import Place, default_path, path_of, place_of

if TYPE_CHECKING:
    from rig.events import Event, RunRecord
    from rig.records.read import Checked, RunLine, StoredRun

# Longer than a commit of another program on the same file, shorter than the heartbeat that the watching
# process waits for: a journal that waits holds up the control loop.
BUSY_SECONDS = 2.0
AGAIN_AFTER = 0.01  # s
PRAGMAS = ("synchronous = FULL", "foreign_keys = ON", "recursive_triggers = ON")


class Store:
    """The records of one bench, or of the shop. Open it with :meth:`open`; close it, or use it in a ``with``."""

    def __init__(self, engine: sa.Engine, place: Place) -> None:
        self.engine = engine
        self.place, self.folder, self.path = place.shown, place.folder, place.path
        self._noted_at = anchor.beside(engine.url)
        self._journals: list[StoreJournal] = []

    @classmethod
    def open(cls, url: str | None = None, *, must_exist: bool = False, busy_seconds: float = BUSY_SECONDS) -> Store:
        """Open the store, and make it if there is none.

        Raises RecordError, and InputError for a URL that is wrong or, with ``must_exist``, names no file.
        """
        place = place_of(url)
        nothing = InputError("no records are here yet", "Name another store with --store URL.", place.shown)
        if must_exist and not place.may_hold:
            raise nothing
        with guarded(place.shown):
            if place.path is None:
                engine = postgres.engine_for(place.url)
            else:
                place.path.parent.mkdir(parents=True, exist_ok=True)
                engine = _engine(place.path, busy_seconds)
            store = cls(engine, place)
            try:
                store._prepare(nothing if must_exist and place.path is None else None)
            except BaseException:
                store.engine.dispose()
                raise
        return store

    def journal(self, run: str, facts: RunFacts | None = None) -> StoreJournal:
        """Where the events of a new run go; ``facts`` are what the ledger keeps of it beside them."""
        with guarded(self.place):
            lock = RunLock(self.folder, run) if self.path is not None else postgres.AdvisoryLock(self.engine, run)
            journal = StoreJournal(self.engine, self.place, run, lock, facts=facts)
        self._journals.append(journal)
        return journal

    def report_path(self, run: str) -> Path:
        """Where the second process of a run writes what it had to do; the folder is made."""
        with guarded(self.place):
            path = report_path(self.folder, run)
            path.parent.mkdir(parents=True, exist_ok=True)
        return path

    def mark_interrupted(self) -> tuple[str, ...]:
        """Mark every run whose program died before its end was on record; their ids. Nothing of them is changed."""
        from rig.records.read import events_of, verify

        going = self._going()
        with self.reading() as connection:
            runs = [r for r in without_end(connection) if not going(r)]
            found: list[tuple[Checked, tuple[Event, ...]]] = [
                (verify(connection, run), events_of(connection, run)) for run in runs
            ]
        for checked, events in found:
            journal = StoreJournal(self.engine, self.place, checked.run, after=(checked.events, checked.head))
            journal.record(mark_for(events, report_path(self.folder, checked.run)))
        return tuple(runs)

    def read_run(self, run: str) -> RunRecord:
        """A whole run from its events; ``run`` is its id, or as much of it as is unique."""
        return self.stored_run(run).record

    def run_if_here(self, run: str) -> RunRecord | None:
        """A whole run; None for one that goes on at another bench: of that the shop knows the beginning alone."""
        try:
            return self.read_run(run)
        except InputError:
            return None

    def stored_run(self, run: str) -> StoredRun:
        """A whole run, and whether it was cut off."""
        from rig.records.read import stored_run

        going = self._going()
        with self.reading() as connection:
            return stored_run(connection, run, going)

    def events(self, run: str) -> tuple[Event, ...]:
        """Everything on record of a run."""
        from rig.records.read import events_of, find

        with self.reading() as connection:
            return events_of(connection, find(connection, run))

    def list_runs(self, serial: str | None = None, limit: int = 20) -> tuple[RunLine, ...]:
        """The latest runs, the newest first."""
        from rig.records.read import list_runs

        going = self._going()
        with self.reading() as connection:
            return list_runs(connection, serial, limit, going)

    def _going(self) -> Callable[[str], bool]:
        """Tells whether a program writes a run, or did when this was called: one may begin or end while one reads."""
        if self.path is None:
            return self._locked
        before = {path.stem for path in lock_path(self.folder, "*").parent.glob("*.lock") if held(path)}
        return lambda run: run in before or held(lock_path(self.folder, run))

    def _locked(self, run: str) -> bool:
        with self.reading() as connection:
            return postgres.locked(connection, run)

    def count_runs(self) -> int:
        """How many runs are on record."""
        with self.reading() as connection:
            return int(connection.execute(sa.select(sa.func.count()).select_from(schema.runs)).scalar_one())

    def verify(self, run: str) -> Checked:
        """Whether a run's chain of hashes holds, and the columns say what the events say."""
        from rig.records.read import verify

        with self.reading() as connection:
            return verify(connection, run)

    def close(self) -> None:
        """Let go of the file."""
        for journal in self._journals:
            journal.close()
            journal.release()
        self.engine.dispose()

    def __enter__(self) -> Store:
        return self

    def __exit__(self, kind: type[BaseException] | None, fault: BaseException | None, at: TracebackType | None) -> None:
        self.close()

    def problems(self) -> tuple[str, ...]:
        """What is wrong with the records, in words: the ledger, every run's chain, and that they fit each other."""
        from rig.records.ledger_problems import problems
        from rig.records.read import verify

        with self.reading() as connection:
            found = list(problems(connection))
            for run in connection.execute(sa.select(schema.runs.c.run).order_by(schema.runs.c.run)).scalars():
                found += [f"run {run}: {problem}" for problem in verify(connection, run).problems]
        return tuple(found)

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        with guarded(self.place), self.engine.connect() as connection:
            yield connection

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """One transaction that writes; nothing of it is kept when it is left by an error."""
        with guarded(self.place), self.engine.connect() as opened:
            connection = opened.execution_options(**writes(self.engine))
            with connection.begin():
                yield connection
                last = ledger.head_of(connection)
            anchor.note(self._noted_at, *last)

    def _prepare(self, empty: InputError | None) -> None:
        """Make the tables, or bring them to the present form; ``empty`` is raised where there are none."""
        with self.engine.connect() as connection:
            found = self._version(connection)
        if found is None and empty is not None:
            raise empty
        if found != schema.VERSION and (found is None or found in migrations.OLDER):
            with self.writing() as connection:
                found = self._version(connection)  # another program may have come first
                if found is None:
                    anchor.forget(self._noted_at)
                    schema.tables.create_all(connection)
                    connection.execute(sa.insert(schema.meta).values(name="schema", value=schema.VERSION))
                    migrations.begin_ledger(connection)
                    found = schema.VERSION
                found = migrations.migrate(connection, found)
        if found != schema.VERSION:
            what = f"the records are of version {found}, this rig knows {schema.VERSION}"
            do = "Use the version of rig that wrote them, or name another store with --store sqlite:///PATH."
            raise RecordError(what, do, self.place)

    def _version(self, connection: sa.Connection) -> str | None:
        """The schema's version; None in an empty file."""
        names = sa.inspect(connection).get_table_names()
        if not names:
            return None
        if schema.meta.name not in names:
            do = "Name another store with --store URL."
            raise RecordError("this is a database, but not one of records", do, self.place)
        query = sa.select(schema.meta.c.value).where(schema.meta.c.name == "schema")
        return str(connection.execute(query).scalar_one())


def _engine(path: Path, busy_seconds: float) -> sa.Engine:
    """An engine whose transactions are SQLite's own: the driver's guesses about BEGIN are switched off."""
    url = sa.URL.create("sqlite", database=str(path))
    engine = sa.create_engine(url, connect_args={"check_same_thread": False, "timeout": busy_seconds})

    @sa.event.listens_for(engine, "connect")
    def _connected(connection: sqlite3.Connection, _: Any) -> None:
        connection.isolation_level = None
        _write_ahead(connection, busy_seconds)
        for pragma in PRAGMAS:
            connection.execute(f"PRAGMA {pragma}")

    @sa.event.listens_for(engine, "begin")
    def _begins(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _write_ahead(connection: sqlite3.Connection, patience: float) -> None:
    """SQLite waits for no lock when a file is to get a write-ahead log, and somebody else may be giving a new one its
    log just then. Raises sqlite3.OperationalError when that lasts."""
    end = time.monotonic() + patience
    while True:
        try:
            connection.execute("PRAGMA journal_mode = WAL")
            return
        except sqlite3.OperationalError as why:
            if why.sqlite_errorcode & 0xFF != sqlite3.SQLITE_BUSY or time.monotonic() >= end:
                raise
        time.sleep(AGAIN_AFTER)


__all__ = ["Store", "default_path", "path_of", "place_of"]
