"""Benches that gather at once and are killed at random; a cut cable; a database that is restarted: every record once.

``RIG_BENCHES=16 RIG_BENCH_KILLS=200 RIG_BENCH_RUNS=100`` is the long form.
"""

from __future__ import annotations

import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import closing, suppress
from pathlib import Path

import pytest
import sqlalchemy as sa

from rig.errors import RecordError
from rig.records import ledger, outbox, schema
from rig.records.gather import gather
from rig.records.ids import new_run_id
from rig.records.store import Store
from rig.run.session import RunRequest, run_procedure
from tests.conftest import bundled_plan
from tests.postgres import Server
from tests.records.some_runs import whole_run

BENCHES = int(os.environ.get("RIG_BENCHES", "3"))
KILLS = int(os.environ.get("RIG_BENCH_KILLS", "3"))
RUNS = int(os.environ.get("RIG_BENCH_RUNS", "9"))
ROOT = Path(__file__).parent.parent.parent


@pytest.fixture(autouse=True)
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RIG_HOME", str(tmp_path / "desk"))


def worked(folder: Path, runs: int = RUNS) -> Store:
    """A bench with some runs of a job that every bench works on, and of one of its own."""
    store = Store.open(f"sqlite:///{folder / 'records.sqlite'}")
    for n in range(runs):
        run = new_run_id()
        job = "J-7" if n % 3 else f"own-{folder.name}"
        journal = store.journal(run)
        for event in whole_run(run, serial="LM-0042" if n % 3 else folder.name, job=job):
            journal.record(event)
    return store


def same_as(shop: Store, benches: list[Store]) -> None:
    """Every entry and every event of every bench is in the shop, once, and nothing else is."""
    expected: list[str] = []
    events = 0
    for bench in benches:
        with bench.reading() as connection:
            expected += [entry.hash for entry in ledger.read(connection)]
            events += connection.execute(sa.select(sa.func.count()).select_from(schema.events)).scalar_one()
    with shop.reading() as connection:
        came = [entry.came.hash for entry in ledger.read(connection) if entry.came is not None]
        there = connection.execute(sa.select(sa.func.count()).select_from(schema.events)).scalar_one()
    assert sorted(came) == sorted(expected)
    assert there == events
    assert shop.count_runs() == sum(bench.count_runs() for bench in benches)
    assert shop.problems() == ()


def test_benches_that_gather_at_once_and_are_killed_at_random(server: Server, shop_url: str, tmp_path: Path) -> None:
    chance = random.Random(int(os.environ.get("RIG_SEED", "9")))
    folders = [tmp_path / f"bench-{n}" for n in range(BENCHES)]
    stores = [worked(folder) for folder in folders]

    def begin(folder: Path) -> subprocess.Popen[str]:
        words = [sys.executable, "-m", "tests.records.gather_often", str(folder), shop_url]
        return subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True)

    going = {folder: begin(folder) for folder in folders}
    for _ in range(KILLS):
        folder = chance.choice(folders)
        process = going[folder]
        assert process.stdout is not None
        for _ in range(chance.randrange(3)):  # somewhere after a parcel, or before the first
            process.stdout.readline()
        time.sleep(chance.random() * 0.05)
        process.send_signal(signal.SIGKILL)
        process.communicate()
        going[folder] = begin(folder)
    for process in going.values():
        said, _ = process.communicate(timeout=280)
        assert process.returncode == 0, said
    with Store.open(shop_url) as shop:
        same_as(shop, stores)
    for store in stores:
        store.close()


