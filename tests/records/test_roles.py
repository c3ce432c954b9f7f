"""Roles of the shop's database: QA releases at a desk without a bench; reports read; nobody changes a record."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa

from rig.diagnosis.from_jobs import cases
from rig.diagnosis.kept_cases import last_entries
from rig.errors import InputError, RecordError
from rig.records import derived, ledger, schema
from rig.records.facts import PinSet
from rig.records.floor import tell
from rig.records.gather import gather
from rig.records.job import jobs_of
from rig.records.ledger_problems import follow
from rig.records.release import release
from rig.records.roles import ROLES, make_roles
from rig.records.signed import changes, signed_record
from rig.records.store import Store
from rig.shop.summary import bring_up_to_date
from tests.postgres import Server
from tests.records.shop import QA, Shop

USERS = {"one_bench": "rig_bench", "one_desk": "rig_desk", "one_report": "rig_report"}


@pytest.fixture
def database(server: Server, shop_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """The shop's database with its roles, and a user in each."""
    monkeypatch.setenv("RIG_HOME", str(tmp_path / "desk"))
    name = shop_url.rpartition("/")[2]
    with Store.open(shop_url) as shop:
        make_roles(shop)
        make_roles(shop)
    for user, role in USERS.items():
        server.administer(f"DROP ROLE IF EXISTS {user}", f"CREATE ROLE {user} LOGIN IN ROLE {role}")
    yield name
    server.drop(name)
    for user in (*USERS, *ROLES):
        server.administer(f"DROP ROLE {user}")


def test_each_does_its_part_and_nothing_else(
    server: Server, database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    bench = Shop.opened(f"sqlite:///{tmp_path / 'bench' / 'records.sqlite'}", "workshop", monkeypatch)
    with bench.store.writing() as connection:
        ledger.append(connection, PinSet("Q. Reviewer", "a verifier"))
    bench.ready()
    with Store.open(server.url(database, user="one_bench")) as there:
        gather(bench.store, there)
        assert there.problems() == ()
        assert [job.number for job in jobs_of(there, still_open=True)] == [bench.job]
        assert [job.number for job in jobs_of(there, serial="lm-0042")] == [bench.job]
    with Store.open(server.url(database, user="one_report")) as there:
        assert there.count_runs() == bench.store.count_runs()
        with there.reading() as connection:
            kinds = {entry.kind for entry in ledger.read(connection)}
        assert "PinSet" not in kinds
        assert "Received" in kinds
        with pytest.raises(RecordError, match="allow"), there.writing() as connection:
            ledger.append(connection, PinSet("Q. Reviewer", "another"))
    with Store.open(server.url(database, user="one_desk")) as there:
        desk = Shop(there, bench.clock, bench.job)
        with there.reading() as connection:
            assert follow(connection).problems == ()
            assert list(last_entries(connection)) == [bench.job]
        release(there, desk.job, desk.standing, QA)
        assert changes(signed_record(there, desk.job)) == ()
        assert there.problems() == ()
        for change in (sa.delete(schema.events), sa.update(schema.runs).values(by="x")):
            with pytest.raises(RecordError, match="allow"), there.writing() as connection:
                connection.execute(change)
        run = sa.insert(schema.jobs).values(job="x", first_run="y")
        with pytest.raises(RecordError, match="allow"), there.writing() as connection:
            connection.execute(run)
    bench.store.close()
    shutil.rmtree(tmp_path / "bench")


def test_a_table_that_is_new_and_not_needed_stops_nobody(
    server: Server, database: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """After an update, before the roles are made anew: a bench may make no tables, and sends its records."""
    bench = Shop.opened(f"sqlite:///{tmp_path / 'bench' / 'records.sqlite'}", "workshop", monkeypatch)
    bench.ready()
    with Store.open(server.url(database)) as own, own.writing() as connection:
        derived.taught.drop(connection)
    with Store.open(server.url(database, user="one_bench")) as there:
        assert tell(bench.store, there) == 1
        gather(bench.store, there)
        bring_up_to_date(there)
        assert cases(there, {}) == ()
    bench.store.close()


def test_a_file_has_no_roles(tmp_path: Path) -> None:
    with Store.open(f"sqlite:///{tmp_path / 'records.sqlite'}") as store, pytest.raises(InputError, match="no roles"):
        make_roles(store)
