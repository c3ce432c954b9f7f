"""The bench in lines: whose unit, what is happening and how long yet, the reading against its limit, the steps so
far."""

from __future__ import annotations

from collections.abc import Iterable

from rich.text import Text

from rig.cli.looks import Looks
from rig.cli.progress import Progress
from rig.cli.rows import drawn_ruler, step_lines, wrapped
from rig.cli.summary import summary_lines
from rig.events import AllOff, RunEnded, StepResult
from rig.limits import Verdict
from rig.plan.visible import visible
from rig.screen import palette
from rig.screen.scene import Scene
from rig.screen.trace_text import sparkline
from rig.screen.words import Words
from rig.shown.numbers import limit_text, minutes_text, reading_text, shown_together, significant, with_unit


def heading(title: str, looks: Looks, width: int) -> Text:
    """A rule across, with a word in it."""
    rule = looks.pick("─", "-")
    return Text.assemble((f"{rule} ", palette.QUIET), (title, palette.HEAD),
                         (f" {rule * max(0, width - len(title) - 3)}", palette.QUIET))  # fmt: skip


def who_line(scene: Scene, words: Words, looks: Looks) -> Text:
    """Whose unit, on which bench, by whom."""
    started, dot = scene.started, looks.pick(" · ", ", ")
    if started is None:
        wanted = scene.ready.wanted if scene.ready is not None else None
        return Text("" if wanted is None else dot.join(v for v in (wanted.serial, wanted.procedure, wanted.bench) if v))
    parts = [
        visible(started.serial) or words("who.no-serial"),
        visible(started.unit),
        words("who.job", job=visible(started.job)) if started.job else "",
        visible(started.procedure),
        visible(started.bench),
        visible(started.by),
    ]
    return Text(dot.join(part for part in parts if part))


def cautions(scene: Scene) -> str:
    """Those of the stage that is worked on; nothing where it has none or the run is over."""
    told = scene.stage.cautions if scene.stage is not None and scene.going and scene.ended is None else ()
    return visible(f"! {' '.join(told)}", 400) if told else ""


def now_lines(scene: Scene, words: Words, looks: Looks, width: int) -> list[Text]:
    """What is happening, for how long, and for how much longer; three lines."""
    progress, step, now = scene.progress, scene.step, scene.now
    if scene.ended is not None:
        verdict = Text.assemble(
            f"{words('now.over')} ",
            (f"{looks.sign(scene.ended.verdict)} {scene.ended.verdict}", f"bold {looks.style(scene.ended.verdict)}"),
        )
        reason = wrapped(Text(visible(scene.ended.reason or "", 400)), width, 0)
        return [verdict, *[*reason, Text(), Text()][:2]]
    if scene.over is not None:
        return [Text(words("now.over"), palette.HEAD), Text(), Text()]
    if step is None:
        return [Text(words("now.between" if scene.started else "now.opening"), palette.HEAD), Text(), Text()]
    left = progress.minutes_left(now)
    whole = words("now.left", minutes=f"{left:.0f}") if left >= 1 else words("now.nearly")
    spent = words("now.spent", spent=minutes_text(now - step.at), planned=minutes_text(60 * planned(progress)))
    first = Text.assemble(
        (words("now.step", n=progress.done + 1, of=progress.total), ""), " ", (visible(step.step), palette.HEAD)
    )
    second = Text(f"{spent}{looks.pick(' · ', ', ')}{whole}")
    second = beside(second, Text(visible(scene.stage.title, 60) if scene.stage else "", palette.QUIET), width)
    return [
        beside(first, Text(visible(progress.waits_for, 80), palette.QUIET), width),
        second,
        _live(scene, looks, width),
    ]


def planned(progress: Progress) -> float:
    """Minutes that the step was meant to take."""
    step = progress.step
    return 0.0 if step is None else progress.facts.minutes.get(step.step, step.minutes)


def _live(scene: Scene, looks: Looks, width: int) -> Text:
    """The latest value of what is watched, and its course."""
    going = [t for t in scene.traces.values() if t.points and t.step in scene.progress.running]
    if not going:
        return Text()
    sampled = scene.progress.sampled
    trace = next((t for t in going if sampled is not None and t.quantity == sampled.quantity), going[-1])
    values = [v for _, v in trace.points]
    value = with_unit(significant(values[-1], 4), trace.unit, looks.fancy)
    told = Text.assemble(f"{visible(trace.quantity)} ", (value, palette.HEAD), "  ")
    room = max(8, width - told.cell_len - 20)
    low, high = (significant(end(values[-room:]), 4) for end in (min, max))
    course = sparkline(values, looks, room)
    return Text.assemble(told, (f"{low} ", palette.QUIET), course, (f" {high}", palette.QUIET))


