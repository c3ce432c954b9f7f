"""The control channel: other programs put faults in while a station runs, and ask it what it sees.

One JSON object a line in, one out. Out: {"ok": true, ...}, or {"error": "..."} when nothing was done.

    {"fault": NAME, "severity": 0..1}                       a fault of the unit in, changed, or out (0)
    {"fault": "NAME~", "severity": 0..1, "duty": 0..1,      one that comes and goes: there for "duty" of the time,
     "period": SECONDS}                                     every "period" s; both may be left out
    {"wire": KIND, "on": INSTRUMENT, "times": N or null,    a fault of the wire in
     "only": CODE or HEADER or null, PARAMETER: VALUE ...}
    {"clear": {"wire": KIND, "on": INSTRUMENT}}             faults of the wire out; either may be left out
    {"close": LISTENER}, {"open": LISTENER}                 pull a cable, plug it in again (TCP only)
    {"state": true}                                         what the station sees; see `Station.state`
"""

from typing import Any, Protocol

from simulators.wire import Answer, Question
from simulators.wire.frames import LineFrames
from simulators.wire.json_lines import read_object, write_object


class Controlled(Protocol):
    """What the channel needs of a station. Each raises ValueError (unknown names among them) and does nothing."""

    def set_fault(self, name: str, severity: float, duty: float = ..., period: float = ...) -> None: ...
    def misbehave(
        self, kind: str, on: str, times: int | None = None, only: str | int | None = None, **parameters: Any
    ) -> Any: ...
    def behave(self, kind: str | None = None, on: str | None = None) -> int: ...
    def shut_listener(self, name: str) -> None: ...
    def open_listener(self, name: str) -> None: ...
    def state(self) -> dict[str, Any]: ...


class Control:
    """The far end of the "control" link."""

    def __init__(self, station: Controlled) -> None:
        self.frames = LineFrames()
        self._station = station

    def question(self, request: bytes) -> Question:
        """Everything is asked of the station."""
        return Question("station", "control", ("ask",))

    def serve(self, request: bytes, now: float) -> Answer:
        """Do it at once, and say so."""
        try:
            said = {"ok": True, **self._do(read_object(request))}
        except (ValueError, TypeError, KeyError, OSError) as error:
            said = {"error": str(error)}
        return Answer(write_object(said))

    def _do(self, found: dict[str, Any]) -> dict[str, Any]:
        verbs = [verb for verb in ("fault", "wire", "clear", "close", "open", "state") if verb in found]
        if verbs == ["wire"]:
            named = {name: value for name, value in found.items() if name not in ("wire", "on", "times", "only")}
            self._station.misbehave(
                _text(found, "wire"), _text(found, "on"), found.get("times"), found.get("only"), **named
            )
            return {}
        if len(verbs) != 1:
            raise ValueError('expected exactly one of "fault", "wire", "clear", "close", "open", "state"')
        match verbs[0]:
            case "fault":
                _only(found, "fault", "severity", "duty", "period")
                times = {word: _number(found, word) for word in ("duty", "period") if word in found}
                self._station.set_fault(_text(found, "fault"), _severity(found.get("severity", 1.0)), **times)
            case "clear":
                _only(found, "clear")
                what = found["clear"]
                if not isinstance(what, dict):
                    raise ValueError('"clear" is an object, such as {"on": "relays-1"}; {} is all')
                _only(what, "wire", "on")
                return {"cleared": self._station.behave(what.get("wire"), what.get("on"))}
            case "close":
                _only(found, "close")
                self._station.shut_listener(_text(found, "close"))
            case "open":
                _only(found, "open")
                self._station.open_listener(_text(found, "open"))
            case "state":
                _only(found, "state")
                return {"state": self._station.state()}
        return {}


def _only(found: dict[str, Any], *known: str) -> None:
    for name in found:
        if name not in known:
            raise ValueError(f"unknown key {name!r}; known here: {', '.join(known)}")


def _text(found: dict[str, Any], name: str) -> str:
    value = found.get(name)
    if not isinstance(value, str):
        raise ValueError(f'"{name}" is a string')
    return value


def _number(found: dict[str, Any], name: str) -> float:
    value = found[name]
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ValueError(f'"{name}" is a number, not {value!r}')
    return float(value)


def _severity(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0.0 <= value <= 1.0:
        raise ValueError(f'"severity" is a number from 0 to 1, not {value!r}')
    return float(value)
