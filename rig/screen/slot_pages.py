"""What every slot has of its own on the screen: what is typed there stays with it, whichever slot is looked at."""

from __future__ import annotations

from rig.screen.askbox import AskBox
from rig.screen.begin_page import BeginPage
from rig.screen.causes_page import CausesPage
from rig.screen.page import Page
from rig.screen.simulator_page import SimulatorPage
from rig.screen.slot import Slot
from rig.screen.words import Words


class SlotPages:
    """The pages of one slot, and the box of its questions."""

    def __init__(self, slot: Slot, words: Words, several: bool) -> None:
        head = words("slot.box", n=slot.number, bench=slot.bench) if several else ""
        self.begin, self.causes = BeginPage(slot, fixed_bench=several), CausesPage(slot, words)
        self.simulator = SimulatorPage(slot, words)
        self.ask_box = AskBox(words, slot.answer, head, id=f"ask-{slot.number}")

    @property
    def all(self) -> tuple[Page, ...]:
        """The pages."""
        return self.begin, self.causes, self.simulator
