"""The off switch of a Modbus relay board, for the second process: its own connection, nothing shared with a run."""

from __future__ import annotations

from typing import Any

from pymodbus.client import ModbusTcpClient

ANSWER_WITHIN = 1.0  # s; a board that is alive answers within 60 ms, and there may be others to drop


def drop(board: dict[str, Any]) -> None:
    """Drop all coils of a board and read them back. Raises OSError when it does not confirm; whatever else the library
    throws means the same."""
    host, _, port = str(board["address"]).rpartition(":")
    client: Any = ModbusTcpClient(host, port=int(port), timeout=ANSWER_WITHIN, retries=0)
    device, channels = int(board["device"]), int(board["channels"])
    try:
        if not client.connect():
            raise OSError("cannot be reached")
        written = client.write_coils(0, [False] * channels, device_id=device)
        said = client.read_coils(0, count=channels, device_id=device)
        if written.isError() or said.isError():
            raise OSError("refused")
        if any(said.bits[:channels]):
            raise OSError(f"still on by its own word: {[n for n, on in enumerate(said.bits[:channels]) if on]}")
    finally:
        client.close()
