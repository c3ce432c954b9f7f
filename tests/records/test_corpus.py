"""Records of every version of the form stay readable and verifiable. The files were written by that version itself."""

from __future__ import annotations

import json
import shutil
import sqlite3
from pathlib import Path

import pytest

from rig.records import schema
from rig.records.store import Store

CORPUS = Path(__file__).parent / "corpus"
KEPT = sorted(CORPUS.glob("version-*.sqlite"))


def copy_of(kept: Path, tmp_path: Path) -> Path:
    path = tmp_path / "records.sqlite"
    shutil.copy(kept, path)
    return path


def test_each_version_is_kept() -> None:
    assert [f"version-{n + 1}" for n in range(int(schema.VERSION))] == [path.stem for path in KEPT]


@pytest.mark.parametrize("kept", KEPT, ids=lambda p: p.stem)
def test_it_reads_as_it_did_and_its_chains_hold(kept: Path, tmp_path: Path) -> None:
    path = copy_of(kept, tmp_path)
    before = sqlite3.connect(path).execute("SELECT run, seq, body, hash FROM events").fetchall()
    expected = json.loads(kept.with_suffix(".json").read_text(encoding="utf-8"))
    with Store.open(f"sqlite:///{path}", must_exist=True) as store:
        assert store.problems() == ()
        for told in expected:
            checked, stored = store.verify(told["run"]), store.stored_run(told["run"])
            assert (checked.events, checked.head, checked.problems) == (told["events"], told["head"], ())
            assert str(stored.record.ended.verdict) == told["verdict"]
            assert len(stored.record.steps) == told["steps"]
        assert len(store.list_runs()) == len(expected)
    assert sqlite3.connect(path).execute("SELECT run, seq, body, hash FROM events").fetchall() == before


@pytest.mark.parametrize("kept", KEPT, ids=lambda p: p.stem)
def test_what_is_changed_in_it_afterwards_is_found(kept: Path, tmp_path: Path) -> None:
    path = copy_of(kept, tmp_path)
    Store.open(f"sqlite:///{path}").close()
    with sqlite3.connect(path) as other:
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f"DROP TRIGGER {name}")
        other.execute("UPDATE events SET body = replace(body, '\"fail\"', '\"pass\"')")
    with Store.open(f"sqlite:///{path}") as store:
        assert any("its hash does not fit" in problem for problem in store.problems())


def test_a_run_of_version_1_that_was_cut_off_is_marked_in_the_present_form(tmp_path: Path) -> None:
    path = copy_of(CORPUS / "version-1.sqlite", tmp_path)
    with sqlite3.connect(path) as other:  # its mark is taken away, as if nobody had looked yet
        for (name,) in other.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall():
            other.execute(f"DROP TRIGGER {name}")
        other.execute("DELETE FROM events WHERE kind = 'Interrupted'")
    with Store.open(f"sqlite:///{path}") as store:
        (run,) = store.mark_interrupted()
        assert store.problems() == ()
        assert store.stored_run(run).interrupted


def test_a_released_job_of_version_2_still_tells_its_life_and_its_signature_holds(tmp_path: Path) -> None:
    from rig.records.job import job_of
    from rig.records.signed import changes, signed_record

    path = copy_of(CORPUS / "version-2.sqlite", tmp_path)
    with Store.open(f"sqlite:///{path}", must_exist=True) as store:
        job = job_of(store, "1")
        assert (job.stage, job.received.serial, job.repairs[0][1].cause) == ("ship", "LM-0042", "rectifier-open")
        record = signed_record(store, "1")
    assert changes(record) == ()
    assert record.statement["printed_name"] == "Q. Reviewer"
