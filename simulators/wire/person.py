"""The simulated person at the bench: one JSON object a line in, one out.

In: {"verb", "thing", "kind", "options", "unit"}. Out: {"answer": ..., "seconds": ...}, or {"error": "..."}
for what the person does not understand.
"""

import json
from typing import Any

from simulators.wire import Answer, Plant, take_line


class Person:
    """The far end of the "person" link. What is asked is done at once; the time it takes goes by after it."""

    def __init__(self, plant: Plant) -> None:
        self._plant = plant

    def take(self, buffer: bytearray) -> bytes | None:
        """One line. ValueError: it does not end."""
        return take_line(buffer)

    def serve(self, request: bytes, now: float) -> Answer:
        """Do or look, and answer in JSON."""
        self._plant.advance(now)
        try:
            answer, seconds = self._ask(request)
        except ValueError as error:  # also a line that is not JSON, a name the plant does not know
            return Answer(_line({"error": str(error)}))
        return Answer(_line({"answer": answer, "seconds": seconds}), seconds)

    def _ask(self, request: bytes) -> tuple[bool | str | float | None, float]:
        asked = json.loads(request)
        if not isinstance(asked, dict):
            raise ValueError("a request is a JSON object")
        options = asked.get("options") or []
        if not isinstance(options, list) or not all(isinstance(option, str) for option in options):
            raise ValueError('"options" is a list of strings')
        verb, thing, kind, unit = (_text(asked, name) for name in ("verb", "thing", "kind", "unit"))
        return self._plant.person(verb, thing, kind, options, unit)


def _text(asked: dict[str, Any], name: str) -> str:
    value = asked.get(name) or ""  # a unit or a kind may be left out, or null
    if not isinstance(value, str):
        raise ValueError(f'"{name}" is a string')
    return value


def _line(answer: dict[str, Any]) -> bytes:
    return json.dumps(answer).encode() + b"\n"
