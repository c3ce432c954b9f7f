"""PostgreSQL behind the store: how it is opened, and who may write when.

Entries have one order, so whoever adds to the ledger holds one advisory lock of the database until the end of the
transaction (PostgreSQL documentation, 13.3.5); who reads sees one moment (13.2.2, Repeatable Read).
"""

from __future__ import annotations

import hashlib
from typing import Any

import sqlalchemy as sa

from rig.errors import RecordError

# A server that does not answer is given up, so that a program that sends can say so; nothing on a bench waits for it.
CONNECT_SECONDS = 5
SILENT_SECONDS = 15  # no acknowledgement of what was sent: the cable is out
STATEMENT_SECONDS = 120  # the longest that one statement takes with ten times the records that were measured
LEDGER = 0x7269672D6C656467  # the number of the lock, "rig-ledg" in ASCII: any would do


def engine_for(url: sa.URL) -> sa.Engine:
    """An engine of the shop's database. Nothing is connected yet."""
    given = {
        "connect_timeout": str(CONNECT_SECONDS),
        "tcp_user_timeout": str(SILENT_SECONDS * 1000),
        "keepalives_idle": str(SILENT_SECONDS),
    }
    wanted: dict[str, Any] = {name: value for name, value in given.items() if name not in url.query}
    limits = f"-c statement_timeout={STATEMENT_SECONDS}s -c lock_timeout={STATEMENT_SECONDS}s"
    # what was taken in is on the server's disk, however the server is set: a bench will not send it again
    wanted["options"] = f"{limits} -c synchronous_commit=on -c timezone=UTC"
    engine = sa.create_engine(url, connect_args=wanted, isolation_level="REPEATABLE READ", pool_pre_ping=True)

    @sa.event.listens_for(engine, "begin")
    def _begins(connection: sa.Connection) -> None:
        if connection.get_execution_options().get("writes", False):
            connection.exec_driver_sql(f"SELECT pg_advisory_xact_lock({LEDGER})")

    return engine


class AdvisoryLock:
    """Held while a run is being written: a lock of the database's session, gone with the program or the connection.

    Raises RecordError when another program holds it."""

    def __init__(self, engine: sa.Engine, run: str) -> None:
        self._connection: sa.Connection | None = engine.connect().execution_options(isolation_level="AUTOCOMMIT")
        if not self._connection.scalar(sa.select(sa.func.pg_try_advisory_lock(_number(run)))):
            self.release()
            raise RecordError("the run is being written by another program", "", run)

    def release(self) -> None:
        """Let go. Safe to call twice."""
        connection, self._connection = self._connection, None
        if connection is not None:
            connection.invalidate()  # closes the session, and the lock with it
            connection.close()


def locked(connection: sa.Connection, run: str) -> bool:
    """Whether a program holds a run's lock now."""
    number = _number(run) & 0xFFFFFFFFFFFFFFFF
    query = sa.text(
        "SELECT count(*) FROM pg_locks WHERE locktype = 'advisory' AND objsubid = 1 AND classid = :high "
        "AND objid = :low AND database = (SELECT oid FROM pg_database WHERE datname = current_database())"
    )
    return bool(connection.execute(query, {"high": number >> 32, "low": number & 0xFFFFFFFF}).scalar_one())


def _number(run: str) -> int:
    """A run's number among the locks: 64 bits of a hash."""
    return int.from_bytes(hashlib.sha256(f"run {run}".encode()).digest()[:8], "big", signed=True)
