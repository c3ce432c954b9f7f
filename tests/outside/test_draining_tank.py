"""The simulator's water model run on draining tanks that others have published.

Sources of the values: (1) a practice page for engineering examinations, engineeringprep.com, problem 435;
(2) a stored page of a draining-time calculator; (3) parameters of a Wolfram demonstration on draining tanks,
with its formula t = 2 A (sqrt h1 - sqrt h2) / (Cd a sqrt(2 g)). The last cases are that formula on a tank of
the rig's own size. Pages differ in their g; draining time goes with 1/sqrt(g), so the model's times are
carried over to the page's g. Tolerance 0.04 %: the model's explicit steps, 20000 of them here, cost 0.03 %.
"""

from math import inf, pi, sqrt

import pytest

from simulators.unit.water import DENSITY, GRAVITY, Fill, Path, Shape, Stores, kv_of_hole

FOOT = 0.3048
INCH = 0.0254


def drain(area: float, hole: float, discharge: float, high: float, low: float, dt: float) -> float:
    """Seconds in which the model's column, as the tank, falls from `high` to `low` m through `hole` m2."""
    shape = Shape(reservoir_area=1.0, outlet=0.0, fall=0.0, column_area=area, probe_depth=0.0)
    kv = kv_of_hole(sqrt(4 * hole / pi), discharge)
    fill = Fill(shape, Path(weep=0.0, coil=inf, filter=inf, valve=kv, tube=inf, linear=0.0))
    stores = Stores(reservoir=0.0, coil=area * high * DENSITY)
    seconds, end = 0.0, area * low * DENSITY
    while stores.coil > end:
        before = stores.coil
        fill.step(stores, dt, 1.0, 0.0, 0.0)
        part = (before - end) / (before - stores.coil) if stores.coil < end else 1.0
        seconds += dt * part
        if before == stores.coil:
            break
    return seconds


@pytest.mark.parametrize(
    ("case", "area", "hole", "discharge", "high", "low", "page_g", "page"),
    [
        ("1", pi * (2 * FOOT) ** 2, 5 * INCH**2, 1.0, 6 * FOOT, 2 * FOOT, 32.2 * FOOT, 93.378),
        ("2", 1.0, 0.01, 0.62, 2.0, 0.0, 9.81, 102.992),
        ("3", pi * 2.5**2, pi * 0.01**2, 1.0, 2.0, 0.0, 9.81, 39909.4),
        ("rig 1", pi * 0.125**2, pi * 0.003**2, 1.0, 0.2, 0.0, GRAVITY, 350.628),
        ("rig 0.61", pi * 0.125**2, pi * 0.003**2, 0.61, 0.2, 0.0, GRAVITY, 574.801),
        ("rig 0.62", pi * 0.125**2, pi * 0.003**2, 0.62, 0.2, 0.0, GRAVITY, 565.530),
    ],
)
def test_published_draining_times(
    case: str,
    area: float,
    hole: float,
    discharge: float,
    high: float,
    low: float,
    page_g: float,
    page: float,
) -> None:
    dt = page / 20000
    seconds = drain(area, hole, discharge, high, low, dt)
    assert seconds * sqrt(GRAVITY / page_g) == pytest.approx(page, rel=4e-4), case


def test_page_1_prints_its_own_rounding() -> None:
    """The page prints 94 s, worked with rounded roots; the exact value of its own data is 93.378 s."""
    seconds = drain(pi * (2 * FOOT) ** 2, 5 * INCH**2, 1.0, 6 * FOOT, 2 * FOOT, 0.005)
    assert seconds == pytest.approx(94.0, abs=1.0)


def test_half_of_the_time_empties_three_quarters() -> None:
    """From the same formula: t(h to 0) is twice t(h to h/4)."""
    whole = drain(0.05, 3e-5, 0.62, 0.2, 0.0, 0.02)
    first = drain(0.05, 3e-5, 0.62, 0.2, 0.05, 0.02)
    assert whole / first == pytest.approx(2.0, rel=1e-3)
