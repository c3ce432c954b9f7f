"""What every page of the screen has: a name, and what can be done on it now."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, TypeVar

from rich.text import Text
from textual.containers import Vertical
from textual.widgets import Static

from rig.cli.failing import failure_of

if TYPE_CHECKING:
    from rig.screen.app import BenchApp

T = TypeVar("T")


@dataclass(frozen=True)
class Act:
    """Something that a key does now."""

    key: str
    name: str
    do: Callable[[], object]


class Lines(Static):
    """Lines of text; drawn again only when they have changed."""

    DEFAULT_CSS = """
    Lines { text-wrap: nowrap; text-overflow: ellipsis; }
    """
    _shown: Text | None = None

    def show(self, lines: Sequence[Text]) -> None:
        """These lines, from now on."""
        whole = Text("\n").join(lines)
        whole.no_wrap = True
        if self._shown is None or whole.markup != self._shown.markup:
            self._shown = whole
            self.update(whole)


class Page(Vertical):
    """One page. ``draw`` is called several times a second while it is seen."""

    @property
    def rig(self) -> BenchApp:
        """The app, as what it is."""
        from rig.screen.app import BenchApp

        assert isinstance(self.app, BenchApp)
        return self.app

    def fetch(self, work: Callable[[], T], show: Callable[[T], object]) -> None:
        """Have something read or done in a thread, for keys must not wait for it; then show what came of it."""

        def in_thread() -> None:
            try:
                found = work()
            except Exception as fault:
                with suppress(RuntimeError):  # the screen is gone meanwhile
                    self.app.call_from_thread(self._failed, fault)
                return
            with suppress(RuntimeError):
                self.app.call_from_thread(show, found)

        self.run_worker(in_thread, thread=True, exit_on_error=False)

    def _failed(self, fault: Exception) -> None:
        self.rig.say(" ".join(failure_of(fault).lines))
        self.rig.draw()

    def acts(self) -> list[Act]:
        """What can be done here now."""
        return []

    def draw(self) -> None:
        """Show what there is now."""

    def enter(self) -> None:
        """The page was turned to."""

    def leaf(self, pages: int) -> None:
        """Back by so many screenfuls, or forward."""
