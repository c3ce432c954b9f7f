"""The workshop's figures of a small story that is counted by hand, in both kinds of store."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from collections.abc import Iterator
from datetime import date, timedelta
from pathlib import Path
from typing import Any

import pytest

from rig.limits import Verdict
from rig.records import moves
from rig.records.facts import Conceded, Diagnosed, Estimated, OwnerAnswered, ReturnedUnrepaired, Shipped
from rig.records.release import release
from rig.reports.shop_page import shop_page
from rig.shop.drift import drift
from rig.shop.due import measured_with
from rig.shop.figures import Asked
from rig.shop.one import beyond_keeping, everything
from rig.shop.overview import overview
from rig.shop.step_figures import piled_up, wilson
from rig.shop.steps import near_limit
from rig.shop.summary import behind, bring_up_to_date
from tests.postgres import kinds
from tests.records.shop import LEAD, QA, RULES, TECH, Shop

NASTY = "<script>document.title='caught'</script>"


def asked(since: date | None = None, until: date | None = None) -> Asked:
    return Asked(since, until, RULES.release_needs, 90, {"not-level"})


ON_BOTH = ("test_the_story_is_counted", "test_steps_are_counted_by_bench_and_profile")


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "shop" in metafunc.fixturenames:
        metafunc.parametrize("shop", kinds(metafunc.function.__name__, ON_BOTH), indirect=True)


@pytest.fixture
def shop(request: pytest.FixtureRequest, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Shop]:
    """Three units. LM-0042 is repaired, goes out, and comes back after ten days: a rectifier does not cure it, a second
    repair does. LM-3 has nothing but stands out of level, and goes back. LM-4 is on the bench."""
    monkeypatch.setenv("RIG_HOME", str(tmp_path / "home"))
    url = f"sqlite:///{tmp_path / 'records.sqlite'}"
    if request.param == "postgresql":
        url = request.getfixturevalue("shop_url")
    found = Shop.opened(url, "workshop", monkeypatch)
    told(found)
    bring_up_to_date(found.store)
    yield found
    found.store.close()


def told(shop: Shop) -> None:
    shop.ready()
    release(shop.store, shop.job, shop.standing, QA)
    moves.ship(shop.store, shop.job, Shipped("parcel"), TECH, shop.today)
    shop.clock.now += timedelta(days=10)
    shop.receive("LM-0042")
    shop.papers()
    shop.run("incoming-inspection", {"fill-time": Verdict.FAIL}, serial="LM-0042")
    agreed(shop, "rectifier-open")
    shop.repair("rectifier")
    shop.run("incoming-inspection", {"fill-time": Verdict.FAIL}, serial="LM-0042")
    shop.repair("fill-valve")
    shop.run("incoming-inspection", serial="LM-0042")
    shop.run("final-inspection", {"idle-current": Verdict.FAIL}, serial="LM-0042")
    fact = Conceded("idle-current", "agreed", (shop.today + timedelta(days=20)).isoformat())
    moves.concede(shop.store, shop.job, fact, RULES, LEAD, shop.standing.own, shop.today)
    shop.receive("LM-3")
    shop.papers()
    shop.run("incoming-inspection", serial="LM-3")
    agreed(shop, "not-level", "refused")
    moves.give_back(shop.store, shop.job, ReturnedUnrepaired("as it came"), TECH)
    shop.receive("LM-4")


def agreed(shop: Shop, cause: str, answer: str = "approved") -> None:
    moves.diagnose(shop.store, shop.job, Diagnosed(cause, ""), RULES, TECH)
    moves.estimate(shop.store, shop.job, Estimated(90.0, "EUR", "", False), RULES, TECH)
    moves.answer(shop.store, shop.job, OwnerAnswered(answer, "S. Miller", ""), RULES, TECH)


def found_in(shop: Shop, *period: date | None) -> dict[str, Any]:
    return overview(shop.store, asked(*period), shop.today, 30)


def test_the_story_is_counted(shop: Shop) -> None:
    found = found_in(shop)
    assert found["behind"] == 0
    done = found["throughput"]
    assert (done["received"], done["released"], done["shipped"], done["returned unrepaired"]) == (4, 1, 1, 1)
    first = found["first_pass"]
    assert (first["jobs"], first["passed"]) == (1, 1)  # of the second job electrical safety has not been run
    by = {row["procedure"]: (row["jobs"], row["passed"]) for row in first["by_procedure"]}
    assert by == {"final-inspection": (2, 1), "electrical-safety": (1, 1)}
    (cause,) = found["causes"]
    assert (cause["cause"], cause["repairs"], cause["cured"]) == ("rectifier-open", 3, 2)
    parts = {row["part"]: (row["fitted"], row["did_not_cure"], row["jobs"]) for row in found["not_cured"]}
    assert parts == {"rectifier": (2, 1, ["2"]), "fill-valve": (1, 0, [])}
    again = found["repeat_repairs"]
    assert (again["repairs"], again["shipped"], again["jobs"][0]["after"]) == (1, 1, "1")
    assert again["jobs"][0]["days"] == pytest.approx(10, abs=0.1)
    none = found["no_fault_found"]
    assert (none["jobs"], none["inspected"], none["unexplained"]) == (1, 3, [])
    assert none["site_causes"] == [{"cause": "not-level", "jobs": 1}]
    hours = found["hours"]
    assert hours["jobs"] == 2
    assert hours["repair"]["mean"] == pytest.approx(0.25)  # 30 minutes in one of two jobs that went out
    assert hours["bench"]["mean"] == pytest.approx((4 + 1) * 2.0 / 3600 / 2, abs=5e-4)  # runs of 2 s: 4 and 1


def test_steps_are_counted_by_bench_and_profile(shop: Shop) -> None:
    rows = {(r["step"], r["procedure"]): r for r in found_in(shop)["steps"]}
    fill = rows["fill-time", "incoming-inspection"]
    assert (fill["bench"], fill["unit"], fill["done"], fill["failed"]) == ("bench-2", "demo-18-dc", 6, 2)
    assert fill["share"] == pytest.approx(1 / 3)
    assert rows["earth-bond", "electrical-safety"]["failed"] == 0


def test_a_period_leaves_out_what_lies_outside(shop: Shop) -> None:
    day = date(2026, 3, 10)
    before, after = found_in(shop, None, day), found_in(shop, day, None)
    assert before["throughput"]["received"] == 1
    assert after["throughput"]["received"] == 3
    assert (before["repeat_repairs"]["repairs"], after["repeat_repairs"]["repairs"]) == (0, 1)


def test_due_lists(shop: Shop) -> None:
    found = found_in(shop)
    assert found["calibrations_due"] == []
    (conceded,) = found["concessions_due"]
    assert (conceded["job"], conceded["finding"], conceded["overdue"]) == ("2", "idle-current", False)
    late = overview(shop.store, asked(), date(2027, 2, 1), 30)
    assert [(r["name"], r["serial"], r["overdue"]) for r in late["calibrations_due"]] == [("meter-1", "M1", True)]
    assert late["concessions_due"][0]["overdue"]


def test_what_is_new_is_taken_in_and_the_rest_left(shop: Shop) -> None:
    before = found_in(shop)
    shop.receive("LM-5")
    assert behind(shop.store) == 1
    bring_up_to_date(shop.store)
    after = found_in(shop)
    assert after["throughput"]["received"] == before["throughput"]["received"] + 1
    assert after["steps"] == before["steps"]


def test_units_by_instrument_in_a_period(shop: Shop) -> None:
    with shop.store.reading() as connection:
        assert measured_with(connection, "m1", asked())["units"] == []  # these readings name none
    run = shop.run("final-inspection", serial="LM-4", by_hand={"fill-time": "meter-1 (M1)"})
    bring_up_to_date(shop.store)
    with shop.store.reading() as connection:
        found = measured_with(connection, "m1", asked())
        assert measured_with(connection, "M1", asked(until=date(2020, 1, 1)))["runs"] == []
    assert (found["units"], [r["run"] for r in found["runs"]]) == (["LM-4"], [run])


def test_everything_of_a_unit_or_a_customer(shop: Shop) -> None:
    unit = everything(shop.store, serial="lm-0042")
    assert [job["job"] for job in unit["jobs"]] == ["1", "2"]
    assert len(unit["runs"]) == 4 + 1 + 4  # of the first job, a self-check under the same serial, of the second job
    owner = everything(shop.store, owner="Practice Miller")
    assert len(owner["jobs"]) == 4
    json.dumps(owner)
    assert everything(shop.store, serial="nobody")["jobs"] == []


def test_what_need_not_be_kept(shop: Shop) -> None:
    assert beyond_keeping(shop.store, 10, date(2026, 6, 1)) == []
    assert [row["job"] for row in beyond_keeping(shop.store, 10, date(2036, 6, 1))] == ["1", "3"]


def test_wilson_is_that_of_a_reference_library() -> None:
    from scipy.stats import binomtest

    for failed, done in ((0, 10), (4, 20), (1, 3), (50, 60), (7, 7)):
        theirs = binomtest(failed, done).proportion_ci(method="wilson")
        assert wilson(failed, done) == pytest.approx((theirs.low, theirs.high), abs=1e-6)


@pytest.mark.parametrize(
    ("value", "place"),
    [(9.0, "inside"), (8.61, "inside"), (8.59, "inner"), (8.19, ""), (9.01, "outside"), (9.39, "outside"), (9.41, ""),
     (1.0, "inside"), (1.41, "inner"), (0.99, "outside"), (5.0, "")],
)  # fmt: skip
def test_bins_about_limits(value: float, place: str) -> None:
    """Limits 1 and 9: a bin is 0.4 wide."""
    assert near_limit(value, 1.0, 9.0) == place


def test_bins_about_one_limit() -> None:
    assert near_limit(0.99, None, 1.0) == "inside"
    assert near_limit(0.0, None, 0.0) == ""


def test_a_pile_is_told_from_a_slope() -> None:
    assert piled_up(100, 80, 60) == 0.0
    assert piled_up(20, 60, 2) > 3
    assert piled_up(0, 0, 0) == 0.0


def test_a_drift_is_told_from_scatter() -> None:
    """Scatter of 1 either way about 10; then the same about 12."""
    steady = [9.0, 11.0] * 15
    assert drift(steady) is None
    told = drift(steady[:15] + [v + 2 for v in steady[:15]])
    assert told is not None
    assert told["shift"] > 0.5
    assert drift([9.0, 11.0] * 3) is None


@pytest.mark.skipif(shutil.which("chromium") is None, reason="chromium is not installed")
def test_the_page_in_a_real_browser(shop: Shop, tmp_path: Path) -> None:
    """Its pictures have a size, nothing is wider than the window, and nothing from outside is markup."""
    found = found_in(shop)
    found["heading"] = NASTY
    found["causes"][0]["cause"] = NASTY
    found["drifts"] = [
        {"bench": NASTY, "unit": "u", "step": "$x_{", "in_unit": "V", "values": [1.0, 2.0, 3.0], "centre": 1.0,
         "average": 3.0, "chart_lower": 0.0, "chart_upper": 2.0, "shift": 2.0}
    ]  # fmt: skip
    made = shop_page(found)
    assert "<script" not in made
    assert not re.search(r"""(src|href)=["'](?!#)""", made)
    probe = """<script>
    const boxes = [...document.querySelectorAll("svg")].map(s => s.getBoundingClientRect());
    document.title = [boxes.length, boxes.filter(b => b.width > 200 && b.height > 50).length,
      document.body.scrollWidth <= window.innerWidth].join(" ");
    </script>"""
    path = tmp_path / "figures.html"
    path.write_text(re.sub(r"<meta http-equiv[^>]*>", "", made).replace("</body>", probe + "</body>"), encoding="utf-8")
    words = ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--window-size=1200,900", "--dump-dom"]
    profile = f"--user-data-dir={tmp_path / 'profile'}"
    shown = subprocess.run([*words, profile, path.as_uri()], capture_output=True, text=True, timeout=250, check=True)
    title = re.search(r"<title>(.*?)</title>", shown.stdout)
    assert title is not None
    assert title.group(1) == "4 4 true"
