"""The off switch of a Modbus relay board, for the second process: its own connection, nothing shared with a run.

On a serial line the first process must be gone, or have let go of the port; what it asked last may still be answered,
so an answer that does not fit is no reason to stop: the coils are written and read back until they are read back off.
"""

from __future__ import annotations

import time
from typing import Any

from pymodbus import FramerType
from pymodbus.client import ModbusSerialClient, ModbusTcpClient
from pymodbus.exceptions import ModbusException

ANSWER_WITHIN = 1.0  # s; a board that is alive answers within 60 ms, and there may be others to drop
TRIES = 3
SERIAL_SILENCE = 0.1  # s before the first question on a serial line: longer than any frame that is still on it


def drop(board: dict[str, Any]) -> None:
    """Drop all coils of a board and read them back. Raises OSError when it does not confirm; whatever else the library
    throws means the same."""
    device, channels = int(board["device"]), int(board["channels"])
    client: Any = _client(board)
    try:
        if not client.connect():
            raise OSError("cannot be reached")
        _fall_silent(client, board)
        why = ""
        for _ in range(TRIES):
            why = _drop(client, device, channels)
            if not why:
                return
            _fall_silent(client, board)
        raise OSError(why)
    finally:
        client.close()


def _client(board: dict[str, Any]) -> Any:
    if board["protocol"] == "modbus-rtu":
        return ModbusSerialClient(
            str(board["address"]),
            framer=FramerType.RTU,
            baudrate=int(board["baud"]),
            parity=str(board["parity"])[0].upper(),
            stopbits=int(board["stop_bits"]),
            timeout=ANSWER_WITHIN,
            retries=0,
        )
    host, _, port = str(board["address"]).rpartition(":")
    return ModbusTcpClient(host, port=int(port), timeout=ANSWER_WITHIN, retries=0)


def _fall_silent(client: Any, board: dict[str, Any]) -> None:
    if board["protocol"] == "modbus-rtu" and client.socket is not None:
        time.sleep(SERIAL_SILENCE)
        client.socket.reset_input_buffer()


def _drop(client: Any, device: int, channels: int) -> str:
    """Write and read back once; why that did not confirm, nothing when it did."""
    try:
        written = client.write_coils(0, [False] * channels, device_id=device)
        said = client.read_coils(0, count=channels, device_id=device)
    except ModbusException as error:
        return f"no answer ({error})"
    if written.isError() or said.isError():
        return "refused"
    fits = (written.dev_id, written.function_code, said.dev_id, said.function_code) == (device, 15, device, 1)
    if not fits or len(said.bits) != (channels + 7) // 8 * 8:
        return "what it answers is not what it was asked"
    on = [n for n, state in enumerate(said.bits[:channels]) if state]
    return f"still on by its own word: {on}" if on else ""
