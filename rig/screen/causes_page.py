"""The page after a failure: the likely causes with what speaks for and against them, and the next test, by one key."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

from rich.text import Text
from textual.app import ComposeResult

from rig.cli.rows import wrapped
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.collected import Collected
from rig.screen.page import Act, Page
from rig.screen.scroll import Scrolled
from rig.screen.slot import Slot
from rig.screen.words import Words

if TYPE_CHECKING:
    from rig.diagnosis.diagnosis import Diagnosis

TO_REPAIR = ("found", "repair")  # what a diagnosis advises when it has seen enough
OTHER = "other"  # what the records call a cause that no table has


class CausesPage(Page):
    """Asks the diagnosis in a thread: ranking takes a moment, and keys must not wait for it."""

    def __init__(self, slot: Slot, words: Words) -> None:
        super().__init__(name="causes", id=f"causes-{slot.number}")
        self._slot = slot
        self._lines = Scrolled(words)
        self._found: Diagnosis | None = None
        self._of = ""  # the run that it is of
        self._job = self._serial = ""  # its job and unit, where they are on record
        self.asked = ""  # a job that is looked at away from its bench; empty: the run on the bench

    def compose(self) -> ComposeResult:
        yield self._lines

    def enter(self) -> None:
        scene = self._slot.scene
        started = scene.started if scene is not None and not self.asked else None
        run, job = (started.run, started.job) if started is not None else ("", self.asked)
        asked = self.asked
        if asked or run != self._of:  # what is on record of a job may have grown
            self._of, self._job, self._found = run, "", None
            self._lines.put([Text(self.rig.words("causes.thinking"))])
            self.fetch(lambda: ((asked, run), *self._diagnose(run, job)), self._put)

    def _diagnose(self, run: str, job: str) -> tuple[Diagnosis, str, str]:
        """What all runs of a job say, the job and its unit; of one run where it has no job on record."""
        from rig.cli.diagnose import Wanted, perform
        from rig.records.job import find_job
        from rig.records.store import Store

        known = None
        if job:
            with Store.open(self.rig.store) as records, records.reading() as connection:
                known = find_job(connection, job)
        if known is None:
            return perform(Wanted(run=run, store=self.rig.store)), "", ""
        return perform(Wanted(job=job, store=self.rig.store)), job, known.received.serial

    def _put(self, found: tuple[tuple[str, str], Diagnosis, str, str]) -> None:
        of, diagnosis, job, serial = found
        if of != (self.asked, self._of):  # somebody has asked for another meanwhile
            return
        self._found, self._job, self._serial = diagnosis, job, serial
        self._show()

    def on_resize(self) -> None:
        self._show(keep=True)

    def _show(self, keep: bool = False) -> None:
        if self._found is None:
            return
        from rig.cli.diagnosis_view import show

        page = Collected(self.app.size.width + 1, self.rig.looks)
        for caution in self._found.table.table.cautions:
            page.line(
                *wrapped(Text(f"! {self.rig.words('ask.caution')} {caution}", palette.CAUTION), page.width - 1, 0)
            )
        show(self._found, page, first=True)
        self._lines.put(page.lines, keep)

    def ranked(self, job: str) -> list[str]:
        """The causes of a job, the likeliest first, where they have been ranked here."""
        if self._found is None or self._job != job:
            return []
        return [*self._found.ranking.shares(), OTHER]

    @property
    def next_procedure(self) -> str | None:
        """The procedure that takes the observation that tells most, where one does."""
        if self._found is None or not self._found.advice.next:
            return None
        sources = self._found.table.observations[self._found.advice.next[0].observation].from_
        return sources[-1].procedure if sources else None

    def leaf(self, pages: int) -> None:
        self._lines.leaf(pages)

    def acts(self) -> list[Act]:
        """What is advised is the first key: the next test, or the job, to repair what was found."""
        say, procedure, job = self.rig.words, self.next_procedure, self._job
        ways: list[tuple[str, Callable[[], None]]] = []
        if job and self._found is not None and self._found.advice.do in TO_REPAIR:
            ways.append((say("act.to-job", job=visible(job)), lambda: self.rig.open_job(job)))
        if procedure is not None:
            ways.append((say("act.run-next", procedure=procedure), lambda: self._run(procedure)))
        found = [Act(key, *way) for key, way in zip(("f8", "f7"), ways, strict=False)]
        return [*found, Act("f3", say("act.back"), lambda: self.rig.open_job(self.asked))] if self.asked else found

    def _run(self, procedure: str) -> None:
        if self.asked:
            self.rig.to_bench(self._serial, procedure)
        else:
            self.rig.run_again(procedure)
