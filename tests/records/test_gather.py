"""Many benches, one set of records: everything once, whatever happens on the way."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa

from rig.errors import RecordError, RuleError
from rig.limits import Verdict
from rig.records import gather as gathering
from rig.records import ledger, moves, outbox, schema
from rig.records.facts import Gathered, PartFitted, Received, Repaired, SetAside
from rig.records.gather import gather, lines
from rig.records.job import job_numbers, job_of
from rig.records.ledger import Kept
from rig.records.release import release, what_is_missing
from rig.records.signed import changes, signed_record
from rig.records.store import Store
from tests.postgres import kinds
from tests.records.shop import OTHER_TECH, QA, RULES, TECH, Clock, Shop

ON_BOTH = (
    "test_two_benches_that_worked_on_one_job_tell_one_story",
    "test_it_goes_on_where_it_was_cut_off",
    "test_a_bench_restored_from_yesterday_loses_nothing_and_says_what_differs",
)


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "there" in metafunc.fixturenames:
        metafunc.parametrize("there", kinds(metafunc.function.__name__, ON_BOTH), indirect=True)


@pytest.fixture
def there(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """The shop's store."""
    monkeypatch.setenv("RIG_HOME", str(tmp_path / "desk"))
    url = f"sqlite:///{tmp_path / 'shop.sqlite'}"
    with Store.open(url if request.param == "sqlite" else request.getfixturevalue("shop_url")) as opened:
        yield opened


def bench(tmp_path: Path, name: str, patch: pytest.MonkeyPatch, clock: Clock | None = None) -> Shop:
    found = Shop.opened(f"sqlite:///{tmp_path / name / 'records.sqlite'}", "workshop", patch)
    if clock is not None:
        found.clock = clock
        patch.setattr(ledger, "now", clock)
    return found


def found_on(tmp_path: Path, patch: pytest.MonkeyPatch) -> Shop:
    """A bench that has received a unit and found its cause."""
    one = bench(tmp_path, "one", patch)
    one.receive()
    one.papers()
    one.diagnosed()
    return one


def beside(one: Shop, tmp_path: Path, patch: pytest.MonkeyPatch) -> Shop:
    """Another bench, which goes on with the same job."""
    two = bench(tmp_path, "two", patch, one.clock)
    two.job = one.job
    return two


def of_bench(shop: Store, store: str = "") -> list[Kept]:
    with shop.reading() as connection:
        entries = ledger.read(connection)
    return [e for e in entries if e.came is not None and (not store or e.came.store == store)]


