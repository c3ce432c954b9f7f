"""The slots in words: their names, how each is marked, and whether something is energized there, each on a line of its
own. Of a single slot nothing is said that would tell it from others."""

from __future__ import annotations

from rich.text import Text

from rig.cli.looks import Looks
from rig.cli.rows import cut, wrapped
from rig.plan.visible import visible
from rig.screen import bench_text, palette
from rig.screen.scene import Scene
from rig.screen.slot import Slot, Slots
from rig.screen.strip import strip_line
from rig.screen.words import Words

LONGEST_NOTICE = 400  # characters
NOTICE_LINES = 4  # a stage's cautions are read whole on 80 columns


def strip_lines(slots: Slots, words: Words, looks: Looks, width: int) -> list[Text]:
    """A strip for each slot; the chosen one's number stands in brackets."""
    if not slots.several:
        return [strip_line(slots.chosen.outputs_of, words, looks, width)]
    lines = []
    for slot in slots:
        mark = Text(f"{marked(words('slot.name', n=slot.number), slot is slots.chosen)} ", palette.HEAD)
        right = state(slot.scene, words, looks)
        lines.append(mark.append_text(strip_line(slot.outputs_of, words, looks, width - mark.cell_len, right)))
    return lines


def marked(name: str, chosen: bool) -> str:
    """A slot's name, the chosen one's in brackets."""
    return f"[{name}]" if chosen else f" {name} "


def state(scene: Scene | None, words: Words, looks: Looks) -> Text:
    """How far a run has come, in a few words: for whoever looks at another one."""
    if scene is None:
        return Text()
    if scene.prompt is not None:
        return Text(f"? {words('slot.asks')}", palette.ASKS)
    if scene.ended is not None:
        verdict = scene.ended.verdict
        return Text(f"{looks.sign(verdict)} {verdict}", looks.style(verdict))
    progress = scene.progress
    if scene.step is None or scene.over is not None:
        return Text()
    return Text(words("now.step", n=progress.done + 1, of=progress.total), palette.QUIET)


def who_line(slots: Slots, words: Words, looks: Looks) -> Text:
    """Which slot is chosen, and whose unit is there."""
    slot = slots.chosen
    who = unit_of(slot, words, looks)
    if not slots.several:
        return who
    name = words("slot.name", n=slot.number)
    if slot.scene is None:  # else the bench is told with the run
        name = words("slot.with-bench", n=slot.number, bench=slot.bench)
    return Text.assemble((words("slot.chosen", slot=name), palette.HEAD), looks.pick(" · ", ", "), who)


def unit_of(slot: Slot, words: Words, looks: Looks) -> Text:
    """Whose unit is in a slot."""
    return Text(words("who.idle")) if slot.scene is None else bench_text.who_line(slot.scene, words, looks)


def column_head(slot: Slot, chosen: bool, words: Words, looks: Looks, width: int) -> list[Text]:
    """What stands over a slot that is shown beside others; two lines."""
    name = words("slot.with-bench", n=slot.number, bench=slot.bench)
    title = marked(words("slot.chosen", slot=name) if chosen else name, chosen)
    head = bench_text.beside(Text(title, "bold reverse" if chosen else palette.HEAD), state(slot.scene, words, looks),
                             width)  # fmt: skip
    return [head, unit_of(slot, words, looks)]


def notice_lines(slots: Slots, text: str, words: Words, looks: Looks, width: int) -> list[Text]:
    """What to do next, or what was said last; before it, in a line, in which other slots a question waits or something
    was told."""
    asking = ", ".join(words("slot.name", n=slot.number) for slot in slots.others if slot.prompt is not None)
    told = [of_slot(slot, slot.notice, slots, words) for slot in slots.others if slot.notice]
    asks = [words("notice.slot-asks", slots=asking)] if asking else []
    first = Text(visible("  ".join((*asks, *told)), LONGEST_NOTICE), palette.ASKS)
    own = wrapped(Text(visible(text, LONGEST_NOTICE)), width, 0)[:NOTICE_LINES]
    return [cut(first, width, looks), *own] if first else own


def of_slot(slot: Slot, text: str, slots: Slots, words: Words) -> str:
    """Something told of one slot; of a single one as it is."""
    return words("slot.says", n=slot.number, text=text) if slots.several and text else text
