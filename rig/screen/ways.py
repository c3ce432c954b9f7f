"""The ways from page to page: which page is seen, and what each is given when one turns to it."""

from __future__ import annotations

from collections.abc import Sequence

from rich.text import Text
from textual.app import App
from textual.widgets import ContentSwitcher

from rig.cli.receive import command as receive_command
from rig.plan.load import bundled
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.begin_page import BeginPage, Preset
from rig.screen.bench_page import BenchPage
from rig.screen.bench_text import beside
from rig.screen.causes_page import CausesPage
from rig.screen.form_page import FormPage, Order
from rig.screen.help_page import HelpPage
from rig.screen.job_page import OneJobPage
from rig.screen.jobs_page import JobsPage
from rig.screen.page import Page
from rig.screen.read_page import ReadPage
from rig.screen.records import complaints
from rig.screen.running import Running
from rig.screen.scene import Scene
from rig.screen.simulator_page import SimulatorPage
from rig.screen.words import Words


class Ways(App[int]):
    """All pages, and the way from one to the next."""

    def __init__(self, words: Words, fancy: bool, preset: Preset, store: str | None) -> None:
        super().__init__(ansi_color=True)
        self.words, self.store = words, store
        self.looks = palette.looks(fancy)
        self.running: Running | None = None
        self.scene: Scene | None = None
        self.notice = ""
        self.before = "begin"  # the page that help was asked on
        self.begin_page, self.bench_page = BeginPage(preset), BenchPage()
        self.help_page, self.job_page = HelpPage(words), OneJobPage(words)
        self.form_page, self.read_page = FormPage(), ReadPage(words)
        self.simulator_page = SimulatorPage(words, dict(preset.faults), set(preset.lies))
        self.causes_page = CausesPage(words)
        records: tuple[Page, ...] = (JobsPage(), self.job_page, self.form_page, self.read_page)
        bench: tuple[Page, ...] = (self.begin_page, self.bench_page, self.causes_page, self.simulator_page)
        self.pages = {page.id or "": page for page in (*bench, *records, self.help_page)}

    @property
    def page(self) -> Page:
        """The page that is seen."""
        return self.pages[self.query_one(ContentSwitcher).current or "begin"]

    def turn_to(self, name: str) -> None:
        """Another page."""
        self.query_one(ContentSwitcher).current = name
        self.set_focus(None)
        self.page.enter()
        self.draw()

    def draw(self) -> None:
        """Everything that is seen, from what there is."""

    def say(self, text: str) -> None:
        """Tell something in the line above the keys."""
        self.notice = text

    def title_line(self, left: str, right: str) -> Text:
        """A line over a page."""
        return beside(Text(left, palette.HEAD), Text(right, palette.QUIET), self.size.width)

    def help(self) -> None:
        """What can be done on this page."""
        self.before = self.page.id or "begin"
        self.turn_to("help")

    def show_bench(self) -> None:
        """The run, or where one begins."""
        self.turn_to("begin" if self.scene is None else "bench")

    def show_causes(self) -> None:
        """What is likely behind a failure."""
        self.turn_to("causes")

    def next_unit(self) -> None:
        """Away with the last run: it is on record."""
        self.scene = self.running = None
        self.begin_page.clear()
        self.turn_to("begin")

    def chosen_faults(self) -> tuple[tuple[str, float], ...]:
        """The faults that the next simulated unit begins with."""
        return tuple((name, severity) for name, severity in self.simulator_page.severities.items() if severity)

    def chosen_lies(self) -> tuple[tuple[str, str, int | None], ...]:
        """The faults of the wire that the next run begins with."""
        return tuple((kind, instrument, None) for kind, instrument in sorted(self.simulator_page.lies))

    def open_job(self, number: str) -> None:
        """The page of a job."""
        self.job_page.number = number
        self.turn_to("job")

    def receive(self, serial: str) -> None:
        """The form by which a unit is taken in."""
        begin = self.begin_page
        values = {"serial": serial or begin.serial.value, "unit": begin.unit.value}
        choices = {"complaint": complaints(), "unit": sorted(bundled("unit-profile"))}
        order = Order(self.words("job.receive"), receive_command, ("receive",), values, choices,
                      lambda: self.turn_to("jobs"), self.page.id or "jobs")  # fmt: skip
        self.fill_in(order)

    def unit_came(self, serial: str) -> None:
        """A unit was scanned: its job opens, or its receiving starts."""
        begin = self.begin_page

        def found() -> None:
            if begin.open_job is not None:
                self.open_job(begin.open_job.number)
            else:
                self.receive(serial)
                self.say(self.words("notice.receiving", serial=visible(serial, 60)))

        begin.job.value, begin.serial.value = "", serial
        begin.look_up(found)

    def fill_in(self, order: Order) -> None:
        """A form."""
        self.turn_to("form")
        self.call_later(self.form_page.put, order)

    def read(self, lines: Sequence[Text], came_from: str) -> None:
        """Something to read."""
        self.turn_to("read")
        self.read_page.put(lines, came_from)

    def to_bench(self, serial: str) -> None:
        """The unit of a job to the bench."""
        if self.running is not None and self.running.alive:
            self.say(self.words("notice.still-running"))
            return
        self.next_unit()
        self.begin_page.serial.value = serial
        self.begin_page.enter()

    def same_unit(self) -> None:
        """The unit that is on the bench once more: another procedure, or the same again."""
        self.turn_to("begin")