def test_everything_comes_once_and_again_nothing(there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = bench(tmp_path, "one", monkeypatch)
    one.ready()
    first = gather(one.store, there)
    with one.store.reading() as connection:
        entries = ledger.read(connection)
    assert (first.entries, first.runs) == (len(entries), one.store.count_runs())
    again = gather(one.store, there)
    assert (again.entries, again.runs, again.known) == (0, 0, len(entries))
    assert [(e.came.hash, e.body, e.by) for e in of_bench(there) if e.came] == [(e.hash, e.body, e.by) for e in entries]
    for line in one.store.list_runs():
        assert there.read_run(line.run) == one.store.read_run(line.run)
    assert there.problems() == ()
    one.repair("cleaning")
    assert gather(one.store, there).entries == 1
    assert there.problems() == ()


def test_two_benches_that_worked_on_one_job_tell_one_story(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One bench receives, finds and repairs; the other tests; QA releases at a desk without a bench. The second bench
    is gathered first: what happened before what is told by the time, not by who came first."""
    one = found_on(tmp_path, monkeypatch)
    one.repair()
    two = beside(one, tmp_path, monkeypatch)
    two.tested()
    gather(two.store, there)
    gather(one.store, there)
    assert there.problems() == ()
    job = job_of(there, one.job)
    assert [run.began.procedure for run in job.runs] == [
        "incoming-inspection", "incoming-inspection", "final-inspection", "electrical-safety"
    ]  # fmt: skip
    assert job.stage == "release"
    desk = Shop(there, one.clock, one.job)
    with there.reading() as connection:
        assert what_is_missing(connection, one.job, desk.standing, QA) == ()
    release(there, one.job, desk.standing, QA)
    assert changes(signed_record(there, one.job)) == ()
    moves.ship(there, one.job, moves.Shipped("parcel"), TECH, desk.today)
    assert there.problems() == ()


def test_a_test_from_before_the_repair_is_none_after_it(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The other bench's tests come late to the shop, and were made before the repair."""
    one = found_on(tmp_path, monkeypatch)
    two = beside(one, tmp_path, monkeypatch)
    two.tested()
    one.repair()
    gather(one.store, there)
    gather(two.store, there)
    with there.reading() as connection:
        missing = what_is_missing(connection, one.job, Shop(there, one.clock).standing, QA)
    assert "final-inspection: no run after the last repair" in missing


def test_what_comes_after_a_release_was_not_released(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = bench(tmp_path, "one", monkeypatch)
    one.ready()
    two = beside(one, tmp_path, monkeypatch)
    two.run("incoming-inspection", {"fill-time": Verdict.FAIL}, OTHER_TECH)
    gather(one.store, there)
    desk = Shop(there, one.clock, one.job)
    release(there, one.job, desk.standing, QA)
    gather(two.store, there)
    assert job_of(there, one.job).release is None
    with pytest.raises(RuleError, match="cannot be shipped"):
        moves.ship(there, one.job, moves.Shipped("parcel"), TECH, desk.today)


def test_a_release_signed_on_the_bench_holds_in_the_shop(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = bench(tmp_path, "one", monkeypatch)
    one.ready()
    release(one.store, one.job, one.standing, QA)
    bench(tmp_path, "two", monkeypatch, one.clock)
    gather(one.store, there)
    assert job_of(there, one.job).release is not None
    assert changes(signed_record(there, one.job)) == ()
    assert signed_record(there, one.job).plain == signed_record(one.store, one.job).plain


def test_one_number_for_two_units_stays_two_jobs(there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one, two = (bench(tmp_path, name, monkeypatch) for name in ("one", "two"))
    one.receive("LM-1")
    two.receive("LM-2")
    two.papers()
    assert one.job == two.job
    gather(one.store, there)
    sent = gather(two.store, there)
    with there.reading() as connection:
        numbers = job_numbers(connection)
    assert {job_of(there, number).received.serial for number in numbers} == {"LM-1", "LM-2"}
    (renamed,) = sent.renamed.values()
    assert job_of(there, renamed).received.serial == "LM-2"
    assert any(renamed in line for line in lines(sent))
    two.diagnosed()
    gather(two.store, there)
    assert job_of(there, renamed).stage == "repair"
    assert there.problems() == ()


def test_a_run_that_goes_on_is_known_by_its_beginning_alone(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = bench(tmp_path, "one", monkeypatch)
    one.receive()
    one.papers()
    run = one.run("incoming-inspection", cut_off=True)
    gather(one.store, there)
    assert there.count_runs() == 0
    assert there.problems() == ()
    assert [r.closed for r in job_of(there, one.job).runs] == [None]
    assert one.store.mark_interrupted() == (run,)
    assert gather(one.store, there).runs == 1
    assert there.stored_run(run).interrupted
    assert there.problems() == ()


class Cut(Exception):
    """The program is gone at this place."""


def test_it_goes_on_where_it_was_cut_off(there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outbox, "ENTRIES", 5)
    monkeypatch.setattr(outbox, "RUNS", 2)
    one = bench(tmp_path, "one", monkeypatch)
    one.ready()

    def cut(sending: gathering.Sending) -> None:
        if sending.entries >= 10:
            raise Cut

    with pytest.raises(Cut):
        gather(one.store, there, cut)
    came = len(of_bench(there))
    assert came == 10
    sent = gather(one.store, there)
    with one.store.reading() as connection:
        total, _ = ledger.head_of(connection)
    assert (sent.known, sent.entries) == (came, total - came)
    assert there.count_runs() == one.store.count_runs()
    assert there.problems() == ()


def test_a_bench_restored_from_yesterday_loses_nothing_and_says_what_differs(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Yesterday's copy has a run in it that was going on; today's work reached the shop; then the disk was lost."""
    one = bench(tmp_path, "one", monkeypatch)
    one.receive()
    one.papers()
    copy = tmp_path / "yesterday.sqlite"
    going = one.store.journal("01a00000-0000-7000-8000-000000000001")
    from tests.records.some_runs import whole_run

    events = [replace(e, run=going._run) if hasattr(e, "run") else e for e in whole_run("x", job="")]
    for event in events[:6]:
        going.record(event)
    from rig.records.backup import backup

    backup(one.store, copy)
    for event in events[6:]:
        going.record(event)
    one.diagnosed()  # received as job 1
    one.receive("LM-77")  # job 2, of which the copy knows nothing
    lost_run = one.run("incoming-inspection", job="2", serial="LM-77")
    gather(one.store, there)
    before = of_bench(there)
    one.store.close()

    shutil.rmtree(tmp_path / "one")
    (tmp_path / "one").mkdir()
    shutil.copy(copy, tmp_path / "one" / "records.sqlite")
    back = Shop(Store.open(f"sqlite:///{tmp_path / 'one' / 'records.sqlite'}"), one.clock, "1")
    back.clock.now += timedelta(days=1)
    assert back.store.mark_interrupted() == (going._run,)
    back.receive("LM-88")  # job 2 once more, another unit
    sent = gather(back.store, there)
    assert there.problems() == ()
    assert {e.id for e in before} <= {e.id for e in of_bench(there)}
    assert there.read_run(lost_run).ended.verdict is Verdict.PASS
    assert there.read_run(going._run).ended.verdict is Verdict.NO_READING  # as it did end
    assert sent.behind is not None
    assert lost_run in sent.behind.runs
    assert any("kept" in line and going._run in line for line in sent.aside)
    with there.reading() as connection:
        units = sorted(job_of(there, n).received.serial for n in job_numbers(connection))
        assert len(ledger.read(connection, kinds=(SetAside,))) == 1
    assert units == ["LM-0042", "LM-77", "LM-88"]
    again = gather(back.store, there)
    assert (again.entries, again.runs) == (0, 0)
    assert again.behind is not None
    assert again.behind.entries == sent.behind.entries
    back.papers()
    gather(back.store, there)
    assert there.problems() == ()
    back.store.close()


def test_a_clock_that_is_wrong_is_put_right_first(
    shop_url: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("RIG_HOME", str(tmp_path / "desk"))
    one = bench(tmp_path, "one", monkeypatch)
    real = gathering.time.time
    with Store.open(shop_url) as there:
        monkeypatch.setattr(gathering.time, "time", lambda: real() - 300)
        with pytest.raises(RuleError, match="300 s behind"):
            gather(one.store, there)
        monkeypatch.setattr(gathering.time, "time", lambda: real() + 5)
        assert gather(one.store, there).clock == pytest.approx(5.0, abs=2.0)
        with there.reading() as connection:
            (said,) = ledger.read(connection, kinds=(Gathered,))
        assert isinstance(said.fact, Gathered)
        assert said.fact.clock == pytest.approx(5.0, abs=2.0)


def test_practice_and_workshop_are_kept_apart(there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    one = bench(tmp_path, "one", monkeypatch)
    gather(one.store, there)
    url = f"sqlite:///{tmp_path / 'play' / 'records.sqlite'}"
    with Store.open(url) as play, pytest.raises(RuleError, match="kept apart"):
        gather(play, there)


def test_what_was_changed_on_the_bench_is_not_taken_in(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    one = bench(tmp_path, "one", monkeypatch)
    one.receive()
    with one.store.engine.begin() as connection:
        connection.exec_driver_sql("DROP TRIGGER entries_no_update")
        changed = schema.entries.c.kind == Received.__name__
        body = sa.func.replace(schema.entries.c.body, "LM-0042", "LM-0043")
        connection.execute(sa.update(schema.entries).where(changed).values(body=body))
    with pytest.raises(RecordError, match="does not hold"):
        gather(one.store, there)


def test_people_of_a_bench_do_not_become_people_of_the_shop(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A bench cannot make somebody QA of the shop; but whoever tested there was a technician there."""
    from rig.records.people import everybody

    one = bench(tmp_path, "one", monkeypatch)
    gather(one.store, there)
    assert everybody(there) == {}


def test_a_repair_at_the_desk_comes_after_what_the_desk_has_seen(
    there: Store, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The desk's clock is behind the bench's by a quarter of a minute: what it adds is later nevertheless."""
    one = found_on(tmp_path, monkeypatch)
    gather(one.store, there)
    one.clock.now -= timedelta(seconds=15)
    desk = Shop(there, one.clock, one.job)
    fact = Repaired((PartFitted("rectifier", "L1"),), 30.0, "rectifier-open", "")
    moves.repair(there, desk.job, fact, RULES, TECH)
    assert job_of(there, desk.job).entries[-1].fact == fact
    assert job_of(there, desk.job).stage == "verify"