class Cable:
    """A way to the server that can be cut: what is on it is lost, and nobody is told."""

    def __init__(self, port: int) -> None:
        self._to, self._listener = port, socket.create_server(("127.0.0.1", 0))
        self.port = int(self._listener.getsockname()[1])
        self._ends: list[socket.socket] = []
        self.bytes_left: int | None = None
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        while True:
            try:
                near, _ = self._listener.accept()
            except OSError:
                return
            if self.bytes_left == 0:
                near.close()
                continue
            far = socket.create_connection(("127.0.0.1", self._to))
            self._ends += [near, far]
            threading.Thread(target=self._carry, args=(near, far, True), daemon=True).start()
            threading.Thread(target=self._carry, args=(far, near, False), daemon=True).start()

    def _carry(self, one: socket.socket, other: socket.socket, counted: bool) -> None:
        with suppress(OSError):
            while data := one.recv(4096):
                if counted and self.bytes_left is not None:
                    data = data[: self.bytes_left]
                    self.bytes_left -= len(data)
                    other.sendall(data)
                    if self.bytes_left == 0:
                        break
                    continue
                other.sendall(data)
        for end in (one, other):
            with suppress(OSError):
                end.shutdown(socket.SHUT_RDWR)

    def close(self) -> None:
        self._listener.close()
        for end in self._ends:
            end.close()


@pytest.fixture
def cable(server: Server) -> Iterator[Cable]:
    with closing(Cable(server.port)) as found:
        yield found


def test_a_cable_that_is_cut_anywhere_loses_nothing(
    server: Server, cable: Cable, shop_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each time a bit more gets through; then the cable is out for an hour, in which the bench inspects units as if
    nothing were amiss."""
    monkeypatch.setattr(outbox, "RUNS", 3)
    bench = worked(tmp_path / "bench", 6)
    url = server.url(shop_url.rpartition("/")[2], cable.port)
    chance = random.Random(4)
    cuts = 0
    for _ in range(4):
        cable.bytes_left = chance.randrange(500, 40_000)
        try:
            with Store.open(url) as shop:
                gather(bench, shop)
        except RecordError:
            cuts += 1
    cable.bytes_left = 0
    seconds = 0.0
    while seconds < 3600.0:
        record = run_procedure(
            RunRequest(run=new_run_id(), seed=len(bench.list_runs())), bundled_plan(), [], bench.journal
        )
        seconds += record.ended.seconds
        with pytest.raises(RecordError):
            Store.open(url)
    cable.bytes_left = None
    with Store.open(url) as shop:
        gather(bench, shop)
        same_as(shop, [bench])
    assert cuts >= 2
    bench.close()


def test_a_database_that_is_restarted_loses_nothing(server: Server, shop_url: str, tmp_path: Path) -> None:
    bench = worked(tmp_path / "bench", 45)

    def stop(sending: object) -> None:
        server.stop(signal.SIGQUIT)  # as a failure of power would

    try:
        with pytest.raises(RecordError), Store.open(shop_url) as shop:
            gather(bench, shop, stop)
    finally:
        server.start()
    with Store.open(shop_url) as shop:
        sent = gather(bench, shop)
        assert sent.known > 0
        assert sent.entries > 0
        same_as(shop, [bench])
    bench.close()


def test_the_floor_is_told_and_shown_at_once(shop_url: str, tmp_path: Path) -> None:
    from rig.records.floor import on_floor, tell, watch

    bench = worked(tmp_path / "bench", 1)
    run = new_run_id()
    journal = bench.journal(run)
    events = whole_run(run, serial="LM-77")
    for event in events[:7]:
        journal.record(event)
    with Store.open(shop_url) as shop:
        assert on_floor(shop) == []
        assert tell(bench, shop) == 1
        assert tell(bench, shop) == 0
        seen = watch(shop, 60.0)
        (row,) = next(seen)
        assert (row.serial, row.verdict, row.by, row.since) == ("LM-77", None, "A. Bench", events[0].utc)
        for event in events[7:]:
            journal.record(event)
        told = threading.Thread(target=lambda: _tell(bench, shop_url))
        told.start()
        began = time.monotonic()
        (row,) = next(seen)
        assert row.verdict == "no reading"
        assert time.monotonic() - began < 55  # woken, not by the quiet time
        told.join()
        seen.close()
    bench.close()


def _tell(bench: Store, url: str) -> None:
    from rig.records.floor import tell

    with Store.open(url) as shop:
        tell(bench, shop)
