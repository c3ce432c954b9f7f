"""The numbers of a trace in few characters, exactly: 64-bit floats (IEEE 754, little-endian), their bytes put
together by place, since neighbours share their leading ones, then DEFLATE (RFC 1950) and base64 (RFC 4648, 4)."""

from __future__ import annotations

import base64
import binascii
import struct
import zlib
from collections.abc import Sequence

MARK = "f8z:"
_LEVEL = 6
_MOST = 64 * 1024 * 1024  # bytes of one trace unpacked: a hundred times the longest that a run can make


def packed(values: Sequence[float]) -> str:
    """The values as one word. Raises ValueError for one that is not finite."""
    if any(v != v or v in (float("inf"), float("-inf")) for v in values):
        raise ValueError("a value of a trace is not a finite number")
    flat = struct.pack(f"<{len(values)}d", *values)
    by_place = b"".join(flat[place::8] for place in range(8))
    return MARK + base64.b64encode(zlib.compress(by_place, _LEVEL)).decode("ascii")


def unpacked(word: str) -> tuple[float, ...]:
    """The values of :func:`packed`. Raises ValueError for anything else."""
    if not word.startswith(MARK):
        raise ValueError("not a packed trace")
    try:
        opened = zlib.decompressobj()
        by_place = opened.decompress(base64.b64decode(word[len(MARK) :], validate=True), _MOST)
    except (binascii.Error, zlib.error) as fault:
        raise ValueError(f"not a packed trace ({fault})") from None
    count, rest = divmod(len(by_place), 8)
    if rest or not opened.eof:
        raise ValueError("a packed trace is cut off")
    flat = bytearray(len(by_place))
    for place in range(8):
        flat[place::8] = by_place[place * count : (place + 1) * count]
    return struct.unpack(f"<{count}d", bytes(flat))
