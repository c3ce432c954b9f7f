"""The screen itself: it empties the queues of the runs, shows what there is, and does one thing for each key."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence

from rich.text import Text
from textual import events
from textual.actions import SkipAction
from textual.app import ComposeResult
from textual.binding import Binding
from textual.widget import Widget
from textual.widgets import ContentSwitcher, Input

from rig.cli.failing import failure_of
from rig.cli.performing import Wanted
from rig.cli.rows import cut
from rig.plan.visible import visible
from rig.screen import bench_text, palette
from rig.screen.fields import FieldInput
from rig.screen.keystrokes import ENTER, Keystrokes
from rig.screen.page import Act, Lines, Page
from rig.screen.preset import Preset
from rig.screen.running import Over, Running
from rig.screen.slot import Slot
from rig.screen.slot_text import NOTICE_LINES, notice_lines, strip_lines, who_line
from rig.screen.ways import Ways
from rig.screen.words import Words

EMPTY_EVERY = 0.1  # s: how soon what happens is seen
DRAW_EVERY = 0.5  # s: how often seconds go on while nothing happens
MOST_AT_ONCE = 2000  # things told by one run that are taken in one go: keys come between
NEXT_SLOT = "f12"  # F11 is the full screen of many terminals
KEYS = ("escape", "f1", "f2", "f3", "f4", "f5", "f6", "f7", "f8", "f9", "f10", "ctrl+c", "ctrl+q")


class BenchApp(Ways):
    """``told`` is called when a run begins, so that whoever owns the process can end it whatever becomes of the
    screen."""

    CSS = f"""
    Screen {{ layout: vertical; background: ansi_default; color: ansi_default; }}
    Static, Input, Horizontal, Vertical, ContentSwitcher {{ background: ansi_default; }}
    #strip {{ height: auto; }}
    #who, #keys {{ height: 1; }}
    ContentSwitcher {{ height: 1fr; }}
    ContentSwitcher > Page {{ height: 1fr; }}
    #notice {{ height: auto; max-height: {NOTICE_LINES + 1}; }}
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

    def __init__(self, words: Words, fancy: bool, presets: Sequence[Preset], store: str | None) -> None:
        super().__init__(words, fancy, presets, store)
        self.told: Callable[[Running], None] = lambda running: None
        self.left = False  # by somebody's wish, and not by an accident
        self._leaving = False
        self._drawn_at = 0.0
        self._strip, self._who = Lines(id="strip"), Lines(id="who")
        self._told_line, self._keys = Lines(id="notice"), Lines(id="keys")
        self.keystrokes = Keystrokes(self.set_timer, self._key_alone, self._scanned)
        self.loop: asyncio.AbstractEventLoop | None = None

    def compose(self) -> ComposeResult:
        yield self._strip
        yield self._who
        with ContentSwitcher(initial=self.begin_page.id):
            yield from self.all_pages
        yield from (own.ask_box for own in self.owned.values())
        yield self._told_line
        yield self._keys

    def on_mount(self) -> None:
        self.loop = asyncio.get_running_loop()
        if self.slots.several:
            self.bind(NEXT_SLOT, f"act('{NEXT_SLOT}')", show=False)
        self.set_interval(EMPTY_EVERY, self._tick)
        self.begin_page.enter()
        self.draw()

    # what there is to see

    def _tick(self) -> None:
        if self._take() or time.monotonic() - self._drawn_at >= DRAW_EVERY:
            self.draw()

    def _take(self) -> bool:
        """Take what the runs have told; whether there was anything."""
        some = False
        for slot in self.slots:
            for told in slot.news(MOST_AT_ONCE):
                some = True
                if isinstance(told, Over):
                    self._over(slot, told)
        return some

    def _over(self, slot: Slot, over: Over) -> None:
        if over.fault is not None:
            self.say(" ".join(failure_of(over.fault).lines), slot)
        elif over.record is None:
            self.say(self.words("notice.never-began"), slot)
        else:
            self.say("" if slot is self.slot else f"{self.words('now.over')} {over.record.ended.verdict}", slot)
        if self._leaving and not self.slots.going:
            self._leave()

    def draw(self) -> None:
        """Everything that is seen, from what there is."""
        self._drawn_at = time.monotonic()
        width, say, looks = self.size.width, self.words, self.looks
        self._strip.show(strip_lines(self.slots, say, looks, width))
        self._who.show([cut(who_line(self.slots, say, looks), width, looks)])
        self.page.draw()
        self._draw_questions(self.page is self.bench_page)
        self._told_line.show(notice_lines(self.slots, self._next(), say, looks, width))
        self._keys.show([self._keys_line(width)])

    def _draw_questions(self, at_bench: bool) -> None:
        """The chosen slot's question, on its page; those that were begun stay as they are until they are withdrawn."""
        for slot, own in self.owned.items():
            seen, box, prompt = at_bench and slot is self.slot, own.ask_box, slot.prompt
            shown = prompt if seen or prompt is box.prompt else None
            box.ask(shown, slot.scene.cautions if slot.scene is not None and shown is not None else ())
            box.show(seen, self.bench_page.span)

    def _next(self) -> str:
        """What to do next, or what was said last."""
        say, scene, at_bench = self.words, self.scene, self.page is self.bench_page
        prompt = self.slot.prompt
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
            return bench_text.cautions(scene) or say("notice.wait", doing=scene.progress.waits_for or "-")
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
        say, several = self.words, self.slots.several
        off = say("act.slots-off" if several else "act.off")
        found = [Act("escape", off, self.all_off), Act("ctrl+c", off, self.all_off)]
        if several:
            found.append(Act(NEXT_SLOT, say("slot.name", n=self.slots.following.number), self.next_slot))
        found += page.acts()
        back = page is self.help_page
        found.append(Act("f1", say("act.back" if back else "act.help"), self._from_help if back else self.help))
        found += [Act("f10", say("act.leave"), self.leave), Act("ctrl+q", say("act.leave"), self.leave)]
        if page is not self.bench_page and not (page is self.begin_page and self.scene is None):
            found.append(Act("f2", say("act.bench"), self.show_bench))
        if page.name != "simulator":
            found.append(Act("f6", say("act.simulator"), lambda: self.turn_to("simulator")))
        if not any(act.key == "f3" for act in found) and page.name != "jobs":
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

    def next_slot(self) -> None:
        """Keys that may be the beginning of an answer are for the slot they were pressed in, or for none."""
        self.keystrokes.drop()
        super().next_slot()

    def all_off(self) -> None:
        """Everything off in every slot, now. Always allowed, never asked twice."""
        was_on = self.slots.end(self.words("record.off-by-key"))
        self.say(self.words("notice.turning-off" if was_on else "notice.nothing-on"))

    def leave(self) -> None:
        """Leave; what is on is turned off first."""
        if self.slots.end(self.words("record.left")):
            self._leaving = True
            self.say(self.words("notice.leaving"))
        else:
            self._leave()

    def _leave(self) -> None:
        self.left = True
        self.exit(0)

    def end_by_signal(self, number: int) -> None:
        """A signal has come: the runs were told already; the screen goes."""
        self.left = True
        self.exit(128 + number)

    def begin(self, slot: Slot, wanted: Wanted, pin: str, speed: float) -> None:
        """Begin a run in a slot. A unit is in one slot at a time."""
        if self._leaving:
            self.say(self.words("notice.leaving"))
        elif slot.alive:
            self.say_still_running(slot)
        elif (other := self.slots.with_serial(wanted.serial)) not in (None, slot):
            self.say_in_slot(other, wanted.serial)
        else:
            running = slot.ready(wanted, pin, speed)
            self.told(running)
            running.start()
            if slot is self.slot:
                self.turn_to("bench")

    def run_again(self, procedure: str) -> None:
        """Another procedure on the unit that is on the bench, by the same person; the PIN is asked for again."""
        self.begin_page.procedure.value = procedure
        self.turn_to("begin")
        self.begin_page.pin.input.focus()
        if not self.begin_page.job.value:  # there is nothing that a PIN would prove
            self.begin_page.begin()

    def pause(self) -> None:
        """Everything off in the chosen slot, then a question."""
        if self.running is not None:
            self.running.pause()
            self.say(self.words("notice.pausing"), self.slot)

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
        shown, several = visible(text.strip(), 60), self.slots.several
        slot = self.slots.with_serial(text)
        if slot is not None and (several or self.page is self.bench_page):
            self.say_in_slot(slot, text.strip())
        elif self.page is self.bench_page and self.slot.going:
            self.say(self.words("notice.scanned-nowhere" if several else "notice.scanned-other", scanned=shown))
        elif self.page in (self.form_page, self.simulator_page):
            self.say(self.words("notice.scanned-here", scanned=shown))
        else:
            self.unit_came(text.strip())
        self.draw()
