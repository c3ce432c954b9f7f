"""What is said when a command cannot do what it was asked: lines on stderr and, with ``--json``, one value on stdout.

    {"error": {"kind": "input", "exit_code": 2, "message": "…", "what_to_do": "…" or null, "culprit": "…" or null,
               "file": "…", "line": 3, "column": 7,
               "faults": [{"file": "…", "line": 3, "column": 7, "message": "…"}, …], "missing": ["…", …]}}

``faults`` are all that a file has, each at its place (line and column from 1, 0 for the file as a whole); ``file``,
``line`` and ``column`` are those of the first, null where there is none. ``missing`` is everything that a rule of the
workshop asks for and that is not there. ``kind`` is one of KINDS.
"""

from __future__ import annotations

import sys
from dataclasses import asdict, dataclass
from typing import Any

import click

from rig.cli.codes import SIGNALLED, STOPPED
from rig.errors import Fault, InputError, InstrumentError, OutputError, RecordError, RigError, RuleError, Stopped
from rig.plan.visible import visible

KINDS: dict[type[BaseException], str] = {
    InputError: "input",
    InstrumentError: "instrument",
    OutputError: "output",
    Stopped: "stopped",
    RecordError: "records",
    RuleError: "rule",
    click.ClickException: "command line",
    KeyboardInterrupt: "interrupted",
    click.Abort: "interrupted",
    BaseException: "program",
}
LONGEST = 2000  # characters of a line


@dataclass(frozen=True)
class Failure:
    """What went wrong, for a person and for a program."""

    kind: str
    exit_code: int
    message: str
    what_to_do: str | None = None
    culprit: str | None = None
    faults: tuple[Fault, ...] = ()
    lines: tuple[str, ...] = ()
    missing: tuple[str, ...] = ()

    def value(self) -> dict[str, Any]:
        """The JSON value."""
        first = self.faults[0] if self.faults else None
        return {
            "error": {
                "kind": self.kind,
                "exit_code": self.exit_code,
                "message": self.message,
                "what_to_do": self.what_to_do,
                "culprit": self.culprit,
                "file": first and first.file,
                "line": first and first.line,
                "column": first and first.column,
                "faults": [asdict(fault) for fault in self.faults],
                "missing": list(self.missing),
            }
        }


def failure_of(error: BaseException) -> Failure:
    """What an error comes to."""
    kind = next(word for sort, word in KINDS.items() if isinstance(error, sort))
    if isinstance(error, RigError):
        faults = error.faults if isinstance(error, InputError) else ()
        missing = error.missing if isinstance(error, RuleError) else ()
        do, culprit = error.do or None, error.culprit or None
        return Failure(kind, error.exit_code, error.what, do, culprit, faults, tuple(error.lines()), missing)
    if isinstance(error, click.ClickException):
        message = error.format_message()
        where = error.ctx.command_path if isinstance(error, click.UsageError) and error.ctx else "rig"
        do = f"'{where} --help' says more."
        return Failure(kind, error.exit_code, message, do, lines=(f"rig: {message}", f"  {do}"))
    if kind == "interrupted":
        return Failure(kind, SIGNALLED + 2, "interrupted", lines=("interrupted",))
    message = f"the program failed: {type(error).__name__}: {error}"
    return Failure(kind, STOPPED, message, lines=(message,))


def tell(error: BaseException, as_json: bool) -> int:
    """Say what went wrong; the exit code. A failure of the program itself is never taken for a unit's."""
    failure = failure_of(error)
    if failure.kind == "program":
        import traceback

        traceback.print_exception(error)
    for line in failure.lines:
        print(visible(line, LONGEST), file=sys.stderr)
    if as_json:
        from rig.cli.options import print_json

        print_json(failure.value())
    return failure.exit_code
