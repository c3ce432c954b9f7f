"""The queue: every job that waits, what it waits for, and what blocks its release."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult

from rig.cli.rows import cut
from rig.errors import RigError
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.page import Act, Lines, Page
from rig.screen.pick import Pick
from rig.screen.records import JobLine, heading_of, jobs, what_blocks

COLUMNS = ("jobs.job", "jobs.received", "jobs.serial", "jobs.next", "jobs.owner", "jobs.blocks")
WIDE = 120  # columns from which on there is room for the owner
SIGN = 2  # columns of the pick's own


class JobsPage(Page):
    """Read anew each time one turns to it; what blocks a job is worked out behind, one after the other, and kept until
    the job has another entry."""

    DEFAULT_CSS = """
    JobsPage > #jobs-head { height: 2; }
    """

    def __init__(self) -> None:
        super().__init__(name="jobs", id="jobs")
        self._head, self._list = Lines(id="jobs-head"), Pick()
        self._jobs: list[JobLine] = []
        self._blocks: dict[tuple[str, int], str] = {}  # by job and number of entries
        self._heading = ""
        self._closed_too = self._looking = False

    def compose(self) -> ComposeResult:
        yield self._head
        yield self._list

    def enter(self) -> None:
        self._list.focus()
        self._read()

    def _read(self) -> None:
        store, closed_too = self.rig.store, self._closed_too
        self.fetch(lambda: (closed_too, heading_of(store), jobs(store, closed_too=closed_too)), self._put)

    def _put(self, found: tuple[bool, str, list[JobLine]]) -> None:
        closed_too, heading, lines = found
        if closed_too != self._closed_too:  # the other way was asked for meanwhile
            return
        self._heading, self._jobs = heading, lines
        self._fill()
        self._find_blocks()

    def _find_blocks(self) -> None:
        """The next that is not known, as long as one looks."""
        job = next((j for j in self._jobs if not j.closed and (j.number, j.entries) not in self._blocks), None)
        if job is None or self.rig.page is not self or self._looking:
            return
        self._looking = True
        key, store, say = (job.number, job.entries), self.rig.store, self.rig.words

        def find() -> str:
            try:
                blocks = what_blocks(store, job.number)
            except RigError as fault:
                return str(fault)
            more = say("jobs.more", n=len(blocks) - 1) if len(blocks) > 1 else ""
            return f"{blocks[0]}{more}" if blocks else say("jobs.free")

        def put(told: str) -> None:
            self._looking = False
            self._blocks[key] = told
            self._fill()
            self._find_blocks()

        self.fetch(find, put)

    def _fill(self) -> None:
        say, width = self.rig.words, self.app.size.width - SIGN
        self._list.put([(job.number, cut(self._line(job), width, self.rig.looks)) for job in self._jobs])
        names = [say(name) for name in COLUMNS]
        title = self._heading or say("jobs.none")
        self._head.show([Text(visible(title, 200)), Text(f"  {self._columns(*names)}", palette.HEAD)])

    def _line(self, job: JobLine) -> Text:
        blocks = "" if job.closed else self._blocks.get((job.number, job.entries), self.rig.words("jobs.looking"))
        stage = job.closed or job.stage
        return Text(self._columns(job.number, job.received[:10], job.serial, stage, job.owner, blocks))

    def _columns(self, job: str, received: str, serial: str, stage: str, owner: str, blocks: str) -> str:
        first = f"{visible(job):<6}{received:<11}{visible(serial, 14):<15}{stage:<14}"
        wide = f"{visible(owner, 26):<28}" if self.app.size.width >= WIDE else ""
        return f"{first}{wide}{visible(blocks, 200)}"

    def on_resize(self) -> None:
        self._fill()

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
        self._read()