def reading_lines(scene: Scene, words: Words, looks: Looks, width: int) -> list[Text]:
    """The latest reading that was judged: value, limit, verdict, and where it lies; three lines. Once the run has
    ended, the first of those that made its verdict."""
    all_judged = [r for r in scene.results if r.reading is not None and r.limit is not None]
    judged = all_judged[-1] if all_judged else None
    if scene.ended is not None and scene.ended.verdict is not Verdict.PASS:
        judged = next((r for r in all_judged if r.verdict is scene.ended.verdict), judged)
    if judged is None:
        return [Text(words("reading.none"), palette.QUIET), Text(), Text()]
    return judged_lines(judged, words, looks, width)


def judged_lines(result: StepResult, words: Words, looks: Looks, width: int) -> list[Text]:
    """A reading against its limit in three lines: what, how much, where."""
    assert result.reading is not None and result.limit is not None
    shown = shown_together(result.reading, result.limit)
    value = reading_text(shown.value, shown.expanded, shown.unit, result.reading.bound, looks.fancy)
    allowed = limit_text(shown.limit, looks.fancy) if shown.limit is not None else ""
    verdict = Text(f"{looks.sign(result.verdict)} {result.verdict}", f"bold {looks.style(result.verdict)}")
    drawn = drawn_ruler(result, looks)
    chance = result.conformance_probability
    sure = "" if chance is None else words("reading.chance", percent=_percent(chance))
    return [
        beside(Text(visible(result.name), palette.HEAD), verdict, width),
        beside(Text.assemble((value, palette.HEAD), f"   {words('reading.allowed', limit=allowed)}"),
               Text(sure, palette.QUIET), width),
        drawn,
    ]  # fmt: skip


def _percent(chance: float) -> str:
    return f"{100 * chance:.1f}" if 0.0005 < chance < 0.9995 else "under 0.1" if chance < 0.5 else "over 99.9"


def steps_lines(results: Iterable[StepResult], looks: Looks, width: int) -> list[Text]:
    """A line a finished step, as the terminal has it."""
    return [line for result in results for line in step_lines(result, looks, width + 1)]


def summary(scene: Scene, looks: Looks, width: int) -> list[Text]:
    """What the run came to; nothing while it goes on."""
    return [] if scene.ended is None else summary_of(scene.ended, scene.results, scene.all_off, looks, width)


def summary_of(
    ended: RunEnded, results: Iterable[StepResult], all_off: AllOff | None, looks: Looks, width: int
) -> list[Text]:
    """What a run came to, as the terminal tells it."""
    return [Text(), *summary_lines(ended, results, all_off, looks, width + 1)]


def outputs_lines(scene: Scene, words: Words, looks: Looks, width: int) -> list[Text]:
    """Every output of the bench: word, sign, and how long ago it was read back."""
    if scene.seen is None:
        return []
    signs = {"on": looks.pick("▲", "^"), "off": looks.pick("○", "o"), "unsure": "?"}
    lines = [heading(words("side.outputs"), looks, width)]
    for output in scene.seen.outputs:
        style = {"on": f"bold {palette.VERMILLION}", "unsure": f"bold {palette.ORANGE}"}.get(output.word, "")
        age = f"{output.age:.1f} s" if output.says_on is not None else words("side.unread")
        left = Text(f"{signs[output.word]} {words('output.' + output.word):<8}{visible(output.name)}", style)
        lines.append(beside(left, Text(age, palette.QUIET), width))
    return lines


def to_come_lines(scene: Scene, words: Words, looks: Looks, width: int) -> list[Text]:
    """The steps that are still to come, stage by stage."""
    lines, stage = [heading(words("side.to-come"), looks, width)], ""
    for planned_step in scene.to_come:
        if planned_step.stage != stage:
            stage = planned_step.stage
            lines.append(Text(visible(stage, width), palette.QUIET))
        lines.append(Text(f"  {visible(planned_step.step)}"))
    return lines if scene.to_come else []


def beside(left: Text, right: Text, width: int) -> Text:
    """One at the left, one at the right end of a line; the right one goes where there is no room."""
    gap = width - left.cell_len - right.cell_len
    if not right.cell_len or gap < 2:
        return left
    return Text.assemble(left, " " * gap, right)
