"""Names of runs: UUID version 7 (RFC 9562, 5.7). They sort by the time at which they were given."""

from __future__ import annotations

import secrets
import time
import uuid


def uuid7(milliseconds: int, rand_a: int, rand_b: int) -> uuid.UUID:
    """A UUIDv7 of Unix time in ms (48 bits), ``rand_a`` (12 bits) and ``rand_b`` (62 bits).

    Raises ValueError when one of them does not fit.
    """
    for name, value, bits in (("time", milliseconds, 48), ("rand_a", rand_a, 12), ("rand_b", rand_b, 62)):
        if not 0 <= value < 1 << bits:
            raise ValueError(f"{name} does not fit into {bits} bits: {value}")
    return uuid.UUID(int=milliseconds << 80 | 0x7 << 76 | rand_a << 64 | 0b10 << 62 | rand_b)


def new_run_id() -> str:
    """A name for a run that begins now."""
    return str(uuid7(time.time_ns() // 1_000_000, secrets.randbits(12), secrets.randbits(62)))
