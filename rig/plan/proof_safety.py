"""Rules about what a bench file must have before mains, heater or a bench feed can be on it at all.

Which interlocks the trade demands is common practice, no source, unless a rule says otherwise. What a person switches
is told by its cautions and held by the wiring: of that, the program can only ask that the file names the stop chain.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from typing import TypeVar

from rig.errors import Fault
from rig.plan.energy import OHMS, WATER_INPUTS
from rig.plan.safety import InputHolds, OutputHolds, QuantityHolds, QuantityRises
from rig.plan.view import BenchView
from rig.plan.wiring import Bench

T = TypeVar("T")
STOPS = ("estop", "emergency-stop", "stop-chain")
STOPPED_BY = ("mains", "heater", "bench feed")  # what an emergency stop must take away


def _energizing(bench: Bench, *kinds: str) -> list[str]:
    return [n for n, o in bench.outputs.items() if o.energizes in kinds or (not kinds and o.energizes != "nothing")]


def everything_falls_in_order(view: BenchView) -> Iterator[Fault]:
    """The order of turning off names every output that energizes something, mains and heater before the feeds."""
    bench = view.bench
    missing = [name for name in _energizing(bench) if name not in bench.all_off_order]
    if missing:
        where = ("all-off-order",) if bench.all_off_order else ()
        message = f"expected every output that energizes something in all-off-order; missing: {', '.join(missing)}"
        yield view.fault(where, message)
    order = list(bench.all_off_order)
    feeds = [order.index(name) for name in _energizing(bench, "bench feed") if name in order]
    for name in _energizing(bench, "mains", "heater"):
        if name in order and feeds and order.index(name) > min(feeds):
            message = f"{name} is turned off before every bench feed; expected it before {order[min(feeds)]}"
            yield view.fault(("all-off-order", order.index(name)), message)


def emergency_stop_is_seen(view: BenchView) -> Iterator[Fault]:
    """Whatever can hurt is off when the emergency stop is pressed (IEC 60204-1 9.2.3.4.2, from memory), and the program
    knows it."""
    bench = view.bench
    for name in _energizing(bench, *STOPPED_BY):
        if bench.by_hand(bench.outputs[name].instrument):
            if not any(wired in STOPS for wired in bench.wiring_only):
                message = f"a person switches {name}: expected {STOPS[2]} in wiring-only"
                yield view.fault(("outputs", name), message)
            continue
        if not any(m.input in STOPS and _closed(bench, m) for m in _must(bench, name, InputHolds)):
            found = next((s for s in STOPS if s in bench.inputs), None)
            known = f"; for example must: {{input: {found}, is: {bench.inputs[found].closed}}}" if found else ""
            message = f"{name} needs an interlock on the emergency stop: an input called {' or '.join(STOPS)}, closed"
            yield view.fault(("outputs", name), message + known)


def heater_has_water_and_is_watched(view: BenchView) -> Iterator[Fault]:
    """A heater is on only with water proved over it, below a highest temperature or pressure, and must warm."""
    bench = view.bench
    for name in _energizing(bench, "heater"):
        if bench.by_hand(bench.outputs[name].instrument):
            continue
        here = ("outputs", name)
        if not any(m.input in WATER_INPUTS and _closed(bench, m) for m in _must(bench, name, InputHolds)):
            inputs = " or ".join(WATER_INPUTS)
            yield view.fault(here, f"{name} needs an interlock on water: an input called {inputs}, closed")
        if not any(m.at_most is not None for m in _must(bench, name, QuantityHolds)):
            message = f"{name} needs an interlock on a quantity at-most: temperature or pressure of the chamber"
            yield view.fault(here, message)
        if not _must(bench, name, QuantityRises):
            yield view.fault(here, f"{name} needs a watch: an interlock on a quantity that rises within a time")


def feeds_and_mains_exclude_each_other(view: BenchView) -> Iterator[Fault]:
    """The bench feed and the unit's own board never drive together: each is held off by the other."""
    bench = view.bench
    mains = _energizing(bench, "mains")
    for feed in _energizing(bench, "bench feed"):
        yield from _held_off(view, feed, mains)
    for name in mains:
        yield from _held_off(view, name, _energizing(bench, "bench feed"))


def ohms_bus_is_excluded(view: BenchView) -> Iterator[Fault]:
    """What leads the meter to ohms is held off by everything that energizes, and the other way round."""
    bench = view.bench
    buses = {p.bus for p in bench.test_points.values() if p.bus is not None and {*OHMS} & {*p.measures}}
    for bus in [name for name in bench.outputs if name in buses]:
        live = _energizing(bench, "mains", "heater", "bench feed")
        yield from _held_off(view, bus, live)
        for name in live:
            yield from _held_off(view, name, [bus])


def _held_off(view: BenchView, output: str, others: Collection[str]) -> Iterator[Fault]:
    """A fault where an output is not held off by others. One that may only be on while a third is on is held off by
    whatever holds that off."""
    held = _held_off_by(view.bench, output)
    missing = [name for name in others if name not in held and not held & _needs_on(view.bench, name)]
    if missing:
        example = f"for: [{output}], must: {{output: {missing[0]}, is: off}}"
        message = f"{output} may not be on together with {', '.join(missing)}: expected an interlock {example}"
        yield view.fault(("outputs", output), message)


def _held_off_by(bench: Bench, output: str) -> set[str]:
    chain = [output, *_needs_on(bench, output)]
    return {m.output for name in chain for m in _must(bench, name, OutputHolds) if m.is_ == "off"}


def _needs_on(bench: Bench, output: str) -> set[str]:
    return {m.output for m in _must(bench, output, OutputHolds) if m.is_ == "on" and m.output in bench.outputs}


def _must(bench: Bench, output: str, kind: type[T]) -> list[T]:
    return [lock.must for lock in bench.interlocks.values() if output in lock.for_ and isinstance(lock.must, kind)]


def _closed(bench: Bench, must: InputHolds) -> bool:
    spec = bench.inputs.get(must.input)
    return spec is not None and must.is_ == spec.closed


RULES = (
    everything_falls_in_order,
    emergency_stop_is_seen,
    heater_has_water_and_is_watched,
    feeds_and_mains_exclude_each_other,
    ohms_bus_is_excluded,
)
