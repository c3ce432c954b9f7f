"""The simulator's saturation line against IAPWS R7-97(2012) (IF97), region 4.

The simulator uses another published equation, IAPWS SR1-86(1992), on purpose: it shares no coefficient with
IF97. The two agree to 0.02 % over 27 to 327 Cel; that is the tolerance here. First three rows: Table 35 of
R7-97; the others computed from IF97 with two independent libraries.
"""

import pytest

from simulators.unit.steam import saturation_pressure

IF97 = [
    (26.85, 3536.58941),
    (226.85, 2638897.76),
    (326.85, 12344314.6),
    (100.0, 101417.98),
    (121.0, 205038.86),
    (121.11, 205750.01),
    (126.0, 239459.73),
    (132.0, 286822.64),
    (134.0, 304198.88),
    (135.0, 313201.04),
    (137.0, 331851.87),
    (138.0, 341508.05),
]


@pytest.mark.parametrize(("celsius", "pascal"), IF97)
def test_saturation_pressure(celsius: float, pascal: float) -> None:
    assert saturation_pressure(celsius) == pytest.approx(pascal, rel=2e-4)


@pytest.mark.parametrize(("celsius", "slope"), [(121.0, 6456.0), (134.0, 8896.0)])
def test_slope_by_differences(celsius: float, slope: float) -> None:
    """Derived from IF97 by differences; to 0.05 %."""
    rise = saturation_pressure(celsius + 0.05) - saturation_pressure(celsius - 0.05)
    assert rise / 0.1 == pytest.approx(slope, rel=5e-4)
