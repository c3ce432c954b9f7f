"""The page of a run: whole in one file, everything escaped, the rulers true; opened in a real browser."""

from __future__ import annotations

import importlib.resources
import re
import shutil
import subprocess
from collections.abc import Iterator
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from rig.events import Answered, Noted, Prompted, RunEnded, RunStarted, StageStarted, StepEnded, Traced
from rig.limits import Verdict, judge
from rig.records.declared import Declared
from rig.records.ids import new_run_id
from rig.records.store import Store
from rig.reports.run_page import ruler_svg, run_page
from tests.conftest import bundled_plan, run
from tests.records.shop import result

NASTY = "<script>document.title='caught'</script>\"'&{{7777*7777}}\x1b]0;x\x07\u202e"
OWN = Declared("x", "practice", "Low Mill <b>Bench</b> Works", "")


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with Store.open(f"sqlite:///{tmp_path / 'records.sqlite'}") as opened:
        yield opened


def kept(store: Store, *events: object) -> str:
    run_id = new_run_id()
    journal = store.journal(run_id)
    start = RunStarted(
        0.0, run_id, "p", NASTY, NASTY, NASTY, "simulated", True, NASTY, NASTY, 1, ((NASTY, 1.0),),
        "2026-03-02T08:00:00.000+00:00", 1, 1.0, NASTY,
    )  # fmt: skip
    for event in (start, *events, RunEnded(9.0, Verdict.FAIL, NASTY, False, 9.0, 1.0)):
        journal.record(event)  # type: ignore[arg-type]
    return run_id


def page(store: Store, run_id: str) -> str:
    return run_page(OWN, store.stored_run(run_id), store.verify(run_id))


class Tags(HTMLParser):
    """Every tag of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.names: list[str] = []
        self.sources: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.names.append(tag)
        self.sources += [v or "" for k, v in attrs if k in ("src", "href", "xlink:href", "action") and tag != "use"]
        assert not any(k.startswith("on") for k, _ in attrs)


def nasty_run(store: Store) -> str:
    step = replace(result("fill-time", Verdict.FAIL), reason=NASTY, answer=NASTY)
    return kept(
        store,
        StageStarted(0.0, "s", NASTY, "dead", (NASTY,)),
        Prompted(0.0, "fill-time", "look", NASTY, NASTY, NASTY, "text", ""),
        Answered(0.0, "fill-time", NASTY, NASTY),
        Traced(1.0, "fill-time", "$x_{" + NASTY, "V", (0.0, 1.0), (1.0, 2.0)),
        StepEnded(2.0, step),
        Noted(2.0, NASTY),
    )


def test_nothing_from_outside_is_markup(store: Store) -> None:
    made = page(store, nasty_run(store))
    tags = Tags()
    tags.feed(made)
    assert "script" not in tags.names
    assert "b" not in tags.names
    assert "60481729" not in made
    assert "\x1b" not in made
    assert "\u202e" not in made


def test_the_page_needs_nothing_else(store: Store) -> None:
    made = page(store, nasty_run(store))
    tags = Tags()
    tags.feed(made)
    assert [source for source in tags.sources if not source.startswith("#")] == []
    assert "@import" not in made
    assert "url(http" not in made


def test_it_says_what_it_is(store: Store) -> None:
    made = page(store, nasty_run(store))
    for words in ("PRACTICE", "SIMULATED", "NOT CONFIRMED OFF", "✗", "Decision rule", "budget"):
        assert words in made, words


def test_every_colour_of_a_word_is_read_on_white() -> None:
    """At least 4.5 to 1: WCAG 2.2, success criterion 1.4.3; the relative luminance is that of its definitions."""
    style = importlib.resources.files("rig.reports").joinpath("run_page.html").read_text(encoding="utf-8")
    found = re.findall(r"\.(?:good|nearly|bad|rig|none) \{ color: (#[0-9a-f]{3,6});", style)
    assert len(found) == 5
    for colour in found:
        digits = colour[1:] if len(colour) == 7 else "".join(2 * d for d in colour[1:])
        parts = [int(digits[n : n + 2], 16) / 255 for n in (0, 2, 4)]
        linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
        light = 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
        assert 1.05 / (light + 0.05) >= 4.5, colour


@pytest.mark.parametrize(
    "value", [0.0, 0.79, 0.81, 0.99, 1.01, 1.19, 1.21, 5.0, 8.79, 8.81, 8.99, 9.01, 9.19, 9.21, 40.0]
)
def test_a_ruler_never_contradicts_its_verdict(value: float) -> None:
    """The colour below the mark is that of the zone which the verdict means."""
    step = result("x")
    assert step.reading is not None
    assert step.limit is not None
    verdict = judge(value, 0.1, step.limit).verdict
    made = ruler_svg(replace(step, reading=replace(step.reading, value=value), verdict=verdict))
    cells = re.findall(r'<rect x="(\d+)" y="4" width="9" height="8" fill="(#\w+)"', made)
    found = re.search(r'points="([\d.-]+),2 ', made)
    colours = {Verdict.PASS: "#d3e6f4", Verdict.CONDITIONAL_PASS: "#a9cbe6", Verdict.CONDITIONAL_FAIL: "#c9c9c9"}
    if found is not None:
        mark = float(found.group(1))
        under = [colour for x, colour in cells if int(x) <= mark < int(x) + 9]
        assert under == [colours.get(verdict, "#e3e3e3")]
    else:
        assert verdict is Verdict.FAIL  # beyond the ruler


def test_a_reading_that_was_judged_on_other_grounds_has_no_ruler() -> None:
    assert ruler_svg(replace(result("x"), verdict=Verdict.NOT_EVALUATED)) == ""
    assert ruler_svg(result("x", Verdict.NO_READING)) == ""


@pytest.mark.skipif(shutil.which("chromium") is None, reason="chromium is not installed")
def test_a_real_browser_shows_it(store: Store, tmp_path: Path) -> None:
    """A whole inspection with traces: rulers and curves have a size on the screen, details open, nothing fails."""
    events: list[object] = []
    run(bundled_plan(), events, seed=3, faults=(("rectifier-open", 1.0),))  # type: ignore[arg-type]
    run_id = new_run_id()
    journal = store.journal(run_id)
    for event in events:
        journal.record(replace(event, run=run_id) if isinstance(event, RunStarted) else event)  # type: ignore[arg-type]
    made = page(store, run_id)
    probe = """<script>
    const boxes = [...document.querySelectorAll("svg")].map(s => s.getBoundingClientRect());
    const d = document.querySelector("details"); const before = d.getBoundingClientRect().height; d.open = true;
    document.title = [boxes.length, boxes.filter(b => b.width > 50 && b.height > 10).length,
      d.getBoundingClientRect().height > before, document.body.scrollWidth <= window.innerWidth].join(" ");
    </script>"""
    path = tmp_path / "run.html"
    path.write_text(re.sub(r"<meta http-equiv[^>]*>", "", made).replace("</body>", probe + "</body>"), encoding="utf-8")
    shown = subprocess.run(
        ["chromium", "--headless", "--no-sandbox", "--disable-gpu", "--window-size=1200,900", "--dump-dom",
         f"--user-data-dir={tmp_path / 'profile'}", path.as_uri()],
        capture_output=True, text=True, timeout=120, check=True,
    ).stdout  # fmt: skip
    title = re.search(r"<title>(.*?)</title>", shown)
    assert title is not None
    pictures, seen, opens, fits = title.group(1).split()
    assert int(pictures) == int(seen) >= 25
    assert (opens, fits) == ("true", "true")
