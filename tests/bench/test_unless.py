"""What lifts an interlock: only while the output is on, only by a state that was read, never in place of the rest."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from rig.bench.conditions import Sight, condition_of
from rig.plan.load import load_named
from rig.plan.wiring import Bench


def heater_water(states: dict[str, str], age: float = 0.0) -> Any:
    """The bundled bench's lock on the heater, with inputs that were read ``age`` seconds ago."""
    bench = load_named("bench", "simulated").model
    assert isinstance(bench, Bench)

    def last_inputs(module: str) -> Any:
        read = {spec.channel: states[name] == spec.closed for name, spec in bench.inputs.items() if name in states}
        return SimpleNamespace(value=read, had=100.0 - age) if read else None

    readers = SimpleNamespace(last_inputs=last_inputs, watchers=[])
    clock = SimpleNamespace(now=lambda: 100.0)
    sight = Sight(bench, readers, SimpleNamespace(on=[]), clock, ())  # type: ignore[arg-type]
    return condition_of(bench.interlocks["heater-water"], sight)


def test_water_over_the_heater_lets_it_go_on_and_nothing_else_does() -> None:
    wet = {"level-relay": "wet", "heat-demand": "on", "unit-door": "shut"}
    assert heater_water(wet).broken("heater-enable", rising=False) is None
    for lifted in ({"heat-demand": "off", "unit-door": "shut"}, {"heat-demand": "on", "unit-door": "open"}):
        broken = heater_water({"level-relay": "dry", **lifted}).broken("heater-enable", rising=False)
        assert broken == "level-relay is dry, must be wet"


@pytest.mark.parametrize(
    ("demand", "door", "holds"),
    [("off", "shut", True), ("on", "open", True), ("off", "open", True), ("on", "shut", False)],
)
def test_a_dry_heater_that_is_on_is_borne_without_demand_or_in_the_dry_phase(
    demand: str, door: str, holds: bool
) -> None:
    lock = heater_water({"level-relay": "dry", "heat-demand": demand, "unit-door": door})
    assert (lock.broken("heater-enable", rising=True) is None) is holds


def test_a_state_that_was_not_read_lately_lifts_nothing() -> None:
    old = heater_water({"level-relay": "dry", "heat-demand": "off", "unit-door": "open"}, age=5.0)
    assert old.broken("heater-enable", rising=True) is not None
    assert heater_water({}).broken("heater-enable", rising=True) is not None
