"""The bench in lines alone, nothing drawn over: for screen readers, and for terminals that can do nothing else.

The run is in the main thread here, as with ``rig run``: Ctrl-C turns everything off, Ctrl-Z turns off and pauses."""

from __future__ import annotations

import os
import shlex
import sys
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import click

from rig.cli.asking import Lines
from rig.cli.codes import NOT_PASSED, PASSED
from rig.cli.job_indicators import MOVES
from rig.cli.options import AT_SCREEN
from rig.cli.receive import command as receive_command
from rig.cli.release import command as release_command
from rig.cli.repair import command as repair_command
from rig.plan.load import bundled
from rig.screen.actions import tried
from rig.screen.asked import SEVERAL, Field, arguments_of, fields_of, for_a_form, told_of
from rig.screen.papers import make_certificate
from rig.screen.preset import Preset
from rig.screen.records import JobLine, complaints, jobs_of_serial, self_check
from rig.screen.words import Words

Say = Callable[[str], None]
Read = Callable[[], str | None]
FORMS = {**MOVES, "repair": repair_command, "release": release_command}


@dataclass(frozen=True)
class Choice:
    """Something that can be done: its word, what it does, and the command that does it; what that asks, where it asks
    anything, with what is ``known`` already and the ``words`` to choose from."""

    word: str
    what: str
    command: tuple[str, ...]
    form: click.Command | None = None
    known: Mapping[str, str] = field(default_factory=dict)
    words: Mapping[str, Sequence[str]] = field(default_factory=dict)
    runs: bool = False  # a procedure on the unit


