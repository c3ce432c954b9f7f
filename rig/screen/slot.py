"""A slot: one bench on the screen, the run that goes on there, and what was seen of it. And all of them, of which one
is chosen: it is the one that keys are meant for, but for the key that turns everything off."""

from __future__ import annotations

import queue
from collections.abc import Iterator, Sequence
from pathlib import Path

from rig.cli.performing import Wanted
from rig.events import Prompted
from rig.plan.visible import visible
from rig.screen.preset import Preset
from rig.screen.running import Running, Told
from rig.screen.scene import Scene
from rig.screen.tape import Tape

LONGEST_NAME = 24  # characters of a bench's name


class Slot:
    """``number`` counts from 1."""

    def __init__(self, number: int, preset: Preset) -> None:
        self.number, self.preset = number, preset
        self.running: Running | None = None
        self.scene: Scene | None = None
        self._doubt: Scene | None = None  # of the latest run after which not everything was confirmed off
        self.severities = dict(preset.faults)  # of the simulated unit's faults
        self.lies = set(preset.lies)  # faults of the wire that are in: kind, instrument
        self.tape: Tape | None = None  # made when somebody first asks for the wire
        self.notice = ""  # what was told of it while another was chosen

    @property
    def bench(self) -> str:
        """The bench's name, for a line that has no room for a path."""
        return visible(Path(self.preset.bench).stem, LONGEST_NAME)

    @property
    def alive(self) -> bool:
        """Whether anything may still be on by the run here."""
        return self.running is not None and self.running.alive

    @property
    def outputs_of(self) -> Scene | None:
        """Whose word on the outputs here is the latest: the run's; but until it has begun, that of an earlier one after
        which not everything was confirmed off."""
        begun = self.scene is not None and self.scene.started is not None
        return self.scene if begun or self._doubt is None else self._doubt

    @property
    def going(self) -> bool:
        """Whether a run goes on here, as far as it has told."""
        return self.scene is not None and self.scene.going

    @property
    def prompt(self) -> Prompted | None:
        """The question that waits here."""
        return None if self.scene is None else self.scene.prompt

    @property
    def serial(self) -> str:
        """The serial number of the unit that the run here is of."""
        if self.scene is not None and self.scene.started is not None:
            return self.scene.started.serial
        return "" if self.running is None else self.running.wanted.serial

    @property
    def chosen_faults(self) -> tuple[tuple[str, float], ...]:
        """The faults that the next simulated unit begins with."""
        return tuple((name, severity) for name, severity in self.severities.items() if severity)

    @property
    def chosen_lies(self) -> tuple[tuple[str, str, int | None], ...]:
        """The faults of the wire that the next run begins with."""
        return tuple((kind, instrument, None) for kind, instrument in sorted(self.lies))

    def ready(self, wanted: Wanted, pin: str, speed: float) -> Running:
        """Another run, that is still to be started."""
        self.clear()
        self.running, self.scene, self.notice = Running(wanted, pin, speed, self.tape), Scene(speed), ""
        return self.running

    def news(self, most: int) -> Iterator[Told]:
        """What the run has told, so many things at the most; each is in the scene by then."""
        if self.running is None or self.scene is None:
            return
        scene, told = self.scene, self.running.told
        for _ in range(most):
            try:
                one = told.get_nowait()
            except queue.Empty:
                return
            scene.take(one)
            yield one

    def answer(self, asked: Prompted, text: str) -> None:
        """The answer to a question that was asked here."""
        if self.running is not None:
            self.running.answers.give(asked, text)
        if self.scene is not None and self.scene.prompt is asked:
            self.scene.prompt = None

    def clear(self) -> None:
        """Away with the last run: it is on record. A doubt about its outputs stays."""
        last = self.outputs_of
        begun = last is not None and last.started is not None
        self._doubt = last if last is not None and begun and not last.confirmed_off else None
        self.scene = self.running = None


class Slots:
    """All slots, in the order of their numbers."""

    def __init__(self, presets: Sequence[Preset]) -> None:
        self._all = tuple(Slot(n, preset) for n, preset in enumerate(presets, 1))
        self._at = 0

    def __iter__(self) -> Iterator[Slot]:
        return iter(self._all)

    def __len__(self) -> int:
        return len(self._all)

    @property
    def chosen(self) -> Slot:
        """The one that keys are meant for."""
        return self._all[self._at]

    @property
    def following(self) -> Slot:
        """The one after the chosen; after the last the first."""
        return self._all[(self._at + 1) % len(self._all)]

    @property
    def several(self) -> bool:
        """Whether there is anything to choose from."""
        return len(self._all) > 1

    @property
    def going(self) -> bool:
        """Whether a run goes on anywhere, as far as they have told."""
        return any(slot.going for slot in self)

    def choose(self, slot: Slot) -> None:
        """From now on keys are meant for this one."""
        self._at = self._all.index(slot)

    def end(self, why: str) -> bool:
        """Everything off, in every slot; whether anything was to be ended."""
        alive = [slot.running for slot in self if slot.running is not None and slot.running.alive]
        for running in alive:
            running.end(why)
        return bool(alive)

    def with_serial(self, serial: str) -> Slot | None:
        """Where a run goes on of the unit with this serial number."""
        wanted = serial.strip().casefold()
        return next((s for s in self if wanted and s.going and s.serial.strip().casefold() == wanted), None)

    @property
    def others(self) -> tuple[Slot, ...]:
        """All but the chosen one."""
        return tuple(slot for slot in self if slot is not self.chosen)

    def shown_beside(self, room: int) -> tuple[Slot, ...]:
        """So many of them as there is room for, side by side, the chosen one among them."""
        first = max(0, min(self._at - room // 2, len(self._all) - room))
        return self._all[first : first + max(1, room)]
