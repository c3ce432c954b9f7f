"""Text from outside, made safe to show: nothing in it can move the cursor, recolour the screen or turn text round."""

from __future__ import annotations

import unicodedata

# Control, format (bidi and zero-width among them), surrogate, private use, unassigned; line and paragraph separators.
_HIDDEN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})
_SHORT = {"\n": "\\n", "\r": "\\r", "\t": "\\t"}


def visible(text: object, limit: int = 80) -> str:
    """``str(text)`` on one line, every character that does not print written as an escape.

    At most ``limit`` characters of the original are kept; what is cut off is marked with "…".
    """
    whole = str(text)
    shown = "".join(_escape(c) for c in whole[:limit])
    return shown + "…" if len(whole) > limit else shown


def _escape(character: str) -> str:
    if character in _SHORT:
        return _SHORT[character]
    if unicodedata.category(character) not in _HIDDEN:
        return character
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"
