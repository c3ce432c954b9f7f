"""The chain of hashes that binds the events of a run to each other and to their order."""

from __future__ import annotations

import hashlib
from typing import Any

from rig.records.codec import canonical

BEGINNING = "0" * 64


def link(run: str, seq: int, previous: str, event: dict[str, Any]) -> str:
    """SHA-256 (FIPS 180-4), as hex, over the run, the number, the hash before and the event.

    What is hashed is compact JSON with sorted keys.
    """
    entry = canonical({"event": event, "previous": previous, "run": run, "seq": seq})
    return hashlib.sha256(entry.encode()).hexdigest()
