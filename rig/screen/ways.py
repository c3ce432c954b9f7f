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
from rig.screen.askbox import AskBox
from rig.screen.begin_page import BeginPage
from rig.screen.bench_page import BenchPage
from rig.screen.bench_text import beside
from rig.screen.causes_page import CausesPage
from rig.screen.form_page import FormPage, Order
from rig.screen.help_page import HelpPage
from rig.screen.job_page import OneJobPage
from rig.screen.jobs_page import JobsPage
from rig.screen.page import Page
from rig.screen.preset import Preset
from rig.screen.read_page import ReadPage
from rig.screen.records import complaints
from rig.screen.running import Running
from rig.screen.scene import Scene
from rig.screen.simulator_page import SimulatorPage
from rig.screen.slot import Slot, Slots
from rig.screen.slot_pages import SlotPages
from rig.screen.slot_text import of_slot
from rig.screen.words import Words


class Ways(App[int]):
    """All pages, and the way from one to the next. Some are of a slot, the chosen one's are seen; the others are of all
    slots alike."""

    def __init__(self, words: Words, fancy: bool, presets: Sequence[Preset], store: str | None) -> None:
        super().__init__(ansi_color=True)
        self.words, self.store = words, store
        self.looks = palette.looks(fancy)
        self.slots = Slots(presets)
        self.notice = ""
        self.before = "begin"  # the page that help was asked on
        self.bench_page = BenchPage(self.slots, words, self.looks)
        self.help_page, self.job_page = HelpPage(words), OneJobPage(words)
        self.form_page, self.read_page = FormPage(), ReadPage(words)
        self.owned = {slot: SlotPages(slot, words, self.slots.several) for slot in self.slots}
        records: tuple[Page, ...] = (JobsPage(), self.job_page, self.form_page, self.read_page)
        self._shared: tuple[Page, ...] = (self.bench_page, *records, self.help_page)

    # what is the chosen slot's

    @property
    def slot(self) -> Slot:
        """The chosen one."""
        return self.slots.chosen

    @property
    def running(self) -> Running | None:
        """Its run."""
        return self.slot.running

    @property
    def scene(self) -> Scene | None:
        """What was seen of it."""
        return self.slot.scene

    @property
    def begin_page(self) -> BeginPage:
        """Where its next run begins."""
        return self.owned[self.slot].begin

    @property
    def causes_page(self) -> CausesPage:
        """The likely causes of its failure."""
        return self.owned[self.slot].causes

    @property
    def simulator_page(self) -> SimulatorPage:
        """Its simulated bench."""
        return self.owned[self.slot].simulator

    @property
    def ask_box(self) -> AskBox:
        """Its question."""
        return self.owned[self.slot].ask_box

    @property
    def pages(self) -> dict[str, Page]:
        """The pages that can be seen now, by name."""
        return {page.name or "": page for page in (*self.owned[self.slot].all, *self._shared)}

    @property
    def all_pages(self) -> list[Page]:
        """Those of every slot."""
        return [*(page for own in self.owned.values() for page in own.all), *self._shared]

    @property
    def page(self) -> Page:
        """The page that is seen."""
        current = self.query_one(ContentSwitcher).current
        return next(page for page in self.all_pages if page.id == current)

    def turn_to(self, name: str) -> None:
        """Another page."""
        self.query_one(ContentSwitcher).current = self.pages[name].id
        self.set_focus(None)
        self.page.enter()
        self.draw()

    def draw(self) -> None:
        """Everything that is seen, from what there is."""

    def say(self, text: str, of: Slot | None = None) -> None:
        """Tell something in the line above the keys. What is of another slot than the chosen one waits there, too."""
        if of is None or of is self.slot:
            self.notice = text if of is None else of_slot(of, text, self.slots, self.words)
        else:
            of.notice = text

    def title_line(self, left: str, right: str) -> Text:
        """A line over a page."""
        return beside(Text(left, palette.HEAD), Text(right, palette.QUIET), self.size.width)

    def help(self) -> None:
        """What can be done on this page."""
        self.before = self.page.name or "begin"
        self.turn_to("help")

    def show_bench(self) -> None:
        """The run, or where one begins."""
        self.turn_to("begin" if self.scene is None else "bench")

    def show_causes(self, job: str = "") -> None:
        """What is likely behind the failure on the bench, or behind the complaint of a job."""
        self.causes_page.asked = job
        self.turn_to("causes")

    def next_unit(self) -> None:
        """Away with the last run: it is on record."""
        self.slot.clear()
        self.begin_page.clear()
        self.turn_to("begin")

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
                      lambda: self.turn_to("jobs"), self.page.name or "jobs")  # fmt: skip
        self.fill_in(order)

    def unit_came(self, serial: str) -> None:
        """A unit was scanned: its job opens, or its receiving starts. One that is in a slot is told to be there."""
        begin = self.begin_page
        if self.slots.several and (slot := self.slots.with_serial(serial)) is not None:
            self.say_in_slot(slot, serial)
            return

        def found() -> None:
            if begin.open_job is not None:
                self.open_job(begin.open_job.number)
            else:
                self.receive(serial)
                self.say(self.words("notice.receiving", serial=visible(serial, 60)))

        begin.job.value, begin.serial.value = "", serial
        begin.look_up(found)

    def say_in_slot(self, slot: Slot, serial: str) -> None:
        """Where a unit is that a run goes on of."""
        shown = visible(serial, 60)
        if not self.slots.several:
            self.say(self.words("notice.scanned-same", scanned=shown))
        else:
            text = "notice.scanned-chosen" if slot is self.slot else "notice.scanned-elsewhere"
            self.say(self.words(text, scanned=shown, n=slot.number))

    def fill_in(self, order: Order) -> None:
        """A form."""
        self.turn_to("form")
        self.call_later(self.form_page.put, order)

    def read(self, lines: Sequence[Text], came_from: str) -> None:
        """Something to read."""
        self.turn_to("read")
        self.read_page.put(lines, came_from)

    def to_bench(self, serial: str, procedure: str = "") -> None:
        """The unit of a job to the bench, for a procedure or for the one that was chosen there."""
        if self.slot.alive:
            self.say_still_running(self.slot)
            return
        self.next_unit()
        self.begin_page.serial.value = serial
        if procedure and not self.begin_page.procedure.turn_to(procedure):
            self.say(self.words("notice.not-here", procedure=visible(procedure, 60)))
        self.begin_page.enter()

    def say_still_running(self, slot: Slot) -> None:
        """One slot, one run."""
        self.say(self.words("notice.slot-runs" if self.slots.several else "notice.still-running"), slot)

    def next_slot(self) -> None:
        """The next slot is the chosen one: its run is seen, or where one begins, and keys are meant for it. A page that
        is of no slot stays."""
        name = self.page.name or ""
        self.slots.choose(self.slots.following)
        over = self.slot.scene.over if self.slot.scene is not None else None
        if over is None or over.record is None:  # else its page says how the run has ended
            self.say(self.slot.notice, self.slot)
        self.slot.notice = ""
        if name in ("begin", "bench", "causes"):
            self.show_bench()
        elif name == "simulator":
            self.turn_to(name)
        elif self.before in ("begin", "bench", "causes"):
            self.before = "begin" if self.scene is None else "bench"

    def ranked(self, job: str) -> list[str]:
        """The causes of a job, the likeliest first, where they have been ranked in some slot."""
        found = (own.causes.ranked(job) for own in self.owned.values())
        return next((causes for causes in found if causes), [])

    def same_unit(self) -> None:
        """The unit that is on the bench once more: another procedure, or the same again."""
        self.turn_to("begin")
