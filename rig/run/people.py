"""Asking people: what a prompt is, who answers it, and what their words mean.

An answer comes from prepared answers, from the terminal, or from the simulated person of a simulated station. On a
simulated station that person's hands also do what was asked, whoever answers, for nobody else can touch the unit.
"""

from __future__ import annotations

import asyncio
import contextlib
import threading
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any

from rig.bench.ports import Hands
from rig.errors import Fault, InputError, Stopped
from rig.events import Answered, Event, Prompted
from rig.plan.answers import ChoiceAnswer, NumberAnswer
from rig.plan.edges import StartByPerson
from rig.plan.procedure import Ask
from rig.quantities import canonical, convert, unit
from rig.run.typed import Typed, number_typed, typed

Terminal = Callable[[Prompted], str]

WAITING_EVERY = 0.25  # s of wall time between two signs of life while a person thinks
KINDS = {"done": "done", "yes or no": "yes-no", "text": "text"}


def prompt_of(step: str, asked: Ask | StartByPerson, caution: str, at: float) -> Prompted:
    """The prompt that a step makes."""
    kind, code = "done", ""
    options: tuple[str, ...] = ()
    if isinstance(asked, Ask):
        if isinstance(asked.answer, NumberAnswer):
            kind, code = "number", unit(asked.answer.number_in).code
        elif isinstance(asked.answer, ChoiceAnswer):
            kind, options = "choice", tuple(asked.answer.one_of)
        else:
            kind = KINDS[asked.answer]
    return Prompted(at, step, asked.verb, asked.thing, asked.ask, caution, kind, code, options)


def resume_prompt(at: float) -> Prompted:
    """The question that ends a pause."""
    question = "The run is paused and everything is off. Is the unit as you left it, and may the stage begin anew?"
    return Prompted(at, "resume", "confirm", "resume", question, "Outputs will be switched again.", "done", "")


def meaning(prompt: Prompted, text: str) -> str | float | Typed:
    """What an answer means: a word, a number in the prompt's unit, a reading by hand.

    Raises ValueError saying what was expected."""
    said = text.strip()
    if prompt.kind == "done":
        if said.lower() in ("done", "yes", "y", ""):
            return "done"
        raise ValueError(f"expected 'done', found {said!r}")
    if prompt.kind == "yes-no":
        for word in ("yes", "no"):
            if said.lower() in (word, word[0]):
                return word
        raise ValueError(f"expected 'yes' or 'no', found {said!r}")
    if prompt.kind == "choice":
        if said in prompt.options:
            return said
        raise ValueError(f"expected one of {', '.join(prompt.options)}, found {said!r}")
    if prompt.kind == "number":
        return number_typed(said, prompt.unit)[0]
    if prompt.kind == "stop-watch" and said.lower() == "never began":
        return "never began"
    if prompt.kind in ("reading", "stop-watch"):
        return typed(said, prompt.unit)
    if not said:
        raise ValueError("expected a few words")
    return said


@dataclass(frozen=True)
class Said:
    """An answer: its words, its meaning, and who gave it."""

    text: str
    meaning: str | float | Typed
    by: str


