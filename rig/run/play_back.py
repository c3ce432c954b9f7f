"""A wire log played back: the same run on the recorded answers, and whether it comes to the same.

The bench of the log is put together with every link led to the recording, so nothing of the real one is touched. Time
goes as it went then, without waiting for it.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from rig.bench.opening import OpenBench
from rig.errors import InputError
from rig.events import Event, StepEnded
from rig.plan.for_units import for_unit
from rig.plan.load import Loaded, load_tree
from rig.plan.plan import Plan
from rig.plan.procedure import Procedure
from rig.plan.profile import UnitProfile
from rig.plan.source import read_bytes
from rig.plan.spoken import spoken
from rig.plan.visible import visible
from rig.plan.wiring import Bench, Link
from rig.run.journal import ListJournal
from rig.run.run_in_log import PERSON, outcome
from rig.run.session import RunRequest, run_procedure

STATION = "replay"
NOBODY = {"visa": "TCPIP::127.0.0.1::1::SOCKET"}  # where a link leads that the log does not have


@dataclass(frozen=True)
class Played:
    """``then`` and ``now``: what each step came to, in order; the verdicts of the runs; what was asked otherwise."""

    then: tuple[Mapping[str, Any], ...]
    now: tuple[Mapping[str, Any], ...]
    verdict_then: str
    verdict_now: str
    otherwise: tuple[str, ...]

    @property
    def same(self) -> bool:
        """Every step has its verdict again, and the run its own. Readings may differ by what a clock may."""
        verdicts = [[(s["step"], s["attempt"], s["verdict"]) for s in steps] for steps in (self.then, self.now)]
        return verdicts[0] == verdicts[1] and self.verdict_then == self.verdict_now


def play_back(path: str) -> Played:
    """Run a wire log's run again. Raises InputError for a log that cannot be read, or has no run in it."""
    told, links = _told(path)
    if "run" not in told or "end" not in told:
        what = "has no whole run in it" if "run" in told else "has the wire alone in it, no run"
        raise InputError(f"this wire log {what}", "Play its bytes with: python -m simulators.wire.replay FILE", path)
    head, end = told["run"][0], told["end"][0]
    try:
        steps, verdict = tuple(_step(said) for said in told.get("step", [])), str(end["verdict"])
        plan, on_wire = _plan(head, links)
        answers = {a["step"]: a["answer"] for a in told.get("answer", []) if on_wire and not _simulated(a["by"])}
        by, by_hand = str(head["by"]), tuple(str(step) for step in head["by_hand"])
        wall = datetime.fromisoformat(head["utc"])  # papers are as old as they were then
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise InputError("what this wire log says of its run is not whole", "", path) from error
    request = RunRequest(
        run="played back", by=by, by_hand=by_hand, answers=answers, played=Path(path), wall=lambda: wall
    )
    stations: list[OpenBench] = []
    now: list[dict[str, Any]] = []

    def listen(event: Event) -> None:
        if isinstance(event, StepEnded):
            now.append(outcome(event))

    record = run_procedure(request, plan, [listen], lambda _: ListJournal(), stations.append)
    station: Any = stations[0].station
    otherwise = (*station.deviations(), *station.missed())
    return Played(steps, tuple(now), verdict, str(record.ended.verdict), otherwise)


def _step(said: Mapping[str, Any]) -> dict[str, Any]:
    return {key: said[key] for key in ("step", "attempt", "verdict", "reading", "reason")}


def _simulated(by: object) -> bool:
    return by == "simulated person"


def _told(path: str) -> tuple[dict[str, list[Any]], set[str]]:
    """The lines about the run, by what they are about; and the links that the log has."""
    told: dict[str, list[Any]] = {}
    links: set[str] = set()
    number = 0
    try:
        with Path(path).open(encoding="utf-8") as lines:
            for line in lines:
                number += 1
                if line.strip():
                    found = json.loads(line)
                    told.setdefault(str(found.get("about", "")), []).append(found)
                    if "link" in found:
                        links.add(str(found["link"]))
    except OSError as error:
        raise InputError(f"cannot be read: {visible(error.strerror or error)}", "", path) from None
    except (ValueError, AttributeError, RecursionError):
        raise InputError(f"line {number or 1} of the wire log is not one of its lines", "It is JSON, an object a line.",
                         path) from None  # fmt: skip
    return told, links


def _plan(head: Mapping[str, Any], links: set[str]) -> tuple[Plan, bool]:
    """The plan of the run, its bench led to the recording; and whether a person stood on a wire then."""
    files = {kind: _loaded(f["name"], f["text"]) for kind, f in head["files"].items()}
    procedure, profile, bench = files["procedure"].model, files["unit-profile"].model, files["bench"].model
    if not (isinstance(procedure, Procedure) and isinstance(profile, UnitProfile) and isinstance(bench, Bench)):
        raise TypeError("a file is of another kind than its place says")
    unit = None if procedure.needs_unit == "no" else profile
    # Not proved again: nothing can be energized here, and what is proved has grown since.
    plan = Plan(spoken(for_unit(procedure, unit), unit), unit, bench)
    on_wire = any(link.protocol == PERSON for link in bench.links.values())
    led = {name: _led(name, link, links) for name, link in bench.links.items()}
    if not on_wire and PERSON in links:
        led[PERSON] = Link(protocol="person", address="station")
    return replace(plan, bench=bench.model_copy(update={"station": STATION, "links": led})), on_wire


def _loaded(name: str, text: str) -> Loaded:
    return load_tree(read_bytes(text.encode(), visible(name, 1000)), Path(name))


def _led(name: str, link: Link, links: set[str]) -> Link:
    if link.protocol == "hand":
        return link
    if name not in links:
        return link.model_copy(update={"address": NOBODY.get(link.protocol, "127.0.0.1:1")})
    # a pseudo-terminal knows no parity: a second stop bit takes its place
    serial = {"parity": "none", "stop_bits": 2} if link.protocol == "modbus-rtu" else {}
    return link.model_copy(update={"address": "station", **serial})
