from __future__ import annotations

import contextlib
import io
import os
import threading
import time
from collections.abc import Callable, Iterator

import pytest
from events_of_a_run import end
from rich.text import Text

from rig.cli.asking import Asking, Lines, expected
from rig.cli.printer import Printer
from rig.errors import Stopped
from rig.events import Event, Noted, Prompted


def still_wanted() -> bool:
    return True


def prompt(kind: str, unit: str = "", options: tuple[str, ...] = (), offered: str = "") -> Prompted:
    return Prompted(0.0, "look", "look", "thing", "Well?", "", kind, unit, options, offered)


def answer(prompted: Prompted, *lines: str) -> tuple[str, str]:
    """The answer, and what was printed on the way to it."""
    out = io.StringIO()
    waiting = iter(lines)
    return Asking(Printer(out), lambda wanted: next(waiting, ""))(prompted), out.getvalue()


@pytest.mark.parametrize(
    ("prompted", "lines", "said"),
    [
        (prompt("yes-no"), ["yes\n"], "yes"),
        (prompt("yes-no"), ["perhaps\n", "\n", "No\n"], "No"),
        (prompt("done"), ["\n"], "done"),
        (prompt("done", offered="done"), ["\n"], ""),
        (prompt("done"), ["not yet\n", "done\n"], "done"),
        (prompt("number", "Ohm"), ["a lot\n", "0.2 V\n", " 0.2\n"], "0.2"),
        (prompt("number", "Ohm"), ["150 mOhm\n"], "150 mOhm"),
        (prompt("choice", options=("clear", "milky")), ["brown\n", "milky\n"], "milky"),
        (prompt("text"), ["\n", "  two words \n"], "two words"),
        (prompt("text"), ["\x1b[31mred\n", "red\n"], "red"),
        (prompt("text"), ["x" * 5000 + "\n", "short\n"], "short"),
        (prompt("yes-no", offered="no"), ["\n"], ""),
        (prompt("yes-no", offered="no"), ["yes\n"], "yes"),
        (prompt("number", "g", offered="412"), ["\n"], ""),
        (prompt("text"), ["the last line, without an end"], "the last line, without an end"),
    ],
)
def test_answers(prompted: Prompted, lines: list[str], said: str) -> None:
    found, printed = answer(prompted, *lines)
    assert found == said
    assert printed.count(f"{expected(prompted)} > ") == len(lines)
    assert "\x1b" not in printed


@pytest.mark.parametrize("kind", ["done", "yes-no", "number", "text", "choice"])
def test_the_end_of_the_input_stops(kind: str) -> None:
    with pytest.raises(Stopped) as caught:
        answer(prompt(kind, options=("a", "b")))
    assert len(caught.value.lines()) == 2


def test_an_interrupt_stops() -> None:
    def interrupted(wanted: Callable[[], bool]) -> str:
        raise KeyboardInterrupt

    with pytest.raises(Stopped):
        Asking(Printer(io.StringIO()), interrupted)(prompt("yes-no"))


def test_what_is_expected_is_said() -> None:
    assert expected(prompt("number", "Ohm")) == "a number in Ohm"
    assert expected(prompt("choice", options=("clear", "milky\x1b"))) == "one of: clear, milky\\x1b"
    assert "Enter: no" in expected(prompt("yes-no", offered="no"))


@pytest.fixture
def pipe() -> Iterator[tuple[int, int]]:
    ends = os.pipe()
    yield ends
    for one in ends:
        with contextlib.suppress(OSError):  # closed by the test
            os.close(one)


def test_lines_come_one_by_one_in_whatever_pieces(pipe: tuple[int, int]) -> None:
    read, write = pipe
    lines = Lines(read)
    os.write(write, "yes\nnö".encode()[:-1])
    assert lines(still_wanted) == "yes\n"
    os.write(write, "nö".encode()[-1:] + b"\nlast")
    os.close(write)
    assert [lines(still_wanted), lines(still_wanted), lines(still_wanted)] == ["nö\n", "last", ""]


def test_bytes_that_are_no_text_do_not_end_the_asking(pipe: tuple[int, int]) -> None:
    os.write(pipe[1], b"\xff\xfe\nyes\n")
    found = Asking(Printer(io.StringIO()), Lines(pipe[0]))(prompt("yes-no"))
    assert found == "yes"


def test_the_bottom_line_stays_away_while_somebody_types() -> None:
    class Terminal(io.StringIO):
        def isatty(self) -> bool:
            return True

    out = Terminal()
    printer = Printer(out, terminal=True)
    seen: list[bool] = []

    def line(wanted: Callable[[], bool]) -> str:
        seen.append(printer.bottom_is_due())
        thread = threading.Thread(target=printer.bottom, args=(Text("busy"),))
        thread.start()
        thread.join()
        return "yes\n"

    Asking(printer, line)(prompt("yes-no"))
    assert seen == [False]
    assert "busy" not in out.getvalue()
    assert printer.bottom_is_due()


@pytest.mark.parametrize("event", [prompt("done"), end()], ids=["another question", "the end"])
def test_a_question_is_withdrawn_by(pipe: tuple[int, int], event: Event) -> None:
    asking = Asking(Printer(io.StringIO()), Lines(pipe[0]))
    answers: list[str] = []
    first = threading.Thread(target=lambda: answers.append(asking(prompt("yes-no"))))
    first.start()
    while asking._turn < 1:
        time.sleep(0.001)
    asking.take(event)
    first.join(10)
    assert answers == [""]
    os.write(pipe[1], b"for the second\n")
    assert asking(prompt("text")) == "for the second"


def test_what_happens_meanwhile_does_not_withdraw_a_question(pipe: tuple[int, int]) -> None:
    asking = Asking(Printer(io.StringIO()), Lines(pipe[0]))
    answers: list[str] = []
    first = threading.Thread(target=lambda: answers.append(asking(prompt("yes-no"))))
    first.start()
    while asking._turn < 1:
        time.sleep(0.001)
    asking.take(Noted(1.0, "something else"))
    os.write(pipe[1], b"yes\n")
    first.join(10)
    assert answers == ["yes"]


def test_a_question_that_was_broken_off_leaves_its_line_to_nobody() -> None:
    """Ctrl-Z at a prompt: what follows does not stand behind what was half typed."""
    out = io.StringIO()
    printer = Printer(out)
    asking = Asking(printer, lambda wanted: None)
    asking(prompt("yes-no"))
    printer.line("paused")
    assert out.getvalue().endswith("    yes or no > \npaused\n")


def test_an_answer_that_was_typed_leaves_no_empty_line() -> None:
    out = io.StringIO()
    printer = Printer(out)
    Asking(printer, lambda wanted: "yes\n")(prompt("yes-no"))
    printer.line("next")  # the terminal itself has shown the answer and the end of its line
    assert out.getvalue() == "    yes or no > next\n"


def test_answers_from_a_pipe_are_not_seen_and_end_their_prompts_line(pipe: tuple[int, int]) -> None:
    os.write(pipe[1], b"yes\n")
    out = io.StringIO()
    printer = Printer(out)
    assert Asking(printer, Lines(pipe[0]))(prompt("yes-no")) == "yes"
    printer.line("next")
    assert out.getvalue() == "    yes or no > \nnext\n"
