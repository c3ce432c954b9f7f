"""Small tables of causes for tests, written as a shop would."""

from __future__ import annotations

from typing import Any

from rig.diagnosis.unit_table import UnitTable, for_unit
from rig.plan.causes import CauseTable
from rig.plan.load import load_named
from rig.plan.profile import UnitProfile


def made(
    causes: dict[str, float],
    observations: dict[str, dict[str, Any]],
    *,
    none: float = 0.0,
    two: float = 0.0,
    remedies: dict[str, str] | None = None,
    costs: dict[str, dict[str, Any]] | None = None,
    set_ups: dict[str, dict[str, Any]] | None = None,
) -> UnitTable:
    """A table with these starting chances; an observation has ``healthy`` and ``given`` rows, and more keys."""
    plain = {
        "start": lambda p: {"field": p, "bench": p},
        "observation": {"title": "o", "question": "o?", "who": "technician", "safety": "dead", "hands-on": 1.0},
    }
    wanted = remedies or {name: f"renew-{name}" for name in causes}
    text = {
        "complaint": "small",
        "title": "small",
        "revision": "1",
        "source": "a test",
        "numbers": "estimate",
        "counts-as": 10,
        "starts-count-as": 20,
        "none-of-these": plain["start"](none),  # type: ignore[operator]
        "two-causes": plain["start"](two),  # type: ignore[operator]
        "risk-minutes": {"board drives": 12},
        "cautions": ["Pull the plug."],
        "remedies": {r: {"title": r, "minutes": 10, **(costs or {}).get(r, {})} for r in set(wanted.values())},
        "causes": {
            n: {"title": n, "start": plain["start"](p), "remedy": wanted[n]}  # type: ignore[operator]
            for n, p in causes.items()
        },
        "set-ups": set_ups or {},
        "observations": {n: _observation(o, plain["observation"]) for n, o in observations.items()},
    }
    return for_unit(CauseTable.model_validate(text), None, "bench")


def _observation(told: dict[str, Any], plain: Any) -> dict[str, Any]:
    rows = [told.get("healthy", {}), *told["given"].values()]
    outcomes = {o for row in rows for o in row} | {"high"}
    tells = {o: f"it is {o}" for o in ("normal", "low", "high", "none", "intermittent") if o in outcomes | {"normal"}}
    return {**plain, "tells": tells, **told}


def bundled_table(complaint: str, place: str = "bench", unit: str | None = "demo-18-dc") -> UnitTable:
    """One of the tables that come with the rig, for a unit of the demonstration."""
    model = load_named("complaint", complaint).model
    profile = load_named("unit-profile", unit).model if unit is not None else None
    assert isinstance(model, CauseTable)
    assert profile is None or isinstance(profile, UnitProfile)
    return for_unit(model, profile, place)
