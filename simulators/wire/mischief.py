"""Which faults of the wire are in, on what, and for how many exchanges more."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from simulators.names import NotPossible, UnknownName
from simulators.wire import Question
from simulators.wire.fault import Fault, Kind, Site, check_parameter


@dataclass(eq=False)
class Active:
    """A fault that is in. `left` is None until it is taken out; `hits` counts the exchanges that it bent."""

    kind: Kind
    site: Site
    fault: Fault
    left: int | None
    only: str | None
    hits: int = 0

    def concerns(self, question: Question, link: str) -> bool:
        """It has something to do with such a question on this link."""
        mine = link == self.site.link if self.fault.whole_link else question.instrument == self.site.name
        asked = self.only is None or any(_named(self.only, word) for word in question.words)
        return mine and asked and self.left != 0 and self.fault.concerns(question)


class Mischief:
    """All faults of the wire at one station."""

    def __init__(self, kinds: Mapping[str, Kind], sites: Mapping[str, Site]) -> None:
        self.active: list[Active] = []
        self._kinds, self._sites = kinds, sites

    def put_in(
        self, kind: str, on: str, times: int | None = None, only: str | int | None = None, **parameters: Any
    ) -> Active:
        """Let `on` (an instrument's name) misbehave from now on, for the next `times` exchanges if given.

        `only` is a Modbus function code, or a SCPI header as it is sent (short or long, or its first nodes).
        Raises UnknownName for a kind or an instrument, NotPossible for a kind that this instrument or its wire
        cannot have, ValueError for wrong parameters.
        """
        if kind not in self._kinds:
            raise UnknownName("fault of the wire", kind, self._kinds)
        if on not in self._sites:
            raise UnknownName("instrument", on, self._sites)
        found, site = self._kinds[kind], self._sites[on]
        if site.sort not in found.sorts or site.wire not in found.wires:
            raise NotPossible(f"{kind} cannot be set on {on}: it is for {_places(found)}")
        _check(found, times, parameters)
        fault = found.make(**parameters)
        if times is not None and not fault.counted:
            raise ValueError(f"{kind} has no exchanges to count; it stays until it is taken out")
        fault.begin(site)
        active = Active(found, site, fault, times, None if only is None else str(only).upper().lstrip(":"))
        self.active.append(active)
        return active

    def take_out(self, kind: str | None = None, on: str | None = None) -> int:
        """Take out all faults, or those of one kind, or on one instrument; returns how many."""
        if kind is not None and kind not in self._kinds:
            raise UnknownName("fault of the wire", kind, self._kinds)
        if on is not None and on not in self._sites:
            raise UnknownName("instrument", on, self._sites)
        out = [a for a in self.active if kind in (None, a.kind.name) and on in (None, a.site.name)]
        for active in out:
            self._end(active)
        return len(out)

    def against(self, question: Question, link: str) -> list[Fault]:
        """The faults that bend this exchange, in the order in which they do, each counted."""
        hit = sorted((active for active in self.active if active.concerns(question, link)), key=lambda a: a.fault.stage)
        for active in hit:
            active.hits += 1
            if active.left is not None:
                active.left -= 1
        return [active.fault for active in hit]

    def settle(self) -> None:
        """After an exchange: what has bent its last one is taken out."""
        for active in [active for active in self.active if active.left == 0 or active.fault.spent]:
            self._end(active)

    def _end(self, active: Active) -> None:
        self.active.remove(active)
        active.fault.end(active.site)


def _check(kind: Kind, times: int | None, parameters: Mapping[str, Any]) -> None:
    if times is not None and (isinstance(times, bool) or not isinstance(times, int) or times < 1):
        raise ValueError(f"times: expected a whole number of exchanges from 1, found {times!r}")
    for name, value in parameters.items():
        if name not in kind.takes:
            raise UnknownName(f"parameter of {kind.name}", name, kind.takes)
        check_parameter(name, value)


def _places(kind: Kind) -> str:
    wires = "" if len(kind.wires) > 1 else f" on a {next(iter(kind.wires))} wire"
    return ", ".join(sorted(kind.sorts)) + wires


def _named(only: str, word: str) -> bool:
    return word in (only, only + "?") or word.startswith(only + ":")
