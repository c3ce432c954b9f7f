"""A pyvisa-py session's own socket or serial port, with a tap on it.

The bytes that come are shown as they come, also those of an answer that breaks off. And a connection that the other
end has closed is an error at once: the library itself goes on looking, as fast as it can, until its time limit.
"""

from __future__ import annotations

import socket
from collections.abc import Callable
from typing import Any

import serial  # type: ignore[import-untyped]

from drivers.visa_faults import CLOSED


class Tap:
    """Stands in for ``interface``; everything but what is received goes straight through."""

    def __init__(self, interface: Any, heard: Callable[[bytes], None]) -> None:
        object.__setattr__(self, "_interface", interface)
        object.__setattr__(self, "_heard", heard)

    def recv(self, size: int) -> bytes:
        """Of a socket that has something to read."""
        data: bytes = self._interface.recv(size)
        if not data:
            raise ConnectionResetError(CLOSED)
        self._heard(data)
        return data

    def read(self, size: int = 1) -> bytes:
        """Of a serial port."""
        data: bytes = self._interface.read(size)
        if data:
            self._heard(data)
        return data

    def __getattr__(self, name: str) -> Any:
        return getattr(self._interface, name)

    def __setattr__(self, name: str, value: Any) -> None:
        setattr(self._interface, name, value)


def put_on(session: Any, heard: Callable[[bytes], None]) -> bool:
    """Put a tap on an open VISA resource; False where the library keeps socket or port to itself."""
    raw: Any = getattr(session.visalib, "sessions", {}).get(session.session)
    interface = getattr(raw, "interface", None)
    if not isinstance(interface, socket.socket | serial.SerialBase):
        return False
    raw.interface = Tap(interface, heard)
    return True
