"""The screen itself: it empties the run's queue, shows what there is, and does one thing for each key."""

from __future__ import annotations

import asyncio
import queue
import time
from collections.abc import Callable

from rich.text import Text
from textual import events
from textual.actions import SkipAction
from textual.app import ComposeResult
from textual.binding import Binding
from textual.widget import Widget
from textual.widgets import ContentSwitcher, Input

from rig.cli.failing import failure_of
from rig.cli.performing import Wanted
from rig.cli.rows import cut, wrapped
from rig.events import Prompted
from rig.plan.visible import visible
from rig.screen import bench_text, palette
from rig.screen.askbox import AskBox
from rig.screen.begin_page import Preset
from rig.screen.fields import FieldInput
from rig.screen.keystrokes import ENTER, Keystrokes
from rig.screen.page import Act, Lines, Page
from rig.screen.running import Over, Running
from rig.screen.scene import Scene
from rig.screen.strip import strip_line
from rig.screen.ways import Ways
from rig.screen.words import Words

EMPTY_EVERY = 0.1  # s: how soon what happens is seen
DRAW_EVERY = 0.5  # s: how often seconds go on while nothing happens
MOST_AT_ONCE = 2000  # things told that are taken in one go: keys come between
LONGEST_NOTICE = 400  # characters
NOTICE_LINES = 4  # a stage's cautions are read whole on 80 columns
KEYS = ("escape", "f1", "f2", "f3", "f4", "f5", "f6", "f7", "f8", "f9", "f10", "ctrl+c", "ctrl+q")


