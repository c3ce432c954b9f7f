"""Whether what a person calls an instrument means one that is on a list: by its name there, or by its serial number."""

from __future__ import annotations

NOT_NAMED = "not named"  # of a number that a person gave without saying what with


def is_meant(said: str, name: str, serial: str) -> bool:
    """
    >>> is_meant("the tester ST-1", "safety-tester", "ST-1"), is_meant("ST-12", "safety-tester", "ST-1")
    (True, False)
    """
    words = [word.strip("(),;") for word in said.casefold().split()]
    return said.strip().casefold() == name.casefold() or serial.casefold() in (*words, said.strip().casefold())
