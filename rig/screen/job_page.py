"""One job: its story, what blocks it, and everything that can be done with it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click
from rich.text import Text
from textual.app import ComposeResult

from rig.cli.job_moves import MOVES
from rig.cli.release import command as release_command
from rig.cli.repair import command as repair_command
from rig.screen.collected import Collected
from rig.screen.form_page import Order
from rig.screen.page import Act, Page
from rig.screen.papers import make_certificate, run_story
from rig.screen.pick import Pick
from rig.screen.scroll import Scrolled
from rig.screen.words import Words

if TYPE_CHECKING:
    from rig.cli.job_page import JobPage

OWN = {"repair": repair_command, "release": release_command}  # moves that are commands of their own
RUN, PAPER, SEE, CORRECT = "run", "certificate", "see:", "correct"


class OneJobPage(Page):
    """The page of a job as the terminal prints it, or the list of what can be done with it."""

    def __init__(self, words: Words) -> None:
        super().__init__(name="job", id="job")
        self._story, self._list = Scrolled(words), Pick()
        self._page: JobPage | None = None
        self._choosing = False
        self.number = ""

    def compose(self) -> ComposeResult:
        yield self._story
        yield self._list

    def enter(self) -> None:
        self._choose(False)
        number, store = self.number, self.rig.store
        self._page = None  # what was read before may have changed
        self._story.put([Text(self.rig.words("job.reading"))])

        def read() -> JobPage:
            from rig.cli.job import page_of
            from rig.records.store import Store

            with Store.open(store, must_exist=True) as records:
                return page_of(records, number)

        self.fetch(read, self._put)

    def _put(self, page: JobPage) -> None:
        if page.job.number == self.number:  # nobody has asked for another meanwhile
            self._page = page
            self._print()
            self.rig.draw()

    def _print(self, keep: bool = False) -> None:
        """What blocks it comes first, then the story, the latest first: one sees at a glance where it stands."""
        if self._page is None:
            return
        from rig.cli.job_page import print_findings, print_head, print_missing, print_story

        out = Collected(self.app.size.width + 1, self.rig.looks)
        print_head(self._page, out)
        print_missing(self._page, out)
        print_story(self._page, out, latest_first=True)
        print_findings(self._page, out)
        self._story.put(out.lines, keep)

    def on_resize(self) -> None:
        self._print(keep=True)

    def leaf(self, pages: int) -> None:
        self._story.leaf(pages)

    def acts(self) -> list[Act]:
        say = self.rig.words
        back = Act("f3", say("act.back"), self._back)
        if self._choosing:
            return [Act("f8", say("act.open"), lambda: self._take(self._list.key)), back]
        if self._page is None:
            return [back]
        found = []
        if not self._page.job.closed:
            found.append(self._next(self._page))
            if self._page.job.runs and self._page.job.release is None:
                found.append(Act("f4", say("act.causes"), lambda: self.rig.show_causes(self.number)))
        if self._page.job.has_been_released:
            found.append(Act("f9", say("act.certificate"), self._certificate))
        return [*found, Act("f7", say("act.more"), lambda: self._choose(True)), back]

    def _next(self, page: JobPage) -> Act:
        """What is due: no release before what it stands on was run since the last repair."""
        say, slots, move = self.rig.words, self.rig.slots, page.job.move
        if move == RUN:
            name = say("act.to-slot", n=slots.chosen.number) if slots.several else say("act.to-bench")
        elif page.due == "verify":
            serial, procedure = page.job.received.serial, page.to_run[0]
            name = say("act.run-next", procedure=procedure)
            return Act("f8", name, lambda: self.rig.to_bench(serial, procedure))
        else:
            name = say("act.stage", stage=move)
        return Act("f8", name, lambda: self._take(move))

    def _back(self) -> None:
        if self._choosing:
            self._choose(False)
        else:
            self.rig.turn_to("jobs")

    def _choose(self, choosing: bool) -> None:
        self._choosing = choosing
        self._list.display, self._story.display = choosing, not choosing
        if choosing:
            self._list.put([(key, Text(words)) for key, words in self._what_can_be_done()])
            self._list.focus()

    def _what_can_be_done(self) -> list[tuple[str, str]]:
        assert self._page is not None
        say, job, room = self.rig.words, self._page.job, self.app.size.width - 20
        found = []
        if job.has_been_released:
            found.append((PAPER, say("job.certificate")))
        if not job.closed:
            found.append((RUN, say("job.run")))
            found += [(name, f"{name}: {_first_line(move, room)}") for name, move in MOVES.items()]
            found += [(name, f"{name}: {_first_line(own, room)}") for name, own in OWN.items()]
        elif job.repairs:  # what a unit had is known better when it comes back
            found.append((CORRECT, f"{CORRECT}: {_first_line(MOVES[CORRECT], room)}"))
        found += [(f"{SEE}{r.run}", say("job.see", run=r.run[:13], procedure=r.began.procedure,
                                        verdict=r.verdict or "-", by=r.by or "-")) for r in job.runs]  # fmt: skip
        return found

    def on_pick_taken(self, taken: Pick.Taken) -> None:
        taken.stop()
        self._take(taken.key)

    def _take(self, key: str) -> None:
        assert self._page is not None
        job, say, store = self._page.job, self.rig.words, self.rig.store
        if key == RUN:
            self.rig.to_bench(job.received.serial)
        elif key == PAPER:
            self._certificate()
        elif key.startswith(SEE):
            run = key.removeprefix(SEE)
            width, looks = self.app.size.width, self.rig.looks
            self.fetch(lambda: run_story(store, run, say, looks, width), lambda lines: self.rig.read(lines, "job"))
        else:
            self.rig.fill_in(self._order(key))

    def _order(self, name: str) -> Order:
        title = self.rig.words("job.form", job=self.number, move=name)
        command: click.Command | None = MOVES.get(name)
        words: tuple[str, ...] = ("job", self.number, name)
        if command is None:
            command, words = OWN[name], (name, self.number)
        values, choices = self._causes() if any(p.name == "cause" for p in command.params) else ({}, {})
        return Order(title, command, words, values, choices, self._again)

    def _causes(self) -> tuple[dict[str, str], dict[str, list[str]]]:
        """The cause that was named last, and those to choose from where they have been ranked."""
        from rig.records.facts import Diagnosed
        from rig.records.job import WITHDRAWN

        assert self._page is not None
        named, ranked = self._page.job.last(Diagnosed), self.rig.ranked(self.number)
        cause = "" if named is None or named[1].cause == WITHDRAWN else named[1].cause
        if ranked and cause and cause not in ranked:
            ranked = [cause, *ranked]
        return {"cause": cause} if cause else {}, {"cause": ranked} if ranked else {}

    def _again(self) -> None:
        self.rig.open_job(self.number)

    def _certificate(self) -> None:
        """Make it beside the records, and show what it says."""
        store, number = self.rig.store, self.number
        self.fetch(lambda: make_certificate(store, number), lambda made: self.rig.read(made[1], "job"))


def _first_line(command: click.Command, room: int) -> str:
    return command.get_short_help_str(room)
