"""The bench in lines alone, nothing drawn over: for screen readers, and for terminals that can do nothing else.

The run is in the main thread here, as with ``rig run``: Ctrl-C turns everything off, Ctrl-Z turns off and pauses."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path

from rig.cli.asking import Lines
from rig.cli.codes import PASSED
from rig.cli.main import run
from rig.plan.load import bundled
from rig.screen.begin_page import Preset
from rig.screen.papers import paper_text
from rig.screen.records import jobs_of_serial
from rig.screen.words import Words

Say = Callable[[str], None]
Read = Callable[[], str | None]


@dataclass(frozen=True)
class Choice:
    """Something that can be done: its word, what it does, and the command that does it."""

    word: str
    what: str
    command: tuple[str, ...]


class Plain:
    """A conversation: a serial number, then one word after the other."""

    def __init__(
        self, words: Words, preset: Preset, store: str | None, read: Callable[[], str | None], say: Say
    ) -> None:
        self._words, self._preset, self._store = words, preset, store
        self._read, self._say = read, say
        self._code = PASSED

    def talk(self) -> int:
        """Until the input ends or somebody leaves; the exit code of the last run."""
        say = self._words
        self._say(say("begin.caution"))
        serial = self._preset.serial
        while True:
            serial = serial or self._ask(say("plain.serial"))
            if not serial or serial == say("plain.leave"):
                return self._code
            serial = self._with_unit(serial)

    def _with_unit(self, serial: str) -> str:
        """Everything that is done with one unit; the serial number of the next, if it was scanned."""
        say, told = self._words, False
        while True:
            jobs = [job for job in jobs_of_serial(self._store, serial) if not job.closed]
            job = jobs[0].number if jobs else ""
            unit = jobs[0].unit if jobs else self._preset.unit
            self._say(say("begin.known", job=job, unit=unit, stage=jobs[0].stage) if jobs else say("plain.unknown"))
            choices = self._choices(serial, job, unit)
            for choice in () if told else choices:
                self._say(f"  {choice.word}: {choice.what}")
            said, told = self._ask(say("plain.what")), True
            if not said or said == say("plain.leave"):
                return ""
            if said == say("plain.help"):
                told = False
                continue
            picked = next((choice for choice in choices if choice.word == said.split()[0]), None)
            if picked is None:
                return said  # another unit was scanned
            self._carry_out([*picked.command, *shlex.split(said)[1:]])

    def _choices(self, serial: str, job: str, unit: str) -> list[Choice]:
        say, preset = self._words, self._preset
        common = [f"--store={self._store}"] if self._store else []
        by = [f"--by={preset.by}"] if preset.by else []
        found = []
        for name in sorted({preset.procedure, *bundled("procedure")}):
            arguments = ["run", name, f"--bench={preset.bench}", f"--unit={unit}", f"--serial={serial}", *by, *common]
            arguments += [f"--job={job}"] if job else []
            arguments += [f"--seed={preset.seed}"] if preset.seed else []
            arguments += [f"--fault={name}={severity:g}" for name, severity in preset.faults]
            arguments += [f"--wire-fault={kind}@{instrument}" for kind, instrument in preset.lies]
            arguments += ["--person=simulated"] if preset.person == "simulated" else []
            found.append(Choice(name, say("plain.run"), tuple(arguments)))
        if job:
            found.append(Choice("job", say("plain.job"), ("job", job, *common)))
            found.append(Choice("causes", say("plain.causes"), ("diagnose", f"--job={job}", *common)))
            found.append(Choice("repair", say("plain.repair"), ("repair", job, *by, *common)))
            paper = ("report", f"--job={job}", *common, "--certificate")
            found.append(Choice("certificate", say("plain.certificate"), paper))
            found.append(Choice("release", say("plain.release"), ("release", job, *by, *common)))
        else:
            found.append(Choice("receive", say("plain.receive"), ("receive", f"--serial={serial}", *by, *common)))
        found.append(Choice("jobs", say("plain.jobs"), ("jobs", *common)))
        return found

    def _carry_out(self, arguments: Sequence[str]) -> None:
        code = run(arguments)
        if arguments[0] == "run":
            self._code = code
        if code == PASSED and "--certificate" in arguments:
            path = Path(arguments[list(arguments).index("--certificate") + 1])
            for line in paper_text(path) if path.exists() else ():
                self._say(line.plain)
        self._say(self._words("plain.done", code=code))

    def _ask(self, question: str) -> str:
        self._say(question)
        return (self._read() or "").strip()


def talk(words: Words, preset: Preset, store: str | None) -> int:
    """A conversation on standard input and output."""
    os.environ["TERM"] = "dumb"  # what is shown of a run must not be drawn over either
    lines = Lines(sys.stdin.fileno())
    return Plain(words, preset, store, lambda: lines(lambda: True), lambda text: print(text, flush=True)).talk()
