"""What the command line has said already: of a bench, and of several side by side."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from rig.errors import InputError
from rig.plan.visible import visible

MOST_SEED = 2**63 - 1


@dataclass(frozen=True)
class Preset:
    """What is offered first where a run begins."""

    procedure: str = "incoming-inspection"
    bench: str = "simulated"
    unit: str = "demo-18-dc"
    serial: str = ""
    by: str = ""
    speed: str = "10"
    person: str = "auto"
    seed: int = 0
    faults: tuple[tuple[str, float], ...] = ()
    lies: tuple[tuple[str, str], ...] = ()  # faults of the wire: kind, instrument


def side_by_side(preset: Preset, benches: Sequence[str]) -> tuple[Preset, ...]:
    """One for each bench. The serial number is that of the first one's unit; each has the seed after that of the one
    before. Raises InputError for a bench that cannot be read, and for equipment that two of them would share."""
    if len(benches) > 1:
        _refuse_shared(benches)
    return tuple(
        replace(preset, bench=bench, serial=preset.serial if n == 0 else "", seed=(preset.seed + n) % (MOST_SEED + 1))
        for n, bench in enumerate(benches)
    )


def _refuse_shared(benches: Sequence[str]) -> None:
    """A station of one's own is made anew for every run; any other equipment serves one unit at a time."""
    from rig.bench.state import key_of
    from rig.plan.load import load_named
    from rig.plan.wiring import Bench

    holders: dict[str, str] = {}
    for bench in benches:
        wiring = load_named("bench", bench).model
        assert isinstance(wiring, Bench)
        found: dict[str, str] = {}  # two links of one bench may lead to one place
        for name, link in sorted(wiring.links.items()) if wiring.station is None else ():
            key = key_of(link)
            if key in holders:
                what = f"link {name} ({visible(link.address, 60)}) is taken by {visible(holders[key], 60)} already"
                raise InputError(what, "Give every bench once, each with equipment of its own.", visible(bench, 60))
            found[key] = bench
        holders |= found
