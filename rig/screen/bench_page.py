"""The page of a run: what is on, what is happening and how long yet, the reading in its limits, what to do next."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical

from rig.cli.rows import wrapped
from rig.plan.visible import visible
from rig.screen import bench_text
from rig.screen.page import Act, Lines, Page
from rig.screen.scene import Scene
from rig.screen.trace_text import plot

WIDE = 120  # columns from which on there is room for what is to come and for every output
SIDE = 44
PLOT = 10  # lines


class BenchPage(Page):
    """Redrawn from the scene alone."""

    DEFAULT_CSS = """
    BenchPage Horizontal { height: 1fr; }
    BenchPage #main { width: 1fr; }
    BenchPage #side { width: 44; margin-left: 2; display: none; }
    BenchPage #side.wide { display: block; }
    BenchPage Lines { height: 1fr; }
    BenchPage #now, BenchPage #reading { height: 4; }
    """

    def __init__(self) -> None:
        super().__init__(id="bench")
        self._counted = 0
        self._now, self._reading = Lines(id="now"), Lines(id="reading")
        self._steps, self._side = Lines(id="steps"), Lines(id="side")
        self._back = 0  # lines that are scrolled back
        self._told: tuple[Scene, int, list[Text]] | None = None  # the finished steps as lines, for a width

    def compose(self) -> ComposeResult:
        with Horizontal():
            with Vertical(id="main"):
                yield self._now
                yield self._reading
                yield self._steps
            yield self._side

    def draw(self) -> None:
        scene = self.rig.scene
        if scene is None:
            return
        say, looks = self.rig.words, self.rig.looks
        wide = self.app.size.width >= WIDE
        self._side.set_class(wide, "wide")
        width = self.app.size.width - (SIDE + 2 if wide else 0)
        self._now.show([bench_text.heading(say("head.now"), looks, width),
                        *bench_text.now_lines(scene, say, looks, width)])  # fmt: skip
        self._reading.show([bench_text.heading(say("head.reading"), looks, width),
                            *bench_text.reading_lines(scene, say, looks, width)])  # fmt: skip
        self._steps.show(self._visible(self._below(scene, width)))
        if wide:
            self._side.show([*bench_text.outputs_lines(scene, say, looks, SIDE), Text(),
                             *bench_text.to_come_lines(scene, say, looks, SIDE)])  # fmt: skip

    def _below(self, scene: Scene, width: int) -> list[Text]:
        say, looks = self.rig.words, self.rig.looks
        title = say("head.steps", done=len(scene.results), all=scene.progress.total)
        lines = [
            *self._finished(scene, width),
            *self._pictures(scene, width),
            *(line for note in scene.fresh_notes[-3:] for line in wrapped(Text(f"- {visible(note, 400)}"), width, 0)),
            *bench_text.summary(scene, looks, width),
        ]
        return [bench_text.heading(title, looks, width), *lines]

    def _finished(self, scene: Scene, width: int) -> list[Text]:
        """The lines of the finished steps: each is made once for a width."""
        if self._told is None or self._told[0] is not scene or self._told[1] != width:
            self._told, self._counted = (scene, width, []), 0
        new = scene.results[self._counted :]
        self._told[2].extend(bench_text.steps_lines(new, self.rig.looks, width))
        self._counted += len(new)
        return self._told[2]

    def _pictures(self, scene: Scene, width: int) -> list[Text]:
        """The trace of the step that has just ended, with its limit, where there is room."""
        if self._steps.size.height < 2 * PLOT or not scene.results:
            return []
        last = scene.results[-1]
        found: list[Text] = []
        for trace in scene.traces.values():
            if trace.step == last.name:
                found = plot(trace, last, self.rig.looks, width, PLOT)
                found = [Text(f"{trace.step}: {trace.quantity}", "bold"), *found] if found else []
                break
        return found

    def _visible(self, lines: list[Text]) -> list[Text]:
        """The heading, and the latest lines that there is room for; earlier ones with Page Up."""
        room = max(1, self._steps.size.height - 1)
        rest = lines[1:]
        self._back = max(0, min(self._back, len(rest) - room))
        end = len(rest) - self._back
        return [lines[0], *rest[max(0, end - room) : end]]

    def on_resize(self) -> None:
        self.draw()

    def leaf(self, pages: int) -> None:
        """Back by so many pages, or forward again."""
        self._back = max(0, self._back + pages * max(1, self._steps.size.height - 2))
        self.draw()

    def acts(self) -> list[Act]:
        say, scene = self.rig.words, self.rig.scene
        if scene is None:
            return []
        if scene.going:
            return [Act("f5", say("act.pause"), self.rig.pause)] if scene.started is not None else []
        found = [Act("f4", say("act.causes"), self.rig.show_causes)] if scene.failed else []
        found.append(Act("f8", say("act.same-unit"), self.rig.same_unit))
        return [*found, Act("f9", say("act.next-unit"), self.rig.next_unit)]
