"""The page after a failure: the likely causes with what speaks for and against them, and the next test, by one key."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import TYPE_CHECKING

from rich.text import Text
from textual.app import ComposeResult

from rig.cli.rows import wrapped
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
        self._job = ""  # its job, where one is on record

    def compose(self) -> ComposeResult:
        yield self._lines

    def enter(self) -> None:
        scene = self._slot.scene
        run = scene.started.run if scene is not None and scene.started is not None else ""
        if run and run != self._of:
            self._of, self._found = run, None
            job = scene.started.job if scene is not None and scene.started is not None else ""
            self._lines.put([Text(self.rig.words("causes.thinking"))])
            self.fetch(lambda: self._diagnose(run, job), self._put)

    def _diagnose(self, run: str, job: str) -> tuple[Diagnosis, str]:
        """What all runs of a job say, and the job; of one run where it has no job on record."""
        from rig.cli.diagnose import Wanted, perform
        from rig.records.job import find_job
        from rig.records.store import Store

        wanted = Wanted(run=run, store=self.rig.store)
        if job:
            with Store.open(self.rig.store) as records, records.reading() as connection:
                if find_job(connection, job) is not None:
                    wanted = replace(wanted, run=None, job=job)
        return perform(wanted), wanted.job or ""

    def _put(self, found: tuple[Diagnosis, str]) -> None:
        self._found, self._job = found
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
        scene = self._slot.scene
        if self._found is None or scene is None or scene.started is None or scene.started.job != job:
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
        procedure, job = self.next_procedure, self._job
        ways: list[tuple[str, Callable[[], None]]] = []
        if job and self._found is not None and self._found.advice.do in TO_REPAIR:
            ways.append((self.rig.words("act.to-job", job=job), lambda: self.rig.open_job(job)))
        if procedure is not None:
            name = self.rig.words("act.run-next", procedure=procedure)
            ways.append((name, lambda: self.rig.run_again(procedure)))
        return [Act(key, *way) for key, way in zip(("f8", "f7"), ways, strict=False)]
