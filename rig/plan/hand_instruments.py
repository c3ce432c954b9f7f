"""What people read with: whether what they call it means one that is on a list, and how well a hand is timed."""

from __future__ import annotations

HAND = 0.3  # s that a hand may be early or late at a stop-watch, at each end (common practice, no source)
NOT_NAMED = "not named"  # of a number that a person gave without saying what with


def is_meant(said: str, name: str, serial: str) -> bool:
    """By its name on the list, or by its serial number.

    >>> is_meant("the tester ST-1", "safety-tester", "ST-1"), is_meant("ST-12", "safety-tester", "ST-1")
    (True, False)
    """
    words = [word.strip("(),;") for word in said.casefold().split()]
    return said.strip().casefold() == name.casefold() or serial.casefold() in (*words, said.strip().casefold())
