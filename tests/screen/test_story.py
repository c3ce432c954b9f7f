"""The whole story of a unit by keys alone: taken in, inspected, its cause named, repaired, tested again, released by
somebody else, its certificate made and shown."""

from __future__ import annotations

from pathlib import Path

from textual.pilot import Pilot

from rig.records.job import WITHDRAWN, job_of
from rig.records.store import Store
from rig.screen.app import BenchApp
from tests.screen.conftest import PIN, shown, sync, text_of, until
from tests.screen.pictures import held

CAUSE = "rectifier-open"


async def fill_in(pilot: Pilot[int], app: BenchApp, *answers: str) -> None:
    """Type what is asked, line by line; what is empty is left as it is, '>' turns a choice once to the right."""
    await until(pilot, lambda: app.focused is not None)
    for answer in answers:
        await pilot.press(*(["right"] * len(answer) if set(answer) == {">"} else answer), "down")


async def signed(pilot: Pilot[int], app: BenchApp, who: str, says: str) -> None:
    """The name and the PIN at the end of a form, then do it."""
    await pilot.press(*who, "down", *PIN, "f8")
    await until(pilot, lambda: says in text_of(app))


async def to_job(pilot: Pilot[int], app: BenchApp, says: str) -> None:
    """By the queue to the one job there is."""
    await pilot.press("f3")
    await until(pilot, lambda: app.page.name == "jobs" and "> 1 " in text_of(app))
    await pilot.press("enter")
    await until(pilot, lambda: app.page.name == "job" and says in text_of(app))


async def run(pilot: Pilot[int], app: BenchApp, *keys: str) -> None:
    """From the job's page: to the bench with it, begin, wait for its end."""
    await pilot.press(*keys)
    await until(pilot, lambda: app.page.name == "begin" and app.begin_page.job.value == "1")
    await pilot.press(*PIN, "f8")
    await until(pilot, lambda: app.scene is not None and app.scene.over is not None and app.page.name == "bench")


