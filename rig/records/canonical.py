"""One text for one value: JSON as it is kept, hashed and signed.

Form 2 is the JSON Canonicalization Scheme (RFC 8785). Form 1, compact JSON with keys in order of their code points, is
that of the first records; they stay as they are.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from typing import Any

FORM = "2"
SAFE_INTEGER = 2**53 - 1  # beyond it programs disagree on what a JSON number is (RFC 7493, 2.2)


def canonical(value: Any) -> str:
    """JSON after RFC 8785. Raises ValueError for what has none: a number that is not finite, a whole number beyond
    2^53 - 1, half a surrogate pair."""
    import rfc8785

    return rfc8785.dumps(value).decode()


def _first(value: Any) -> str:
    return json.dumps(value, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)


FORMS: dict[str, Callable[[Any], str]] = {"1": _first, FORM: canonical}


def parsed(text: str, form: str = FORM) -> dict[str, Any]:
    """A stored text as plain JSON values. Raises ValueError for what is not a JSON object."""
    plain = json.loads(text, parse_int=int if form == "1" else _integer)
    if not isinstance(plain, dict):
        raise ValueError(f"not an entry: {text[:80]}")
    return plain


def _integer(text: str) -> int | float:
    """RFC 8785 writes 1e17 without an exponent: a whole number beyond 2^53 - 1 was none when it was written."""
    number = int(text)
    return number if abs(number) <= SAFE_INTEGER else float(text)
