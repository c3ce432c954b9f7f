"""The page of runs: that of the chosen slot, and beside it those of the others where there is room."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Horizontal

from rig.cli.looks import Looks
from rig.plan.visible import visible
from rig.screen import bench_text
from rig.screen.bench_column import BenchColumn
from rig.screen.page import Act, Lines, Page
from rig.screen.slot import Slots
from rig.screen.words import Words

WIDE = 120  # columns from which on there is room for what is to come and for every output
SIDE = 44
COLUMN, GAP = 70, 2  # what a slot beside others needs at least, and what is left between two


class BenchPage(Page):
    """Redrawn from the scenes alone."""

    DEFAULT_CSS = """
    BenchPage Horizontal { height: 1fr; }
    BenchPage #side { width: 44; margin-left: 2; display: none; height: 1fr; }
    BenchPage #side.wide { display: block; }
    """

    def __init__(self, slots: Slots, words: Words, looks: Looks) -> None:
        super().__init__(name="bench", id="bench")
        self._slots, self._side = slots, Lines(id="side")
        self.span = 0, 0  # where the chosen slot's column is: its first column of the screen, and how many it has
        self._columns = {slot.number: BenchColumn(slot, words, looks) for slot in slots}

    def compose(self) -> ComposeResult:
        with Horizontal():
            yield from self._columns.values()
            yield self._side

    def draw(self) -> None:
        chosen = self._slots.chosen
        if chosen.scene is None:
            return
        whole = self.app.size.width
        room = min(len(self._slots), max(1, (whole + GAP) // (COLUMN + GAP)))
        left = whole - SIDE - GAP
        wide = whole >= WIDE and left >= room * (COLUMN + GAP) - GAP
        self._side.set_class(wide, "wide")
        width = ((left if wide else whole) + GAP) // room - GAP
        shown = self._slots.shown_beside(room)
        self.span = (0, whole) if room == 1 else (shown.index(chosen) * (width + GAP), width)
        for slot in self._slots:
            column = self._columns[slot.number]
            column.set_class(slot in shown, "shown")
            column.set_class(slot is not shown[0], "beside")
            if slot in shown:
                column.draw(width, room == 1, slot is chosen)
        if wide:
            say, looks = self.rig.words, self.rig.looks
            self._side.show([*bench_text.outputs_lines(chosen.scene, say, looks, SIDE), Text(),
                             *bench_text.to_come_lines(chosen.scene, say, looks, SIDE)])  # fmt: skip

    def on_resize(self) -> None:
        self.draw()

    def leaf(self, pages: int) -> None:
        """In the chosen slot alone."""
        self._columns[self._slots.chosen.number].leaf(pages)
        self.draw()

    def acts(self) -> list[Act]:
        say, scene = self.rig.words, self._slots.chosen.scene
        if scene is None:
            return []
        if scene.going:
            return [Act("f5", say("act.pause"), self.rig.pause)] if scene.started is not None else []
        found = [Act("f4", say("act.causes"), self.rig.show_causes)] if scene.failed else []
        found.append(Act("f8", say("act.same-unit"), self.rig.same_unit))
        if scene.started is not None and (job := scene.started.job):
            found.append(Act("f7", say("act.to-job", job=visible(job)), lambda: self.rig.open_job(job)))
        return [*found, Act("f9", say("act.next-unit"), self.rig.next_unit)]
