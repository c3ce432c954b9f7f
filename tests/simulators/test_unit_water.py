"""Restrictions, the column in the coil, the chamber's depth."""

from math import acos, inf, pi, sqrt

import pytest
from hypothesis import given
from hypothesis import strategies as st

from simulators.unit.making import MODELS
from simulators.unit.water import (
    DENSITY,
    GRAVITY,
    Cylinder,
    Fill,
    Path,
    Shape,
    Stores,
    flow,
    kv_in_series,
    kv_of_hole,
    laminar,
    square_term,
)

MODEL = MODELS["demo-18-dc"](0)


def test_kv_is_cubic_metres_an_hour_at_one_bar() -> None:
    """Definition of the flow coefficient (IEC 60534-1): Kv 1 passes 1 m3/h of water at 1 bar."""
    assert flow(1e5, 0.0, square_term(1.0)) * 3600 == pytest.approx(1.0)


def test_restrictions_in_series_add_their_inverse_squares() -> None:
    assert square_term(0.3, 0.4) == pytest.approx(square_term(kv_in_series(0.3, 0.4)))
    assert kv_in_series(0.3, inf) == 0.3
    assert kv_in_series(inf, 0.3) == 0.3


def test_laminar_resistance_of_a_small_tube() -> None:
    """128 mu L / (pi d^4) with 1 mPa s: 0.6 m of 6 mm bore and 4 mL/s make 75 Pa."""
    assert laminar(0.6, 0.006) * 4e-6 == pytest.approx(75.5, abs=0.5)


@given(st.floats(-1e4, 1e4), st.floats(1e5, 1e9), st.floats(0.0, 1e15))
def test_flow_gives_the_drop_back(drop: float, linear: float, square: float) -> None:
    q = flow(drop, linear, square)
    assert linear * q + square * q * abs(q) == pytest.approx(drop, rel=1e-6, abs=1e-6)


@given(st.floats(1e-7, 8e-3))
def test_depth_of_the_chamber_gives_its_volume_back(volume: float) -> None:
    shape = Cylinder(0.245, 0.385)
    r, h = 0.1225, shape.depth(volume)
    area = r * r * acos((r - h) / r) - (r - h) * sqrt(2 * r * h - h * h)
    assert area * 0.385 == pytest.approx(volume, rel=2e-3, abs=5e-7)


def test_probe_depth_belongs_to_the_fill_volume() -> None:
    assert 0.0135 < MODEL.shape.probe_depth < 0.0147


def fill_of(path: Path, seconds: float, depth: float = 0.09, dt: float = 0.1) -> tuple[Stores, list[float]]:
    """Let water run into an empty chamber with its depth left at 0 and no back-pressure."""
    shape = Shape(0.045, 0.003, 0.040, 1.6e-4, 0.0)
    stores = Stores(depth * DENSITY * 0.045, (depth + 0.040) * DENSITY * 1.6e-4)
    fill = Fill(shape, path)
    flows = []
    for _ in range(round(seconds / dt)):
        fill.step(stores, dt, 1.0, 0.0, 0.0)
        flows.append(fill.q)
    return stores, flows


HEALTHY = Path(weep=0.22, coil=0.5, filter=0.6, valve=0.28, tube=0.6, linear=1.9e7)


def test_steady_flow_is_that_of_all_restrictions_in_series() -> None:
    stores, flows = fill_of(HEALTHY, 60.0)
    head = stores.reservoir / (DENSITY * 0.045) + 0.040
    together = flow(DENSITY * GRAVITY * head, 1.9e7, square_term(0.22, 0.5, 0.6, 0.28, 0.6))
    assert flows[-1] == pytest.approx(together, rel=5e-3)
    assert flows[0] > 1.2 * flows[-1]  # the column in the coil runs first


def test_step_length_hardly_matters() -> None:
    coarse, _ = fill_of(HEALTHY, 60.0, dt=0.1)
    fine, _ = fill_of(HEALTHY, 60.0, dt=0.01)
    assert coarse.chamber == pytest.approx(fine.chamber, rel=1e-3)


@pytest.mark.parametrize(("open_part", "slower"), [(0.5, 1.09), (0.25, 1.40), (0.10, 2.7)])
def test_a_filter_must_be_nearly_shut_before_it_shows(open_part: float, slower: float) -> None:
    """By hand: square terms 42.98 healthy, 2.78/f^2 - 2.78 more for a filter open by f; no laminar part."""
    hand = sqrt(1 + 2.78 * (1 / open_part**2 - 1) / 42.98)
    assert hand == pytest.approx(slower, rel=0.05)
    _, healthy = fill_of(HEALTHY, 40.0)
    _, choked = fill_of(Path(0.22, 0.5, 0.6 * open_part, 0.28, 0.6, 1.9e7), 40.0)
    assert healthy[-1] / choked[-1] == pytest.approx(hand, rel=0.06)


def test_blocked_weep_hole_lets_the_column_run_out_and_no_more() -> None:
    stores, flows = fill_of(Path(0.0, 0.5, 0.6, 0.28, 0.6, 1.9e7), 60.0)
    assert stores.chamber == pytest.approx(0.130 * 1.6e-4 * DENSITY, rel=1e-6)
    assert flows[-1] == 0.0


def test_reservoir_stops_at_its_outlet() -> None:
    stores, _ = fill_of(HEALTHY, 600.0, depth=0.010)
    assert stores.reservoir == pytest.approx(0.003 * DENSITY * 0.045, rel=1e-6)


def test_pressure_above_the_head_pushes_water_back() -> None:
    shape = Shape(0.045, 0.003, 0.040, 1.6e-4, 0.0)
    stores = Stores(0.09 * DENSITY * 0.045, 0.130 * DENSITY * 1.6e-4, chamber=0.2)
    fill = Fill(shape, HEALTHY)
    for _ in range(200):
        fill.step(stores, 0.1, 1.0, 0.0, 3000.0)
    assert fill.q < 0.0
    assert stores.chamber < 0.2
    assert stores.reservoir > 0.09 * DENSITY * 0.045
    for _ in range(20000):
        fill.step(stores, 0.1, 1.0, 0.0, 3000.0)
    assert stores.chamber == 0.0


def test_hole() -> None:
    """0.62 * area * sqrt(2e5/rho): by hand for 2 mm."""
    assert kv_of_hole(0.002) == pytest.approx(0.62 * pi * 1e-6 * sqrt(2e5 / 998.2) * 3600)
