"""The unit's controller, and the small circuits."""

from math import inf

import pytest

from simulators.unit.board import Board, BoardSettings, Doing, Sensed
from simulators.unit.electrics import Supply, bridge_mean, parallel, water_ohm
from simulators.unit.steam import saturation_pressure

SETTINGS = BoardSettings(4.0, 180.0, 2.0, 220e3, 134.0, 0.6, 240.0, 1800.0)
WET, DRY = 50e3, 3e6


def sensed(level: float, celsius: float = 20.0, door: bool = True, missing: float = 0.0) -> Sensed:
    """What the board senses in saturated steam, `missing` Pa short of it."""
    pascal = max(101e3, saturation_pressure(celsius)) - missing
    return Sensed(level, celsius, pascal, door)


def started(board: Board, level: float = DRY) -> None:
    board.step(0.1, True, sensed(level))
    board.press_start(True)


def run(board: Board, seconds: float, level: float = DRY, celsius: float = 20.0, door: bool = True) -> None:
    for _ in range(round(seconds / 0.1)):
        board.step(0.1, True, sensed(level, celsius, door))


def test_checks_then_fill_then_heat() -> None:
    board = Board(SETTINGS)
    started(board)
    run(board, 3.8)
    assert board.doing is Doing.CHECKS
    assert not board.drives_valve
    run(board, 0.4)
    assert board.drives_valve
    run(board, 100.0)
    run(board, 1.5, WET)
    assert board.drives_valve
    run(board, 0.7, WET)
    assert board.doing is Doing.HEATING
    assert board.wants_heat
    assert not board.drives_valve


def test_a_bounce_starts_the_debounce_again() -> None:
    board = Board(SETTINGS)
    started(board)
    run(board, 20.0)
    for _ in range(10):
        run(board, 1.5, WET)
        run(board, 0.1, DRY)
    assert board.doing is Doing.FILLING


def test_it_gives_up_after_its_own_time_and_stays_in_error() -> None:
    board = Board(SETTINGS)
    started(board)
    run(board, 4.0 + 179.0)
    assert board.drives_valve
    run(board, 2.0)
    assert board.doing is Doing.ERROR
    assert board.fault == "no water level"
    assert not board.drives_valve
    assert not board.wants_heat
    board.press_start(True)
    assert board.doing is Doing.ERROR
    board.step(0.1, False, sensed(DRY))
    board.step(0.1, True, sensed(DRY))
    assert board.doing is Doing.READY


def test_water_already_there_is_not_filled_again() -> None:
    board = Board(SETTINGS)
    started(board, WET)
    run(board, 5.0, WET)
    assert board.doing is Doing.HEATING


def test_heat_goes_on_and_off_about_the_target_and_ends() -> None:
    board = Board(SETTINGS)
    started(board, WET)
    run(board, 5.0, WET)
    run(board, 10.0, WET, 133.9)
    assert board.wants_heat
    run(board, 0.2, WET, 134.7)
    assert not board.wants_heat
    assert board.doing is Doing.HOLDING
    run(board, 0.2, DRY, 134.3)  # boiling has taken the water below the probe
    assert not board.wants_heat
    run(board, 0.2, DRY, 133.9)
    assert board.wants_heat
    run(board, 241.0, DRY, 133.9)
    assert board.doing is Doing.EXHAUSTING
    assert board.exhausts
    assert not board.wants_heat
    run(board, 0.2, DRY, 100.0)
    assert board.doing is Doing.DRYING
    assert board.releases_door
    pulses = 0.0
    while board.doing is Doing.DRYING:
        run(board, 0.1, DRY, 100.0, door=False)
        pulses += 0.1 * board.wants_heat
    assert board.doing is Doing.DONE
    assert pulses == pytest.approx(900.0 * 2.4 / 30.0, rel=0.03)


def test_without_the_pressure_of_the_steam_table_there_is_no_hold() -> None:
    board = Board(SETTINGS)
    started(board, WET)
    run(board, 5.0, WET)
    for _ in range(100):
        board.step(0.1, True, sensed(WET, 134.0, missing=15e3))
    assert board.doing is Doing.HEATING
    board.step(0.1, True, sensed(WET, 134.0, missing=5e3))
    assert board.doing is Doing.HOLDING


def test_pressure_that_stays_is_an_error() -> None:
    board = Board(SETTINGS)
    started(board, WET)
    run(board, 5.0, WET)
    run(board, 250.0, WET, 134.0)
    assert board.doing is Doing.EXHAUSTING
    run(board, 310.0, DRY, 125.0)
    assert board.fault == "pressure stays"


def test_it_does_not_heat_for_ever() -> None:
    board = Board(SETTINGS)
    started(board, WET)
    run(board, 1810.0, WET, 60.0)
    assert board.fault == "heats too slowly"


def test_the_door_ends_a_cycle() -> None:
    board = Board(SETTINGS)
    started(board)
    run(board, 10.0)
    run(board, 0.1, door=False)
    assert board.fault == "door opened"


def test_power_off_forgets() -> None:
    board = Board(SETTINGS)
    started(board)
    run(board, 10.0)
    board.step(0.1, False, sensed(DRY))
    assert board.doing is Doing.OFF
    board.press_start(True)
    assert board.doing is Doing.OFF


def test_bridge() -> None:
    """Ideal rectified means, 0.900316 and 0.450158 of the rms value (textbook), less the diodes."""
    assert bridge_mean(24.0, 1.0) == pytest.approx(21.608 - 1.4, abs=1e-3)
    assert bridge_mean(24.0, 0.0) == pytest.approx(10.804 - 0.7, abs=1e-3)
    assert bridge_mean(0.5, 1.0) == 0.0


def test_small_circuits() -> None:
    assert parallel(10.0, inf) == parallel(inf, 10.0) == 10.0
    assert parallel(0.0, 0.0) == 0.0
    assert parallel(20.0, 20.0) == 10.0
    assert water_ohm(0.5, 5.0, 25.0) == pytest.approx(100e3)
    assert Supply(230.0, 0.3, 50.0).loaded(1.0, inf) == 230.0
    assert Supply(230.0, 0.3, 50.0).loaded(1.0, 35.0) == pytest.approx(230.0 * 35.0 / 35.3)
