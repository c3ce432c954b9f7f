"""What a Modbus exception means, and what a technician does about it.

Codes and meanings: MODBUS Application Protocol Specification V1.1b3, section 7. What to do is common practice, no
source.
"""

from __future__ import annotations

EXCEPTIONS: dict[int, tuple[str, str]] = {
    1: ("illegal function: it does not know this command", "Check that it is the kind of module the bench file says."),
    2: ("illegal data address: it has no such channel", "Check channel and number of channels in the bench file."),
    3: ("illegal data value", "Check channel and number of channels in the bench file."),
    4: ("device failure", "Switch the module off and on; if it says so again, exchange it."),
    5: ("acknowledge: it has begun and needs longer", "Run it again; if it says so again, look at the module."),
    6: ("device busy", "See whether another program uses it, then run it again."),
    8: ("memory parity error", "Switch the module off and on; if it says so again, exchange it."),
    10: ("gateway path unavailable", "Check the gateway's own settings: it has no way to this module."),
    11: ("gateway target silent", "The gateway lives; check power and cable of the module behind it, and its number."),
}


def refusal(code: int) -> tuple[str, str]:
    """What happened, and what to do."""
    words, do = EXCEPTIONS.get(code, ("which the specification does not have", "Look it up in the module's manual."))
    return f"refused: Modbus exception {code}, {words}", do
