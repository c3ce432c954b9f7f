"""QA's story by keys: a unit is taken in, the queue, what blocks the job, readings with their rule, a refusal."""

from __future__ import annotations

from pathlib import Path

from rig.screen.form_page import FormPage
from tests.screen.conftest import PIN, shown, sync, text_of, until


@sync
async def test_from_receiving_to_a_refused_release(staffed: Path, two_looks: str) -> None:
    async with shown(staffed, procedure=two_looks, person="simulated", by="A. Bench") as (app, pilot):
        await pilot.press("f3")
        await until(pilot, lambda: "PRACTICE" in text_of(app))
        await pilot.press("f7")
        await until(pilot, lambda: "who does it" in text_of(app))
        form = app.page
        assert isinstance(form, FormPage)
        for name, value in {"serial": "LM-0042", "owner": "S. Miller", "signed_by": "S. Miller"}.items():
            form.field(name).value = value
        form.field("decontaminated").value = "declaration"
        form.type_pin("999999")
        await pilot.press("f8")
        await until(pilot, lambda: "PIN" in text_of(app) and "wrong" in text_of(app).lower())
        form.type_pin(PIN)
        await pilot.press("f8")
        await until(pilot, lambda: "LM-0042" in text_of(app) and "inspect" in text_of(app) and app.page.name == "jobs")
        await pilot.press("enter")
        await until(pilot, lambda: "Missing for release:" in text_of(app))
        assert "final-inspection: no run in this job" in text_of(app)
        await pilot.press("f8")  # to the bench: the serial number comes with it
        await until(pilot, lambda: app.page.name == "begin")
        await until(pilot, lambda: app.begin_page.job.value == "1")
        app.begin_page.pin.value = PIN
        await pilot.press("f8")
        await until(pilot, lambda: app.scene is not None and app.scene.ended is not None)
        await pilot.press("f3")
        await until(pilot, lambda: app.page.name == "jobs" and "LM-0042" in text_of(app))
        await pilot.press("enter")
        await until(pilot, lambda: "of two-looks began" in text_of(app))
        assert "without a PIN" not in text_of(app)
        await pilot.press("f7", "end", "enter")
        await until(pilot, lambda: "its chain is whole" in text_of(app))
        seen = " ".join(text_of(app).split())
        assert "statement with guard band" in seen
        assert "invented for the tests" in seen
        await pilot.press("f3")
        await until(pilot, lambda: app.page.name == "job" and "Missing" in text_of(app))
        await pilot.press("f7")
        await until(pilot, lambda: "release: Release a unit" in text_of(app))
        await pilot.press("end", "up", "enter")
        await until(pilot, lambda: "job 1: release" in text_of(app))
        form.type_pin(PIN)
        await pilot.press("f8")
        await until(pilot, lambda: "cannot be released" in text_of(app))
        assert "A. Bench is not QA today" in text_of(app)
