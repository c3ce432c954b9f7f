"""The queue: every job that waits, and what it waits for."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult

from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.page import Act, Lines, Page
from rig.screen.pick import Pick
from rig.screen.records import JobLine, all_jobs, heading_of


class JobsPage(Page):
    """Read anew each time one turns to it."""

    DEFAULT_CSS = """
    JobsPage > #jobs-head { height: 2; }
    """

    def __init__(self) -> None:
        super().__init__(id="jobs")
        self._head, self._list = Lines(id="jobs-head"), Pick()
        self._jobs: list[JobLine] = []
        self._heading = ""
        self._closed_too = False

    def compose(self) -> ComposeResult:
        yield self._head
        yield self._list

    def enter(self) -> None:
        self._list.focus()
        store = self.rig.store
        self.fetch(lambda: (heading_of(store), all_jobs(store)), self._put)

    def _put(self, found: tuple[str, list[JobLine]]) -> None:
        self._heading, self._jobs = found
        self._fill()

    def _fill(self) -> None:
        shown = [job for job in self._jobs if self._closed_too or not job.closed]
        self._list.put([(job.number, _line(job)) for job in shown])
        say = self.rig.words
        columns = f"  {say('jobs.job'):<6}{say('jobs.received'):<12}{say('jobs.serial'):<16}{say('jobs.next'):<14}"
        title = self._heading or say("jobs.none")
        self._head.show([Text(visible(title, 200)), Text(columns + say("jobs.owner"), palette.HEAD)])

    def on_pick_taken(self, taken: Pick.Taken) -> None:
        taken.stop()
        self._open()

    def _open(self) -> None:
        self.rig.open_job(self._list.key)

    def acts(self) -> list[Act]:
        say = self.rig.words
        found = [Act("f8", say("act.open"), self._open)] if self._list.key else []
        found.append(Act("f7", say("act.receive"), lambda: self.rig.receive("")))
        found.append(Act("f9", say("act.open-only" if self._closed_too else "act.closed-too"), self._turn))
        return found

    def _turn(self) -> None:
        self._closed_too = not self._closed_too
        self._fill()


def _line(job: JobLine) -> Text:
    stage = job.closed or job.stage
    return Text(f"{visible(job.number):<6}{job.received[:10]:<12}{visible(job.serial, 15):<16}{stage:<14}"
                f"{visible(job.owner, 40)}")  # fmt: skip