class Plain:
    """A conversation: a serial number, then one word after the other; what a word asks is asked line by line."""

    def __init__(self, words: Words, preset: Preset, store: str | None, read: Read, say: Say) -> None:
        self._words, self._preset, self._store = words, preset, store
        self._read, self._say = read, say
        self._runner = preset.by  # who runs procedures here
        self._by = self._signer = preset.by  # who has signed last, and who is about to
        self._code = PASSED

    def talk(self) -> int:
        """Until the input ends or somebody leaves; the exit code of the last run."""
        say, there = self._words, AT_SCREEN.set(True)
        try:
            self._say(say("begin.caution"))
            serial: str | None = self._preset.serial
            while True:
                serial = serial or self._line(say("plain.serial"))
                if not serial:
                    return self._code
                serial = self._with_unit(serial)
        finally:
            AT_SCREEN.reset(there)

    def _with_unit(self, serial: str) -> str | None:
        """Everything that is done with one unit; the serial number of the next, if it was scanned."""
        say, told = self._words, ("-", "-")
        while True:
            job = next((job for job in jobs_of_serial(self._store, serial) if not job.closed), None)
            self._say(say("plain.unknown") if job is None else self._known(job))
            choices = {choice.word: choice for choice in self._choices(serial, job)}
            now = ("", "") if job is None else (job.number, job.move)
            if told != now:
                self._offer(choices, now[1], everything=False)
            said, told = self._line(say("plain.what")), now
            if not said:
                return None
            if said == say("plain.help"):
                self._offer(choices, now[1], everything=True)
                continue
            if said.split()[0] not in choices:
                return said  # another unit was scanned
            self._carry_out(choices, said, job)

    def _known(self, job: JobLine) -> str:
        return self._words("begin.known", job=job.number, unit=job.unit, stage=job.stage)

    def _offer(self, choices: Mapping[str, Choice], move: str, everything: bool) -> None:
        """What comes next first, then what is done often, each with what it is for; of the other words the names, and
        what for where ``everything`` is asked for."""
        runs = [word for word, choice in choices.items() if choice.runs]
        others = [c for c in choices.values() if not c.runs]
        told = [c for c in others if c.word == move] + [c for c in others if c.word not in FORMS]
        lines = [f"{choice.word}: {choice.what}" for choice in told]
        lines.insert(1 if move in FORMS else 0, self._words("plain.run", words=", ".join(runs)))
        more = [c for c in others if c not in told]
        if everything:
            lines += [f"{choice.word}: {choice.what}" for choice in more]
        elif more:
            lines.append(self._words("plain.more", words=", ".join(choice.word for choice in more)))
        for line in lines:
            self._say(f"  {line}")

    def _choices(self, serial: str, job: JobLine | None) -> list[Choice]:
        say, common, check = self._words, [f"--store={self._store}"] if self._store else [], self_check()
        names = sorted({self._preset.procedure, *bundled("procedure")} - {check})
        found = [Choice(name, "", self._run(name, serial, job), runs=True) for name in names]
        found.append(Choice(check, say("plain.check"), self._run(check, "", None)))
        if job is None:
            known = {"serial": serial, "unit": self._preset.unit}
            words = {"complaint": complaints()}
            found.append(Choice("receive", say("plain.receive"), ("receive",), receive_command, known, words))
        else:
            number = job.number
            found.append(Choice("job", say("plain.job"), ("job", number, *common)))
            found.append(Choice("causes", say("plain.causes"), ("diagnose", f"--job={number}", *common)))
            found.append(Choice("certificate", say("plain.certificate"), ("certificate", number)))
            for word, form in FORMS.items():
                command = ("job", number, word) if word in MOVES else (word, number)
                found.append(Choice(word, told_of(form)[0], command, form))
        return [*found, Choice("jobs", say("plain.jobs"), ("jobs", *common))]

    def _run(self, procedure: str, serial: str, job: JobLine | None) -> tuple[str, ...]:
        preset = self._preset
        unit = preset.unit if job is None else job.unit
        arguments = ["run", procedure, f"--bench={preset.bench}", f"--unit={unit}", f"--serial={serial}"]
        arguments += [f"--store={self._store}"] if self._store else []
        arguments += [f"--job={job.number}"] if job is not None else []
        arguments += [f"--seed={preset.seed}"] if preset.seed else []
        arguments += [f"--fault={name}={severity:g}" for name, severity in preset.faults]
        arguments += [f"--wire-fault={kind}@{instrument}" for kind, instrument in preset.lies]
        arguments += ["--person=simulated"] if preset.person == "simulated" else []
        return tuple(arguments)

    def _carry_out(self, choices: Mapping[str, Choice], said: str, job: JobLine | None) -> None:
        """Do what a word stands for. Words behind it are taken as the command line has them."""
        try:
            word, *rest = shlex.split(said)
        except ValueError:
            self._say(self._words("plain.quotes"))
            return
        if word == "job" and rest and rest[0] in FORMS:
            word, *rest = rest
        choice = choices[word]
        code: int | None
        if word == "certificate" and job is not None:
            done, lines = make_certificate(self._store, job.number, Path(rest[0]) if rest else None)
            code, told = done.code, [line.plain for line in lines]
        else:
            arguments = self._filled_in(choice) if choice.form and not rest else [*self._begun(choice, job), *rest]
            code, told = (None, []) if arguments is None else self._tried(choice, arguments)
        for line in told:
            self._say(line)
        short: dict[int | None, str] = {PASSED: "plain.done", NOT_PASSED: "plain.not-passed"}
        self._say(self._words(short.get(code, "plain.not-done")))

    def _tried(self, choice: Choice, arguments: Sequence[str]) -> tuple[int, list[str]]:
        code, refusal = tried(arguments)
        form = choice.form
        if choice.command[0] == "run":
            self._code = code
        elif form is not None and code == PASSED:
            self._by = self._signer
        return code, [line if form is None else for_a_form(line, form, self._words) for line in refusal]

    def _begun(self, choice: Choice, job: JobLine | None) -> list[str]:
        """A command that asks nothing here; a run of a job's is somebody's."""
        command = list(choice.command)
        if choice.runs and job is not None and not self._runner:
            self._runner = self._answer(Field("by", self._words("begin.by"), "", self._by, (), False, False)) or ""
        if choice.form is not None:
            self._signer = self._by
            command += arguments_of(choice.form, choice.known, self._signed(self._by))
        elif command[0] == "run" and self._runner:
            command += [f"--by={self._runner}"]
        return command

    def _signed(self, by: str) -> list[str]:
        return [*([f"--by={by}"] if by else []), *([f"--store={self._store}"] if self._store else [])]

    # a form, line by line

    def _filled_in(self, choice: Choice) -> list[str] | None:
        """The command with the answers to what it asks; None where somebody has given it up."""
        assert choice.form is not None
        for text in told_of(choice.form):
            self._say(text)
        self._say(self._words("plain.form"))
        answers: dict[str, str] = dict(choice.known)
        who = Field("by", self._words("form.by"), "", self._by, (), True, False)
        asked = [f for f in fields_of(choice.form, choice.known, choice.words) if f.name not in choice.known]
        for one in [*asked, who]:
            answer = self._answer(one)
            if answer is None:
                return None
            answers[one.name] = answer
        self._signer = answers["by"]
        return [*choice.command, *arguments_of(choice.form, answers, self._signed(self._signer))]

    def _answer(self, asked: Field) -> str | None:
        """What is said to a field; None at the end of the input, and where somebody gives the form up."""
        say = self._words
        words = [word for word in asked.choices if word]
        parts = [asked.label, asked.hint.rstrip("."), say("form.several", sign=SEVERAL) if asked.several else ""]
        parts += [say("plain.one-of", choices=", ".join(words)) if words else ""]
        parts += [say("plain.else", value=asked.value) if asked.value else say("form.needed") if asked.needed else ""]
        question = "; ".join(part.rstrip(".") for part in parts if part) + ":"
        while True:
            said = self._line(question, empty=asked.value)
            if said is None or (said and (not words or said in words)) or (not said and not asked.needed):
                return said
            self._say(say("plain.not-one", said=said) if said else say("form.missing", fields=asked.label))

    def _line(self, question: str, empty: str = "") -> str | None:
        """A line; None at the end of the input and for the word that leaves."""
        self._say(question)
        said = self._read()
        said = said if said is None else said.strip()
        return None if said is None or said == self._words("plain.leave") else said or empty


def talk(words: Words, preset: Preset, store: str | None) -> int:
    """A conversation on standard input and output."""
    os.environ["TERM"] = "dumb"  # what is shown of a run must not be drawn over either
    lines = Lines(sys.stdin.fileno())
    return Plain(words, preset, store, lambda: lines(lambda: True), lambda text: print(text, flush=True)).talk()
