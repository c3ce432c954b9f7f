"""One JSON object a line: how the person and the control channel are spoken to."""

import json
from typing import Any


def read_object(line: bytes) -> dict[str, Any]:
    """The object on a line. Raises ValueError, in words for whoever typed it."""
    try:
        found = json.loads(line)
    except (ValueError, RecursionError):  # no JSON, no UTF-8, or lists in lists without end
        found = None
    if not isinstance(found, dict):
        raise ValueError("a request is one JSON object on a line")
    return found


def write_object(said: dict[str, Any]) -> bytes:
    """An object as a line."""
    return json.dumps(said).encode() + b"\n"
