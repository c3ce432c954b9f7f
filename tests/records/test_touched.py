"""A file that is put in force anew names the open jobs that stand on it."""

from __future__ import annotations

import io

from shop import QA, Shop

from rig.cli.job import page_of
from rig.cli.job_page import print_page
from rig.cli.printer import Printer
from rig.records.declared import approve
from rig.records.facts import FileApproved
from rig.records.job import job_of
from rig.records.touched import jobs_touched, other_files, put_in_force_meanwhile


def touched(shop: Shop, kind: str, name: str) -> list[str]:
    return [job.number for job in jobs_touched(shop.store, FileApproved(kind, name, "2", "new"))]


def test_a_profile_touches_the_units_that_have_it_and_a_procedure_those_that_ran_it(shop: Shop) -> None:
    first = shop.receive("LM-0001")
    second = shop.receive("LM-0002")
    shop.papers()
    shop.run("incoming-inspection", serial="LM-0002")
    assert touched(shop, "unit-profile", "demo-18-dc") == [first, second]
    assert touched(shop, "unit-profile", "demo-24-dc") == []
    assert touched(shop, "procedure", "incoming-inspection") == [second]
    assert touched(shop, "bench", "bench-2") == [second]
    assert touched(shop, "procedure", "final-inspection") == []


def test_what_was_put_in_force_while_a_job_was_open_is_told_with_it(shop: Shop) -> None:
    def put_in_force(kind: str, name: str, revision: str) -> None:
        approve(shop.store, FileApproved(kind, name, revision, f"{name} {revision}"), QA)

    put_in_force("unit-profile", "demo-18-dc", "0")  # before it came
    shop.receive()
    shop.papers()
    shop.run("incoming-inspection")
    put_in_force("unit-profile", "demo-18-dc", "2")
    put_in_force("unit-profile", "demo-24-dc", "2")  # another type's
    put_in_force("procedure", "incoming-inspection", "2")
    put_in_force("procedure", "final-inspection", "2")  # has not run on this unit
    with shop.store.reading() as connection:
        told = put_in_force_meanwhile(connection, job_of(shop.store, shop.job))
    facts = [entry.fact for entry in told if isinstance(entry.fact, FileApproved)]
    assert [(fact.name, fact.revision) for fact in facts] == [("demo-18-dc", "2"), ("incoming-inspection", "2")]
    page = page_of(shop.store, shop.job)
    out = io.StringIO()
    print_page(page, Printer(out))
    assert "unit-profile demo-18-dc was put in force in revision 2" in " ".join(out.getvalue().split())


def test_a_run_by_other_files_than_the_one_before_says_so(shop: Shop) -> None:
    shop.receive()
    shop.papers()
    shop.run("incoming-inspection")
    same = shop.run("incoming-inspection")
    other = shop.run("incoming-inspection", hashes={"demo-18-dc": "another"})
    again = shop.run("incoming-inspection", hashes={"demo-18-dc": "another"})
    changed = other_files(job_of(shop.store, shop.job))
    assert same not in changed
    assert again not in changed
    assert [(now.kind, now.name, now.sha256) for _, now in changed[other]] == [
        ("unit-profile", "demo-18-dc", "another")
    ]
    out = io.StringIO()
    print_page(page_of(shop.store, shop.job), Printer(out))
    said = " ".join(out.getvalue().split())
    assert said.count("CHANGED since the run before: unit-profile demo-18-dc, its text, in revision 1") == 1