class BenchApp(Ways):
    """``told`` is called when a run begins, so that whoever owns the process can end it whatever becomes of the
    screen."""

    CSS = """
    Screen { layout: vertical; background: ansi_default; color: ansi_default; }
    Static, Input, Horizontal, Vertical, ContentSwitcher { background: ansi_default; }
    #strip, #who, #keys { height: 1; }
    ContentSwitcher { height: 1fr; }
    ContentSwitcher > Page { height: 1fr; }
    #notice { height: auto; max-height: 4; }
    """
    BINDINGS = [  # noqa: RUF012 - as the library declares it
        *(Binding(key, f"act('{key}')", show=False, priority=True) for key in KEYS),
        Binding("enter", "enter", show=False, priority=True),
        Binding("pageup", "leaf(1)", show=False),
        Binding("pagedown", "leaf(-1)", show=False),
        Binding("down", "app.focus_next", show=False),
        Binding("up", "app.focus_previous", show=False),
    ]
    ENABLE_COMMAND_PALETTE = False

    def __init__(self, words: Words, fancy: bool, preset: Preset, store: str | None) -> None:
        super().__init__(words, fancy, preset, store)
        self.told: Callable[[Running], None] = lambda running: None
        self.left = False  # by somebody's wish, and not by an accident
        self._leaving = False
        self._drawn_at = 0.0
        self._strip, self._who = Lines(id="strip"), Lines(id="who")
        self._told_line, self._keys = Lines(id="notice"), Lines(id="keys")
        self.ask_box = AskBox(words, self._answered)
        self.keystrokes = Keystrokes(self.set_timer, self._key_alone, self._scanned)
        self.loop: asyncio.AbstractEventLoop | None = None

    def compose(self) -> ComposeResult:
        yield self._strip
        yield self._who
        with ContentSwitcher(initial="begin"):
            yield from self.pages.values()
        yield self.ask_box
        yield self._told_line
        yield self._keys

    def on_mount(self) -> None:
        self.loop = asyncio.get_running_loop()
        self.set_interval(EMPTY_EVERY, self._tick)
        self.begin_page.enter()
        self.draw()

    # what there is to see

    def _tick(self) -> None:
        if self._take() or time.monotonic() - self._drawn_at >= DRAW_EVERY:
            self.draw()

    def _take(self) -> bool:
        """Take what the run has told; whether there was anything."""
        running, scene = self.running, self.scene
        if running is None or scene is None:
            return False
        for n in range(MOST_AT_ONCE):
            try:
                told = running.told.get_nowait()
            except queue.Empty:
                return n > 0
            scene.take(told)
            if isinstance(told, Over):
                self._over(told)
        return True

    def _over(self, over: Over) -> None:
        if over.fault is not None:
            self.say(" ".join(failure_of(over.fault).lines))
        elif over.record is None:
            self.say(self.words("notice.never-began"))
        else:
            self.notice = ""
        if self._leaving:
            self._leave()

    def draw(self) -> None:
        """Everything that is seen, from what there is."""
        self._drawn_at = time.monotonic()
        width, scene = self.size.width, self.scene
        self._strip.show([strip_line(scene, self.words, self.looks, width)])
        who = Text(self.words("who.idle")) if scene is None else bench_text.who_line(scene, self.words, self.looks)
        self._who.show([cut(who, width, self.looks)])
        self.page.draw()
        at_bench = self.page is self.bench_page
        prompt = scene.prompt if scene is not None else None
        shown = prompt if at_bench or prompt is self.ask_box.prompt else None
        self.ask_box.ask(shown, scene.cautions if scene is not None and shown is not None else ())
        self.ask_box.display = at_bench and self.ask_box.prompt is not None
        self._told_line.show(
            wrapped(Text(visible(self._next(prompt, at_bench), LONGEST_NOTICE)), width, 0)[:NOTICE_LINES]
        )
        self._keys.show([self._keys_line(width)])

    def _next(self, prompt: Prompted | None, at_bench: bool) -> str:
        """What to do next, or what was said last."""
        say, scene = self.words, self.scene
        if prompt is not None and not at_bench:
            return say("notice.question-waits")
        if self.notice:
            return self.notice
        if self.page is self.begin_page:
            return say("notice.begin")
        if scene is None or not at_bench:
            return ""
        if prompt is not None:
            return say("notice.answer")
        if scene.going:
            cautions = scene.stage.cautions if scene.stage is not None else ()
            return f"! {' '.join(cautions)}" if cautions else say("notice.wait", doing=scene.progress.waits_for or "-")
        return say("notice.after-fail" if scene.failed else "notice.after")

    def _keys_line(self, width: int) -> Text:
        line = Text()
        for act in self.acts():
            if act.key not in ("ctrl+c", "ctrl+q"):
                name = "Esc" if act.key == "escape" else act.key.upper()
                part = Text.assemble((f"{name} ", palette.HEAD), f"{act.name}  ")
                if line.cell_len + part.cell_len <= width + 2:
                    line.append_text(part)
        line.rstrip()
        return line

    # what can be done

    def acts(self) -> list[Act]:
        """Everything that a key does now, the most important first."""
        return self._acts(self.page)

    def acts_of_before(self) -> list[Act]:
        """What could be done on the page that help was asked on, and can be again."""
        return self._acts(self.pages[self.before])

    def _acts(self, page: Page) -> list[Act]:
        say = self.words
        found = [Act("escape", say("act.off"), self.all_off), Act("ctrl+c", say("act.off"), self.all_off)]
        found += page.acts()
        back = page is self.help_page
        found.append(Act("f1", say("act.back" if back else "act.help"), self._from_help if back else self.help))
        found += [Act("f10", say("act.leave"), self.leave), Act("ctrl+q", say("act.leave"), self.leave)]
        if page is not self.bench_page and not (page is self.begin_page and self.scene is None):
            found.append(Act("f2", say("act.bench"), self.show_bench))
        if page.id != "simulator":
            found.append(Act("f6", say("act.simulator"), lambda: self.turn_to("simulator")))
        if not any(act.key == "f3" for act in found) and page.id != "jobs":
            found.append(Act("f3", say("act.jobs"), lambda: self.turn_to("jobs")))
        return found

    def action_act(self, key: str) -> None:
        """A key that does something: what it does now."""
        act = next((act for act in self.acts() if act.key == key), None)
        if act is None:
            self.say(self.words("notice.nothing", key=key.upper()))
        else:
            self.notice = ""
            act.do()
        self.draw()

    def action_enter(self) -> None:
        """Enter in a field of a form: on to the next at once; behind a scanner's burst: its end. Elsewhere it is what
        it always is."""
        field = self.focused
        if self.keystrokes.busy:
            self.keystrokes.take(ENTER)
            return
        if not isinstance(field, FieldInput):
            raise SkipAction
        field.post_message(events.Key("enter", "\r"))  # behind what was typed before it
        self.action_focus_next()

    def action_leaf(self, pages: int) -> None:
        """A screenful back or forward."""
        self.page.leaf(pages)

    def _from_help(self) -> None:
        self.turn_to(self.before)

    def all_off(self) -> None:
        """Everything off, now. Always allowed, never asked twice."""
        if self.running is not None and self.running.alive:
            self.running.end(self.words("record.off-by-key"))
            self.say(self.words("notice.turning-off"))
        else:
            self.say(self.words("notice.nothing-on"))

    def leave(self) -> None:
        """Leave; what is on is turned off first."""
        if self.running is not None and self.running.alive:
            self._leaving = True
            self.running.end(self.words("record.left"))
            self.say(self.words("notice.leaving"))
        else:
            self._leave()

    def _leave(self) -> None:
        self.left = True
        self.exit(0)

    def end_by_signal(self, number: int) -> None:
        """A signal has come: the run was told already; the screen goes."""
        self.left = True
        self.exit(128 + number)

    def begin(self, wanted: Wanted, pin: str, speed: float) -> None:
        """Begin a run."""
        if self.running is not None and self.running.alive:
            self.say(self.words("notice.still-running"))
            return
        self.running = Running(wanted, pin, speed, self.simulator_page.tape)
        self.scene = Scene(speed)
        self.told(self.running)
        self.running.start()
        self.turn_to("bench")

    def run_again(self, procedure: str) -> None:
        """Another procedure on the unit that is on the bench, by the same person; the PIN is asked for again."""
        self.begin_page.procedure.value = procedure
        self.turn_to("begin")
        self.begin_page.pin.input.focus()
        if not self.begin_page.job.value:  # there is nothing that a PIN would prove
            self.begin_page.begin()

    def pause(self) -> None:
        """Everything off, then a question."""
        if self.running is not None:
            self.running.pause()
            self.say(self.words("notice.pausing"))

    # keys that are answers

    async def on_event(self, event: events.Event) -> None:
        """A key goes to what is seen: a field of a page that is hidden may get the focus back from the library."""
        if isinstance(event, events.Key) and self.focused is not None:
            above = [node for node in self.focused.ancestors_with_self if isinstance(node, Widget)]
            if not all(node.display for node in above):
                self.set_focus(None)
        await super().on_event(event)

    def on_key(self, event: events.Key) -> None:
        if isinstance(self.focused, Input):
            return
        if event.is_printable and event.character:
            self.keystrokes.take(event.character)
        elif event.key == "enter" and self.page is self.bench_page:
            self.keystrokes.take(ENTER)

    def _key_alone(self, key: str) -> None:
        if self.page is self.bench_page and self.ask_box.by_key and not self.ask_box.key(key):
            self.say(self.words("notice.no-answer", key=key))
        self.draw()

    def _scanned(self, text: str) -> None:
        """A scanner was used outside a field. While a run is looked at, say whether it is the unit on the bench."""
        scene, shown = self.scene, visible(text.strip(), 60)
        if self.page is self.bench_page and scene is not None and scene.going:
            serial = scene.started.serial if scene.started is not None else ""
            same = text.strip().casefold() == serial.casefold()
            self.say(self.words("notice.scanned-same" if same else "notice.scanned-other", scanned=shown))
        elif self.page in (self.form_page, self.simulator_page):
            self.say(self.words("notice.scanned-here", scanned=shown))
        else:
            self.unit_came(text.strip())
        self.draw()

    def _answered(self, asked: Prompted, text: str) -> None:
        if self.running is not None:
            self.running.answers.give(asked, text)
        if self.scene is not None and self.scene.prompt is asked:
            self.scene.prompt = None
