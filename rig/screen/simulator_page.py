"""The developer's page: the simulated bench beside the run. Faults in and out while it goes on, the wire, the plan."""

from __future__ import annotations

from textual import events
from textual.app import ComposeResult

from rig.screen.bench_side import (
    STEPS,
    SimulatedFault,
    WireFault,
    fault_lines,
    faults_for,
    plan_lines,
    wire_fault_lines,
    wire_faults,
    wire_lines,
)
from rig.screen.page import Act, Lines, Page
from rig.screen.pick import Pick
from rig.screen.scroll import Scrolled
from rig.screen.slot import Slot
from rig.screen.tape import Tape
from rig.screen.words import Words

VIEWS = ("faults", "lies", "wire", "plan")
NAMES = {"faults": "act.faults", "lies": "act.lies", "wire": "act.wire", "plan": "act.plan"}
PACES = (1.0, 10.0, 60.0, 0.0)


class SimulatorPage(Page):
    """Three views in turn."""

    DEFAULT_CSS = """
    SimulatorPage > #sim-head { height: 1; }
    """

    def __init__(self, slot: Slot, words: Words) -> None:
        super().__init__(name="simulator", id=f"simulator-{slot.number}")
        self._slot = slot
        self._head, self._list, self._lies = Lines(id="sim-head"), Pick(), Pick()
        self._wire, self._plan = Lines(), Scrolled(words)
        self._view = 0
        self._faults: list[SimulatedFault] = []
        self._wire_faults: list[WireFault] = []

    def compose(self) -> ComposeResult:
        yield from (self._head, self._list, self._lies, self._wire, self._plan)

    def enter(self) -> None:
        self._faults = faults_for(self._unit())
        self._wire_faults = self._wire_faults or wire_faults()
        self._turn_to(self._view)

    def _unit(self) -> str:
        scene = self._slot.scene
        return scene.started.unit if scene is not None and scene.started is not None else self.rig.begin_page.unit.value

    def _turn_to(self, view: int) -> None:
        self._view = view % len(VIEWS)
        name = VIEWS[self._view]
        for widget, of in zip((self._list, self._lies, self._wire, self._plan), VIEWS, strict=True):
            widget.display = of == name
        if name in ("faults", "lies"):
            (self._list if name == "faults" else self._lies).focus()
        elif name == "wire" and self._slot.tape is None:
            self._slot.tape = Tape()
        elif name == "plan":
            self._read_plan()
        self.draw()

    def _read_plan(self) -> None:
        begin, width = self.rig.begin_page, self.app.size.width
        names = begin.procedure.value, begin.unit.value, begin.bench.value
        say, looks = self.rig.words, self.rig.looks
        self.fetch(lambda: plan_lines(*names, say, looks, width), self._plan.put)

    def draw(self) -> None:
        say, name, width = self.rig.words, VIEWS[self._view], self.app.size.width
        self._head.show([self.rig.title_line(say(f"side.{name}"), say("side.pace", pace=self._pace()))])
        if name == "faults":
            self._list.put(fault_lines(self._faults, self._slot.severities, self.rig.looks, width))
        elif name == "lies":
            self._lies.put(wire_fault_lines(self._wire_faults, self._slot.lies, self.rig.looks, say, width))
        elif name == "wire" and self._slot.tape is not None:
            lines = wire_lines(list(self._slot.tape.exchanges), say, self.rig.looks, width, self._wire.size.height)
            self._wire.show(lines)

    def _pace(self) -> str:
        speed = self._speed()
        return self.rig.words("begin.fastest") if speed == 0 else self.rig.words("begin.times", times=f"{speed:g}")

    def _speed(self) -> float:
        running = self._slot.running
        return running.pace.speed if running is not None and running.alive else float(self.rig.begin_page.pace.value)

    def on_key(self, event: events.Key) -> None:
        steps, view = {"right": 1, "plus": 1, "left": -1, "minus": -1}, VIEWS[self._view]
        if view not in ("faults", "lies") or event.key not in steps:
            return
        event.stop()
        if view == "faults":
            self._turn_fault(self._list.key, steps[event.key])
        else:
            self._turn_lie(self._wire_faults[int(self._lies.key)], put_in=steps[event.key] > 0)

    def _turn_lie(self, fault: WireFault, put_in: bool) -> None:
        one, running = (fault.kind, fault.instrument), self._slot.running
        if put_in == (one in self._slot.lies):
            return

        def refused(why: str) -> None:
            self._slot.lies ^= {one}
            self.rig.say(why)
            self.rig.draw()

        self._slot.lies ^= {one}
        now = running is not None and running.alive
        state = self.rig.words("side.in" if put_in else "side.out")
        text = "side.lie-now" if now else "side.lie-next"
        self.rig.say(self.rig.words(text, kind=fault.kind, instrument=fault.instrument, state=state))
        if running is not None and now:
            running.set_wire_fault(*one, put_in, lambda why: self.app.call_from_thread(refused, why))
        self.rig.draw()

    def _turn_fault(self, name: str, by: int) -> None:
        before = self._slot.severities.get(name, 0.0)
        severity = min(1.0, max(0.0, before + by / STEPS))
        self._slot.severities[name] = severity
        running = self._slot.running

        def refused(why: str) -> None:
            self._slot.severities[name] = before
            self.rig.say(why)

        if running is not None and running.alive:
            running.set_fault(name, severity, lambda why: self.app.call_from_thread(refused, why))
            self.rig.say(self.rig.words("side.fault-now", name=name, severity=f"{severity:g}"))
        else:
            self.rig.say(self.rig.words("side.fault-next", name=name, severity=f"{severity:g}"))
        self.rig.draw()

    def leaf(self, pages: int) -> None:
        self._plan.leaf(pages)

    def acts(self) -> list[Act]:
        say = self.rig.words
        following = VIEWS[(self._view + 1) % len(VIEWS)]
        found = [Act("f7", say(NAMES[following]), lambda: self._turn_to(self._view + 1))]
        found.append(Act("f8", say("act.pace"), self._turn_pace))
        if any(self._slot.severities.values()) or self._slot.lies:
            found.append(Act("f9", say("act.no-faults"), self._all_out))
        return found

    def _turn_pace(self) -> None:
        speed = self._speed()
        new = PACES[(PACES.index(speed) + 1) % len(PACES)] if speed in PACES else PACES[0]
        self.rig.begin_page.set_pace(new)
        if self._slot.running is not None:
            self._slot.running.pace.speed = new
        if self._slot.scene is not None:
            self._slot.scene.pace = new

    def _all_out(self) -> None:
        """Undo: every fault out of the simulated unit, every lie off its wires."""
        running = self._slot.running
        for name in [n for n, severity in self._slot.severities.items() if severity]:
            self._slot.severities[name] = 0.0
            if running is not None:
                running.set_fault(name, 0.0, lambda why: None)
        for one in sorted(self._slot.lies):
            if running is not None:
                running.set_wire_fault(*one, False, lambda why: None)
        self._slot.lies.clear()
