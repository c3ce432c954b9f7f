"""The second process's off switch: written, read back, believed only when it fits, on sockets and serial lines."""

from __future__ import annotations

import asyncio
from collections.abc import Callable

import pytest
from modbus_far_end import Deed, FarEnd, bad_checksum, deaf, exception, far_end, half, other_device, twice

from drivers import off_switch

BOTH = pytest.mark.parametrize("rtu", (False, True), ids=("tcp", "rtu"))


@pytest.fixture(autouse=True)
def _short_waits(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(off_switch, "ANSWER_WITHIN", 0.1)
    monkeypatch.setattr(off_switch, "SERIAL_SILENCE", 0.005)


def live(rtu: bool, work: Callable[[FarEnd, dict], None], *deeds: Deed) -> list[bytes]:
    """Energize all coils, let the far end lie, and do the work in a thread as another process would."""

    async def main() -> list[bytes]:
        async with far_end(rtu) as (end, address):
            end.coils[1] = [True] * 24
            end.deeds.extend(deeds)
            end.clock.declare_silence = lambda *a, **k: None  # type: ignore[method-assign]  # no clock here
            board = {
                "address": address, "protocol": "modbus-rtu" if rtu else "modbus-tcp", "device": 1, "channels": 24,
                "baud": 19200, "parity": "none", "stop_bits": 2,
            }  # fmt: skip
            await asyncio.to_thread(work, end, board)
            return end.requests

    return asyncio.run(main())


@BOTH
def test_every_coil_is_dropped_and_read_back(rtu: bool) -> None:
    def work(end: FarEnd, board: dict) -> None:
        off_switch.drop(board)
        assert not any(end.coils[1])

    assert [r[1] for r in live(rtu, work)] == [15, 1]


@BOTH
@pytest.mark.parametrize("deed", (half, other_device, deaf, exception(6)))
def test_an_answer_that_does_not_fit_is_asked_for_again(rtu: bool, deed: Deed) -> None:
    def work(end: FarEnd, board: dict) -> None:
        off_switch.drop(board)
        assert not any(end.coils[1])

    functions = [r[1] for r in live(rtu, work, deed)]
    assert functions[-2:] == [15, 1]


@pytest.mark.parametrize("deed", (bad_checksum, twice))
def test_a_serial_line_is_cleared_first(deed: Deed) -> None:
    def work(end: FarEnd, board: dict) -> None:
        off_switch.drop(board)
        assert not any(end.coils[1])

    live(True, work, deed)


@BOTH
def test_a_board_that_never_answers_is_not_called_off(rtu: bool) -> None:
    def work(end: FarEnd, board: dict) -> None:
        with pytest.raises(OSError, match="no answer"):
            off_switch.drop(board)

    live(rtu, work, *[deaf] * 6)


@BOTH
def test_a_board_that_stays_on_is_named_with_its_coils(rtu: bool) -> None:
    def stays(end: FarEnd, request: bytes, send: Callable[[bytes], None]) -> None:
        coils = list(end.coils[1])
        said = end.honest(request)
        end.coils[1] = coils
        send(said)

    def work(end: FarEnd, board: dict) -> None:
        end.coils[1] = [n == 7 for n in range(24)]
        with pytest.raises(OSError, match=r"still on by its own word: \[7\]"):
            off_switch.drop(board)

    live(rtu, work, *[stays] * 6)


def test_a_port_that_is_not_there() -> None:
    board = {"address": "/dev/no-such-port", "protocol": "modbus-rtu", "device": 1, "channels": 8, "baud": 9600,
             "parity": "none", "stop_bits": 1}  # fmt: skip
    with pytest.raises(OSError, match="cannot be reached"):
        off_switch.drop(board)
