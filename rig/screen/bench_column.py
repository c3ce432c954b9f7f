"""The run of one slot, drawn from its scene alone: what is happening, the reading in its limits, the steps so far."""

from __future__ import annotations

from rich.text import Text
from textual.app import ComposeResult
from textual.containers import Vertical

from rig.cli.looks import Looks
from rig.cli.rows import cut, wrapped
from rig.plan.visible import visible
from rig.screen import bench_text
from rig.screen.page import Lines
from rig.screen.scene import Scene
from rig.screen.slot import Slot
from rig.screen.slot_text import column_head
from rig.screen.trace_text import plot
from rig.screen.words import Words

PLOT = 10  # lines


class BenchColumn(Vertical):
    """As wide as the page, or beside those of other slots."""

    DEFAULT_CSS = """
    BenchColumn { width: 1fr; display: none; }
    BenchColumn.shown { display: block; }
    BenchColumn.beside { margin-left: 2; }
    BenchColumn Lines { height: 1fr; }
    BenchColumn #now, BenchColumn #reading { height: 4; }
    BenchColumn #head { height: 2; }
    BenchColumn #cautions { height: auto; }
    """

    def __init__(self, slot: Slot, words: Words, looks: Looks) -> None:
        super().__init__()
        self._slot, self._words, self._looks = slot, words, looks
        self._counted = 0
        self._head, self._now, self._reading = Lines(id="head"), Lines(id="now"), Lines(id="reading")
        self._steps, self._cautions = Lines(id="steps"), Lines(id="cautions")
        self._back = 0  # lines that are scrolled back
        self._told: tuple[Scene, int, list[Text]] | None = None  # the finished steps as lines, for a width

    def compose(self) -> ComposeResult:
        yield from (self._head, self._now, self._reading, self._steps, self._cautions)

    def draw(self, width: int, alone: bool, chosen: bool) -> None:
        """So wide; beside others its head says which slot it is of, and its cautions stand below it: those of the
        chosen slot stand over the keys."""
        scene, say, looks = self._slot.scene, self._words, self._looks
        self._head.display = not alone
        self._head.show([cut(line, width, looks) for line in column_head(self._slot, chosen, say, looks, width)])
        self._now.display = self._reading.display = self._steps.display = scene is not None
        cautions = [] if scene is None or chosen or alone else wrapped(Text(bench_text.cautions(scene)), width, 0)
        self._cautions.show(cautions)
        self._cautions.display = bool(cautions)
        if scene is None:
            return
        self._now.show([bench_text.heading(say("head.now"), looks, width),
                        *bench_text.now_lines(scene, say, looks, width)])  # fmt: skip
        self._reading.show([bench_text.heading(say("head.reading"), looks, width),
                            *bench_text.reading_lines(scene, say, looks, width)])  # fmt: skip
        self._steps.show(self._visible(self._below(scene, width)))

    def leaf(self, pages: int) -> None:
        """Back by so many pages, or forward again."""
        self._back = max(0, self._back + pages * max(1, self._steps.size.height - 2))

    def _below(self, scene: Scene, width: int) -> list[Text]:
        title = self._words("head.steps", done=len(scene.results), all=scene.progress.total)
        lines = [
            *self._finished(scene, width),
            *self._pictures(scene, width),
            *(line for note in scene.fresh_notes[-3:] for line in wrapped(Text(f"- {visible(note, 400)}"), width, 0)),
            *bench_text.summary(scene, self._looks, width),
        ]
        return [bench_text.heading(title, self._looks, width), *lines]

    def _finished(self, scene: Scene, width: int) -> list[Text]:
        """The lines of the finished steps: each is made once for a width."""
        if self._told is None or self._told[0] is not scene or self._told[1] != width:
            self._told, self._counted = (scene, width, []), 0
        new = scene.results[self._counted :]
        self._told[2].extend(bench_text.steps_lines(new, self._looks, width))
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
                found = plot(trace, last, self._looks, width, PLOT)
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