class People:
    """Everyone who can be asked during a run."""

    def __init__(
        self,
        hands: Hands | None,
        answers: Mapping[str, str],
        terminal: Terminal | None,
        emit: Callable[[Event], None],
        name: str = "",
    ) -> None:
        self._hands, self._answers, self._terminal, self._emit, self._name = hands, answers, terminal, emit, name
        self._unanswered: asyncio.Future[str] | None = None
        self.waiting: Callable[[], None] = lambda: None  # called again and again while a person thinks

    def named(self, by: str) -> str:
        """Who gave an answer, by name where it was a person with one."""
        return by if by.startswith("simulated person") or not self._name else self._name

    async def ask(self, prompt: Prompted, time: Callable[[], float], patience: float = 0.0) -> Said:
        """Put a question and wait for its answer; a simulated person who sees nothing yet looks on for ``patience``
        seconds. Raises Stopped when nobody can or will answer, InstrumentError when
        the simulated person is gone."""
        offered = await self._act(prompt, time, patience)
        prompt = replace(prompt, offered="" if offered is None else offered)
        self._emit(prompt)
        text, by = await self._answer(prompt, offered)
        try:
            said = Said(text, meaning(prompt, text), by)
        except ValueError as error:
            what = f"the answer cannot be used: {error}"
            raise Stopped(what, "Answer again with the next run.", prompt.step) from None
        self._emit(Answered(time(), prompt.step, text, by))
        return said

    async def _act(self, prompt: Prompted, time: Callable[[], float], patience: float) -> str | None:
        """Let the simulated person do it; what they say, as text."""
        if self._hands is None:
            return None
        until = time() + patience
        while True:
            answer = await self._hands.do(prompt.verb, prompt.thing, prompt.kind, prompt.options, prompt.unit)
            if answer.value is not None or time() >= until:
                return _words(answer.value, prompt.kind)

    async def _answer(self, prompt: Prompted, offered: str | None) -> tuple[str, str]:
        if prompt.step in self._answers:
            return self._answers[prompt.step], "prepared answers"
        if self._terminal is not None:
            said = await self._at_terminal(self._terminal, prompt)
            return (offered, "simulated person, accepted") if not said and offered is not None else (said, "terminal")
        if offered is not None:
            return offered, "simulated person"
        raise Stopped("nobody is there to answer", "Give --answers, or run it at a terminal.", prompt.step)

    async def _at_terminal(self, terminal: Terminal, prompt: Prompted) -> str:
        """The terminal's answer. One that comes for a question that was broken off is not taken for this one."""
        if self._unanswered is not None:
            await self._patiently(self._unanswered)
        self._unanswered = _in_thread(terminal, prompt)
        await self._patiently(self._unanswered)
        answer, self._unanswered = self._unanswered, None
        return answer.result()

    async def _patiently(self, answer: asyncio.Future[str]) -> None:
        while not answer.done():
            self.waiting()
            await asyncio.wait([answer], timeout=WAITING_EVERY)


def _in_thread(terminal: Terminal, prompt: Prompted) -> asyncio.Future[str]:
    """Ask at the terminal in a daemon thread: an executor's thread would hold up the end of a stopped run."""
    loop = asyncio.get_running_loop()
    future: asyncio.Future[str] = loop.create_future()

    def settle(said: str, error: BaseException | None) -> None:
        if future.done():
            return
        if error is not None:
            future.set_exception(error)
        else:
            future.set_result(said)

    def wait() -> None:
        said, error = "", None
        try:
            said = terminal(prompt)
        except BaseException as caught:  # whatever ended the asking belongs to the one who asked
            error = caught if isinstance(caught, Exception) else Stopped("the question was broken off", "", prompt.step)
        with contextlib.suppress(RuntimeError):  # the loop is gone: the run has ended meanwhile
            loop.call_soon_threadsafe(settle, said, error)

    threading.Thread(target=wait, name="terminal", daemon=True).start()
    return future


def _words(answer: Any, kind: str) -> str | None:
    """The simulated person's answer as a person would type it; None when they do not know."""
    if answer is None:
        return None
    if answer is True and kind == "done":
        return "done"
    if isinstance(answer, bool):
        return "yes" if answer else "no"
    return f"{answer:.6g}" if isinstance(answer, float) else str(answer)


def answer_faults(prompts: Iterable[Prompted], answers: Mapping[str, str], nobody_else: bool) -> tuple[Fault, ...]:
    """What is wrong with prepared answers before anything is energized: unusable ones, and, where nobody else can be
    asked, missing ones."""
    faults = []
    for prompt in prompts:
        if prompt.step in answers:
            try:
                meaning(prompt, answers[prompt.step])
            except ValueError as error:
                faults.append(Fault("answers", 0, 0, f"{prompt.step}: {error}"))
        elif nobody_else:
            faults.append(Fault("answers", 0, 0, f"{prompt.step}: no answer, and nobody is there to ask"))
    return tuple(faults)


def refuse_bad_answers(prompts: Iterable[Prompted], answers: Mapping[str, str], nobody_else: bool) -> None:
    """Raises InputError with every fault of ``answer_faults``."""
    faults = answer_faults(prompts, answers, nobody_else)
    if faults:
        raise InputError("the prepared answers do not do", faults=faults)


def canonical_number(said: Said, code: str) -> float:
    """A number's meaning in the canonical unit."""
    assert isinstance(said.meaning, float)
    return convert(said.meaning, code, canonical(code))
