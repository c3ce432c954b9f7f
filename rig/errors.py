"""Everything that can go wrong, drawn once.

    RigError                      exit code
     ├── InputError               2   a command line, a file or a plan is wrong; nothing was energized
     ├── InstrumentError          3   an instrument did not answer, or not sensibly: "no reading"
     │    ├── NoAnswer                silent, refused, disconnected
     │    ├── BadAnswer               answered, but not with something that can be believed
     │    ├── OverRange               says the value lies beyond the range it was set to
     │    └── Declined                understood and refused (a Modbus exception, a SCPI error)
     ├── OutputError              3   an output did not follow, or could not be confirmed off
     ├── Stopped                  3   an interlock, a person or a signal ended the run
     ├── RecordError              3   the store cannot take what must be kept
     └── RuleError                4   a rule of the workshop says no

Every error has two lines for a person: what happened, and what to do about it; and a culprit: the
instrument, output, step or place in a file that it is about.
"""

from __future__ import annotations

from dataclasses import dataclass


class RigError(Exception):
    """The base: ``what`` happened, what to ``do``, and the ``culprit``."""

    exit_code = 3

    def __init__(self, what: str, do: str = "", culprit: str = "") -> None:
        self.what = what
        self.do = do
        self.culprit = culprit
        super().__init__(what)

    def sentence(self) -> str:
        """The same in one line."""
        return " ".join(
            line if line.endswith(("?", "!")) else f"{line.rstrip('.')}." for line in map(str.strip, self.lines())
        )

    def lines(self) -> list[str]:
        """One or two lines for a person."""
        head = f"{self.culprit}: {self.what}" if self.culprit else self.what
        return [head, f"  {self.do}"] if self.do else [head]


@dataclass(frozen=True, order=True)
class Fault:
    """One thing wrong in a file: a place (line and column from 1, 0 when the place is the file) and a sentence."""

    file: str
    line: int
    column: int
    message: str

    def __post_init__(self) -> None:
        # a sentence may quote what was written in a file, a tab for one: shown on one line, never obeyed
        if not self.message.isprintable():
            shown = "".join(c if c.isprintable() else ascii(c)[1:-1] for c in self.message)
            object.__setattr__(self, "message", shown)

    def __str__(self) -> str:
        return f"{self.file}:{self.line}:{self.column}: {self.message}"


class InputError(RigError):
    """What a person wrote is wrong. Carries every fault that was found, not only the first."""

    exit_code = 2

    def __init__(self, what: str, do: str = "", culprit: str = "", faults: tuple[Fault, ...] = ()) -> None:
        super().__init__(what, do, culprit)
        self.faults = faults

    def lines(self) -> list[str]:
        return [str(f) for f in self.faults] if self.faults else super().lines()


class InstrumentError(RigError):
    """The rig could not get a reading; never counted against the unit."""


class NoAnswer(InstrumentError):
    """Silent, refused or disconnected."""


class BadAnswer(InstrumentError):
    """An answer that cannot be believed: wrong length, not a number, from somebody else."""


class OverRange(InstrumentError):
    """The instrument says that the value lies beyond its range. ``raw`` is what it said, after what it had said
    before of the same reading."""

    def __init__(self, what: str, do: str = "", culprit: str = "", raw: tuple[float, ...] = ()) -> None:
        super().__init__(what, do, culprit)
        self.raw = raw


class Declined(InstrumentError):
    """The instrument understood the request and refused it."""


# One reading is lost, and the link has been put in order again: the run may go on. Silence ends it.
RECOVERABLE = (BadAnswer, OverRange, Declined)


class OutputError(RigError):
    """An output did not do what it was told, or could not be confirmed off."""


class Stopped(RigError):
    """The run was ended by an interlock, a person or a signal."""


class RecordError(RigError):
    """The store cannot take what must be kept."""


class RuleError(RigError):
    """Refused by a rule of the workshop; ``missing`` names everything that stands in the way, not only the first."""

    exit_code = 4

    def __init__(self, what: str, do: str = "", culprit: str = "", missing: tuple[str, ...] = ()) -> None:
        super().__init__(what, do, culprit)
        self.missing = missing

    def lines(self) -> list[str]:
        head, *rest = super().lines()
        return [head, *(f"  - {one}" for one in self.missing), *rest]