@sync
async def test_from_receiving_to_the_certificate(staffed: Path) -> None:
    async with shown(staffed, person="simulated", faults=((CAUSE, 1.0),), seed=5) as (app, pilot):
        await pilot.press(*"LM-0042", "enter")
        await until(pilot, lambda: app.page.name == "form")
        await held(pilot, "receiving")
        await fill_in(pilot, app, "", "", "Practice Miller", "", "", "", "", "", ">", "", "all=ok", "")
        await signed(pilot, app, "A. Bench", "job 1: LM-0042")
        await until(pilot, lambda: "> 1 " in text_of(app))
        await pilot.press("enter")
        await until(pilot, lambda: "F8 next: decontaminate" in text_of(app))
        await held(pilot, "job-received")
        await pilot.press("f8")
        await fill_in(pilot, app, "", "S. Miller", "")
        await signed(pilot, app, "A. Bench", "next: inspect")
        await until(pilot, lambda: "F8 to the bench" in text_of(app))
        await run(pilot, app, "f7", "enter")
        await pilot.press("f4")
        await until(pilot, lambda: "1  rectifier-open" in text_of(app))
        assert text_of(app).index("Found: Renew the rectifier") < text_of(app).index("1  rectifier-open")
        await pilot.press("f8")  # enough was seen: to the job, to note what was found
        await until(pilot, lambda: app.page.name == "job" and "next: diagnose" in text_of(app))
        await pilot.press("f4", "f3")  # back at once, before they are ranked
        await until(pilot, lambda: app.page.name == "job" and "next: diagnose" in text_of(app))
        await pilot.press("f4")  # and to them from the job, on whatever day
        await until(pilot, lambda: "1  rectifier-open" in text_of(app) and "F3 back" in text_of(app))
        await pilot.press("f3")
        await until(pilot, lambda: app.page.name == "job" and "next: diagnose" in text_of(app))
        await pilot.press("f8")
        await fill_in(pilot, app, "", "")
        await signed(pilot, app, "A. Bench", "kept, by A. Bench; next: estimate")
        await until(pilot, lambda: "F8 next: estimate" in text_of(app))
        await pilot.press("f8")
        await fill_in(pilot, app, "90", "", "", "")
        await signed(pilot, app, "A. Bench", "kept, by A. Bench; next: answer")
        await until(pilot, lambda: "F8 next: answer" in text_of(app))
        await pilot.press("f8")
        await until(pilot, lambda: app.page.name == "form")
        await fill_in(pilot, app, "", "S. Miller", "telephone")
        await signed(pilot, app, "A. Bench", "kept, by A. Bench; next: repair")
        await until(pilot, lambda: "F8 next: repair" in text_of(app))
        await pilot.press("f8")
        await until(pilot, lambda: "locked away" in text_of(app))
        await held(pilot, "repair")
        await fill_in(pilot, app, "rectifier=L2291", "", "35", "", "")
        await signed(pilot, app, "A. Bench", "repair kept")
        await pilot.press("f6")
        await until(pilot, lambda: "F9 all faults out" in text_of(app))
        await pilot.press("f9", "f3")
        await to_job(pilot, app, "F8 to the bench")
        await run(pilot, app, "f7", "enter")
        assert "✓ pass  every judged step passed" in text_of(app)
        await pilot.press("f7")
        await until(pilot, lambda: app.page.name == "job" and "next: verify" in text_of(app))
        await pilot.press("f2")
        await until(pilot, lambda: "F9 next unit" in text_of(app))
        await pilot.press("f9")  # the bench's own reference parts, without a unit
        await until(pilot, lambda: app.focused is app.begin_page.serial.input)
        await pilot.press("down", "down", "right", "f8")
        await until(pilot, lambda: "bench-self-check" in text_of(app) and "The run is over: ✓ pass" in text_of(app))
        for procedure in ("final-inspection", "electrical-safety"):
            await to_job(pilot, app, f"F8 next test: {procedure}")
            await run(pilot, app, "f8")
            assert app.scene is not None
            assert app.scene.started is not None
            assert app.scene.started.procedure == procedure
            assert str(app.scene.ended and app.scene.ended.verdict) == "pass", text_of(app)
        await to_job(pilot, app, "next: release")
        assert "Nothing in this job is missing for release" in text_of(app)
        await pilot.press("f8")
        await until(pilot, lambda: "job 1: release" in text_of(app))
        await signed(pilot, app, "A. Bench", "cannot be released")
        await held(pilot, "refused")
        await pilot.press("up")
        await signed(pilot, app, "Q. Reviewer", "job 1 is released")
        await until(pilot, lambda: "F9 certificate" in text_of(app))
        await held(pilot, "released")
        await pilot.press("f9")
        await until(pilot, lambda: app.page.name == "read" and "Decontamination declaration signed by" in text_of(app))
        assert (staffed.parent / "papers" / "certificate-1.pdf").exists()
        await pilot.press("f3")
        await until(pilot, lambda: app.page.name == "job" and "F8 next: ship" in text_of(app))
        await pilot.press("f8")
        await fill_in(pilot, app, "parcel")
        await pilot.press("down", *PIN, "f8")
        await until(pilot, lambda: "kept, by Q. Reviewer; now: shipped" in text_of(app))
        await found_to_be_wrong(pilot, app, staffed)


async def found_to_be_wrong(pilot: Pilot[int], app: BenchApp, place: Path) -> None:
    """The unit has left, and its cause was another: what was confirmed is withdrawn."""
    with Store.open(f"sqlite:///{place}") as store:
        (repair,) = (entry.seq for entry, _ in job_of(store, "1").repairs)
    await pilot.press("f7")
    await until(pilot, lambda: "correct: Say what" in text_of(app))
    await pilot.press("down", "enter")
    await fill_in(pilot, app, str(repair), "cause", WITHDRAWN, "it came back with the same complaint")
    await signed(pilot, app, "Q. Reviewer", "kept, by Q. Reviewer; now: shipped")
    with Store.open(f"sqlite:///{place}") as store:
        assert [fact.cause for _, fact in job_of(store, "1").repairs] == [WITHDRAWN]
