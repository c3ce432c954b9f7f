"""Debian's PostgreSQL server, run by the tests as an ordinary user in a folder of its own, until they end."""

from __future__ import annotations

import os
import pwd
import shutil
import signal
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import count
from pathlib import Path

import pytest
import sqlalchemy as sa

FOLDERS = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: int(p.parent.name), reverse=True)
MISSING = "PostgreSQL's server is not installed here (apt-get install postgresql)"


def _program(name: str) -> str | None:
    for folder in FOLDERS:
        if (folder / name).exists():
            return str(folder / name)
    return shutil.which(name)


def _ordinary() -> str | None:
    """Whom the server runs as: it refuses to run as root. None: as whoever runs the tests."""
    if os.getuid():
        return None
    known = {entry.pw_name for entry in pwd.getpwall()}
    return "postgres" if "postgres" in known else "nobody"


@dataclass
class Server:
    """A server on a port of this computer. ``folder`` holds its data, its socket and its log."""

    folder: Path
    port: int
    user: str | None
    process: subprocess.Popen[bytes] | None = None
    numbers: Iterator[int] = field(default_factory=lambda: count(1))

    def start(self) -> None:
        words = [
            _program("postgres"), "-D", str(self.folder / "data"), "-p", str(self.port), "-k", str(self.folder),
            "-c", "listen_addresses=127.0.0.1", "-c", "fsync=off", "-c", "synchronous_commit=off", "-c", "jit=off",
            "-c", "max_connections=60", "-c", "shared_buffers=64MB", "-c", "max_wal_size=256MB",
        ]  # fmt: skip
        with open(self.folder / "log", "ab") as log:
            self.process = subprocess.Popen(
                [str(w) for w in words], stdout=log, stderr=log, user=self.user, cwd=self.folder
            )
        for _ in range(600):
            if self.process.poll() is not None:
                raise AssertionError((self.folder / "log").read_text(errors="replace")[-2000:])
            ready = subprocess.run(
                [str(_program("pg_isready")), "-q", "-h", "127.0.0.1", "-p", str(self.port), "-t", "1"], check=False
            )
            if ready.returncode == 0:
                return
            try:
                self.process.wait(0.1)
            except subprocess.TimeoutExpired:
                continue
        raise AssertionError("PostgreSQL did not come up")

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """SIGINT ends all sessions; SIGQUIT lets go of everything at once, as a failure of power would."""
        assert self.process is not None
        self.process.send_signal(how)
        self.process.wait(60)
        self.process = None

    def url(self, database: str, port: int | None = None, user: str = "shop") -> str:
        return f"postgresql+psycopg://{user}@127.0.0.1:{port or self.port}/{database}"

    def administer(self, *statements: str, database: str = "postgres") -> None:
        engine = sa.create_engine(self.url(database), isolation_level="AUTOCOMMIT")
        with engine.connect() as connection:
            for statement in statements:
                connection.exec_driver_sql(statement)
        engine.dispose()

    def database(self) -> str:
        """The name of a new, empty database."""
        name = f"records{next(self.numbers)}"
        self.administer(f"CREATE DATABASE {name}")
        return name

    def drop(self, database: str) -> None:
        self.administer(f"DROP DATABASE IF EXISTS {database} WITH (FORCE)")


def _free_port() -> int:
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        return int(found.getsockname()[1])


def _reachable() -> Path:
    """A new folder whose way is open to the server's user, too."""
    for base in (tempfile.gettempdir(), "/tmp", "/var/tmp"):
        path = Path(base).resolve()
        if all(p.stat().st_mode & 0o001 for p in (path, *path.parents)):
            return Path(tempfile.mkdtemp(prefix="rig-pg-", dir=path))
    pytest.skip("no folder here is open to an ordinary user")


def serve() -> Iterator[Server]:
    """A server, from its beginning to its end; the test is skipped where there is none."""
    if _program("initdb") is None or _program("postgres") is None:
        pytest.skip(MISSING)
    user, folder = _ordinary(), _reachable()
    server = Server(folder, _free_port(), user)
    try:
        if user is not None:
            shutil.chown(folder, user)
        words = ["-D", str(folder / "data"), "-U", "shop", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync"]
        made = subprocess.run(
            [str(_program("initdb")), *words], user=user, cwd=folder, capture_output=True, text=True, check=False
        )
        assert made.returncode == 0, made.stderr
        server.start()
        yield server
    finally:
        if server.process is not None:
            server.stop()
        shutil.rmtree(folder, ignore_errors=True)


def kinds(test: str, also: tuple[str, ...]) -> list[str]:
    """In which kinds of store a test is run: those ``also`` named in PostgreSQL, too; all of them with RIG_BOTH=1."""
    return ["sqlite", "postgresql"] if test in also or os.environ.get("RIG_BOTH") else ["sqlite"]
