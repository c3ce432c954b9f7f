"""The page of a unit that comes to the bench: scan it, choose what to do with it, begin."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from rich.text import Text
from textual.app import ComposeResult
from textual.widgets import Input

from rig.cli.performing import Wanted
from rig.cli.rows import wrapped
from rig.plan.load import bundled
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.fields import Choice, TextField
from rig.screen.page import Act, Lines, Page
from rig.screen.records import JobLine, jobs_of_serial
from rig.screen.slot import Slot

PACES = ("10", "1", "60", "0")
PEOPLE = ("auto", "simulated")


class BeginPage(Page):
    """Everything that a run needs, on one page."""

    DEFAULT_CSS = """
    BeginPage > Lines { height: auto; margin-top: 1; }
    """

    def __init__(self, slot: Slot, fixed_bench: bool) -> None:
        super().__init__(name="begin", id=f"begin-{slot.number}")
        self._slot, self._fixed_bench = slot, fixed_bench
        self.preset = slot.preset
        self._jobs: list[JobLine] = []
        self._looked_up = ""  # the serial number that they are of
        self._said = Lines()

    def compose(self) -> ComposeResult:
        say, preset = self.rig.words, self.preset
        self.serial = TextField("serial", say("begin.serial"), preset.serial, say("begin.scan"))
        self.job = TextField("job", say("begin.job"), "", say("begin.job-hint"))
        self.procedure = _named("procedure", say("begin.procedure"), bundled("procedure"), preset.procedure)
        self.unit = _named("unit", say("begin.unit"), bundled("unit-profile"), preset.unit)
        benches = [] if self._fixed_bench else bundled("bench")
        self.bench = _named("bench", say("begin.bench"), benches, preset.bench)
        self.by = TextField("by", say("begin.by"), preset.by)
        self.pin = TextField("pin", say("begin.pin"), "", say("begin.pin-hint"), secret=True)
        paces = dict.fromkeys((preset.speed, *PACES))
        self.pace = Choice("pace", say("begin.pace"), [(p, self._pace(p)) for p in paces], preset.speed)
        people = [(p, say(f"begin.person-{p}")) for p in PEOPLE]
        self.person = Choice("person", say("begin.person"), people, preset.person)
        yield from (self.serial, self.job, self.procedure, self.unit, self.bench)
        yield from (self.by, self.pin, self.person, self.pace, self._said)

    def _pace(self, speed: str) -> str:
        say = self.rig.words
        return say("begin.fastest") if float(speed) == 0 else say("begin.times", times=speed)

    def enter(self) -> None:
        first = self.serial if not self.serial.value else self.by if not self.by.value else self.pin
        first.input.focus()
        self.look_up(lambda: None)

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Enter, or the end of a scan: the unit's job opens, or its receiving starts."""
        event.stop()
        if event.input.name == "serial" and self.serial.value:
            self.rig.unit_came(self.serial.value)

    @property
    def open_job(self) -> JobLine | None:
        """The open job of the serial number, as far as it was looked up."""
        known = self._jobs if self._looked_up == self.serial.value else []
        return next((job for job in known if not job.closed), None)

    def look_up(self, then: Callable[[], object]) -> None:
        """See what is on record of this serial number, and then do something."""
        store, serial = self.rig.store, self.serial.value

        def put(jobs: list[JobLine]) -> None:
            if serial == self.serial.value:  # nothing else was typed meanwhile
                self._jobs, self._looked_up = jobs, serial
                if (job := self.open_job) is not None:
                    self.job.value, self.unit.value = job.number, job.unit
                self.rig.draw()
                then()

        self.fetch(lambda: jobs_of_serial(store, serial) if serial else [], put)

    def draw(self) -> None:
        say, width = self.rig.words, self.app.size.width
        lines: list[Text] = []
        if self._looked_up and self._looked_up == self.serial.value:
            for job in self._jobs[:3]:
                text = say(
                    "begin.known", job=visible(job.number), stage=job.closed or job.stage, unit=visible(job.unit)
                )
                lines += wrapped(Text(text), width, 0)
            if self.open_job is None:
                lines += wrapped(Text(say("begin.unknown")), width, 0)
        if self.job.value and not self.pin.value:
            lines += wrapped(Text(f"! {say('begin.no-pin')}", palette.CAUTION), width, 0)
        lines += wrapped(Text(f"! {say('begin.caution')}", palette.CAUTION), width, 0)
        self._said.show(lines)

    def acts(self) -> list[Act]:
        say = self.rig.words
        found = [Act("f8", say("act.begin"), self.begin)]
        if self.serial.value and self.open_job is None:
            found.append(Act("f7", say("act.receive"), lambda: self.rig.receive(self.serial.value)))
        return found

    def begin(self) -> None:
        """Begin what the fields ask for. Of a serial number that was not looked up, this is done first: a unit that has
        an open job is never run beside it unawares."""
        if self.serial.value and self._looked_up != self.serial.value and not self.job.value:
            self.look_up(self._begin_or_open)
        else:
            self._begin()

    def _begin_or_open(self) -> None:
        if (job := self.open_job) is not None:
            self.rig.open_job(job.number)
        else:
            self._begin()

    def _begin(self) -> None:
        self.rig.begin(self._slot, self.wanted(), self.pin.value, float(self.pace.value))
        self.pin.value = ""

    def wanted(self) -> Wanted:
        """What the fields ask for."""
        sim = self.bench.value.startswith("simulated") or "/" in self.bench.value
        return Wanted(
            procedure=self.procedure.value,
            bench=self.bench.value,
            unit=self.unit.value,
            serial=self.serial.value,
            job=self.job.value,
            by=self.by.value,
            seed=self.preset.seed,
            faults=self._slot.chosen_faults if sim else (),
            wire_faults=self._slot.chosen_lies if sim else (),
            person="simulated" if self.person.value == "simulated" else "terminal",
            store=self.rig.store,
        )

    def set_pace(self, speed: float) -> None:
        """The pace of the next run."""
        self.pace.value = f"{speed:g}"

    def clear(self) -> None:
        """For the next unit."""
        self.procedure.value = self.preset.procedure
        self.serial.value = self.job.value = self.pin.value = self._looked_up = ""
        self._jobs = []


def _named(name: str, label: str, known: Iterable[str], value: str) -> Choice:
    """A choice of what is known by name, and of what the command line has named."""
    names = dict.fromkeys([value, *sorted(known)])
    return Choice(name, label, [(n, n) for n in names], value)
