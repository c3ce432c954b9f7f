"""What one sees of a run: on a pipe, on a terminal, on a stream that knows nothing but ASCII."""

from __future__ import annotations

import io
import os
import pty
import re
import termios
from collections.abc import Iterable

import pytest
from events_of_a_run import SUPPLY, began, end, judged, steps, without_reading
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from rig.cli import printer as printer_module
from rig.cli.live import Live
from rig.cli.printer import Printer
from rig.events import AllOff, Answered, Event, Noted, Prompted, Sampled, StageStarted, StepStarted
from rig.limits import Limit, Verdict

HOSTILE = "LM\x1b[31m\x07\u202e[bold]x[/bold]\r\n\x9b1m\x00"
# everything that moves a cursor, colours, rings or turns text round
CONTROLS = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u200e\u200f\u202a-\u202e\u2066-\u2069]")


class Stream(io.StringIO):
    """A stream as Python opens them: with an encoding, perhaps on a terminal."""

    def __init__(self, encoding: str = "utf-8", terminal: bool = False) -> None:
        super().__init__()
        self._encoding, self._terminal = encoding, terminal

    @property
    def encoding(self) -> str:  # type: ignore[override]
        return self._encoding

    def isatty(self) -> bool:
        return self._terminal


@pytest.fixture(autouse=True)
def _plain_surroundings(monkeypatch: pytest.MonkeyPatch) -> None:
    for name in ("NO_COLOR", "FORCE_COLOR", "COLUMNS", "TTY_COMPATIBLE", "COLORTERM"):
        monkeypatch.delenv(name, raising=False)
    monkeypatch.setenv("TERM", "xterm-256color")


def a_run(text: str = "plain") -> list[Event]:
    """A run whose every word from outside is ``text``."""
    limit = Limit(20.4, 28.8, "V", text, shown_in="V")
    return [
        began(procedure=text, serial=text, unit=text, bench=text, by=text, job=text, faults=((text, 0.5),)),
        StageStarted(0.0, "papers", text, "dead", (text,)),
        StepStarted(0.0, "look-over", "papers", text, 2.0),
        Prompted(0.0, "look-over", "look", "thing", text, text, "text", ""),
        Answered(1.0, "look-over", text, text),
        *steps(without_reading("look-over", Verdict.PASS, text, answer=text)),
        StepStarted(1.0, text, "papers", "measure DC volts", 2.0),
        Sampled(1.5, text, text, 14.0, "V"),
        *steps(judged(text, 14.1, 0.01, limit, reason=text)),
        *steps(without_reading("heat-rise", Verdict.NOT_RUN, text)),
        Noted(2.0, text),
        AllOff(2.0, False, (text,)),
        end(Verdict.FAIL, all_off=False, reason=text),
    ]


def told(events: Iterable[Event], stream: Stream, **how: object) -> str:
    with Live(Printer(stream), **how) as live:  # type: ignore[arg-type]
        for event in events:
            live(event)
    return stream.getvalue()


@pytest.mark.parametrize("encoding", ["utf-8", "ascii", "cp1252"])
@pytest.mark.parametrize("asks", [False, True])
def test_a_pipe_gets_no_control_characters_whatever_people_write(encoding: str, asks: bool) -> None:
    text = told(a_run(HOSTILE), Stream(encoding), asks=asks, again=HOSTILE)
    assert not CONTROLS.search(text)
    assert "LM\\x1b[31m" in text
    assert "[bold]x[/bold]" in text
    text.encode(encoding)


def test_a_terminal_gets_none_but_our_own() -> None:
    text = told(a_run(HOSTILE), Stream(terminal=True))
    left = re.sub(r"\r\x1b\[2K|\x1b\[[0-9;]*m", "", text)
    assert not CONTROLS.search(left)


@given(st.text(max_size=60))
def test_no_text_at_all_gets_through_to_a_pipe(text: str) -> None:
    assert not CONTROLS.search(told(a_run(text), Stream()))


def test_simulated_is_said_at_top_and_bottom_and_only_then() -> None:
    lines = told(a_run(), Stream()).splitlines()
    assert lines[0].startswith("SIMULATED")
    assert lines[-1] == "SIMULATED"
    real = told([began(simulated=False), end()], Stream())
    assert "SIMULATED" not in real


@pytest.mark.parametrize("width", [40, 60, 79, 80, 100, 110, 160])
def test_nothing_is_wider_than_the_terminal(monkeypatch: pytest.MonkeyPatch, width: int) -> None:
    monkeypatch.setenv("COLUMNS", str(width))
    long = "a-very-long-name-" * 8
    for events in (a_run("plain"), a_run(long), a_run("日本語の長い文" * 20)):
        for line in told(events, Stream()).splitlines():
            assert cell_len(line) < width


def test_the_ruler_goes_below_before_anything_is_wrapped(monkeypatch: pytest.MonkeyPatch) -> None:
    events = [began(), *steps(judged("fill-supply-loaded", 24.6, 0.01, SUPPLY)), end()]
    monkeypatch.setenv("COLUMNS", "110")
    wide = told(events, Stream())
    monkeypatch.setenv("COLUMNS", "80")
    narrow = told(events, Stream())
    assert "pass     fill-supply-loaded           24.600 ± 0.020 V     20.4–28.8 V       ····┃─────◆" in wide
    below = " " * 41 + "····┃─────◆"
    assert f"pass     fill-supply-loaded           24.600 ± 0.020 V     20.4–28.8 V\n{below}" in narrow
    monkeypatch.setenv("COLUMNS", "60")
    assert (
        "pass     fill-supply-loaded\n" + " " * 12 + "24.600 ± 0.020 V  20.4–28.8 V\n" + " " * 12 + "····┃─────◆"
        in told(events, Stream())
    )


def test_nothing_of_a_name_is_lost_on_a_narrow_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    name = "chassis-reference-resistance-again"
    monkeypatch.setenv("COLUMNS", "40")
    text = told([began(), *steps(judged(name, 24.6, 0.01, SUPPLY)), end()], Stream())
    assert f"pass\n   {name}\n" in text
    heading = told([StageStarted(0.0, "first", "First power and the fill, the lid shut", "board drives", ())], Stream())
    assert "board drives" in " ".join(heading.split())


def test_ascii_where_there_is_no_more() -> None:
    events = [
        began(),
        StageStarted(0.0, "s", "Stage", "dead", ("Gloves.",)),
        *steps(judged("a", 24.6, 0.01, SUPPLY), judged("b", 1.0, 0.1, Limit(None, 0.2, "Ohm", "x"))),
        end(Verdict.FAIL),
    ]
    text = told(events, Stream("ascii"))
    assert text.isascii()
    assert "24.600 +- 0.020 V" in text
    assert "....|-----O-----|...." in text
    assert "0.8 Ohm above the most allowed 0.2 Ohm" in text


@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "shift-jis"])
def test_what_the_stream_cannot_carry_is_escaped(encoding: str) -> None:
    text = told(a_run("größer 日本語 €"), Stream(encoding))
    text.encode(encoding)
    assert text.endswith("SIMULATED\n")


def test_colour_only_on_a_terminal_and_not_with_no_color(monkeypatch: pytest.MonkeyPatch) -> None:
    coloured = re.compile(r"\x1b\[[0-9;]*3[0-7]m")
    assert coloured.search(told(a_run(), Stream(terminal=True)))
    monkeypatch.setenv("FORCE_COLOR", "1")
    assert "\x1b" not in told(a_run(), Stream())
    monkeypatch.setenv("NO_COLOR", "1")
    assert not coloured.search(told(a_run(), Stream(terminal=True)))


def test_the_words_are_the_same_with_and_without_colour() -> None:
    plain = told(a_run(), Stream()).split()
    terminal = told(a_run(), Stream(terminal=True))
    stripped = re.sub(r"\r\x1b\[2K(\x1b\[36m[^\x1b]*\x1b\[0m(?=\r))?|\x1b\[[0-9;]*m", "", terminal)
    for word in ("fail", "✗", "pass", "✓", "not", "run", "NOT", "CONFIRMED"):
        assert word in stripped.split()
        assert word in plain


def test_the_closing_words_say_what_failed_and_by_how_much(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "200")
    events = [
        began(),
        *steps(
            judged("fill-supply-loaded", 14.1, 0.01, SUPPLY),
            without_reading("first", Verdict.NOT_RUN, "needs fill-supply-loaded, which was: fail"),
            without_reading("second", Verdict.NOT_RUN, "needs fill-supply-loaded, which was: fail"),
            without_reading("coil", Verdict.NO_READING, "the meter did not answer"),
            judged("edge", 20.41, 0.02, SUPPLY),
            without_reading("asked", Verdict.FAIL, None, answer="no"),
        ),
        AllOff(9.0, True, ()),
        end(Verdict.NO_READING),
    ]
    text = told(events, Stream(), again="rig runs 019f22e2")
    assert "fail fill-supply-loaded: 14.1 V, 6.3 V below the least allowed 20.4 V" in text
    assert "first, second: needs fill-supply-loaded, which was: fail" in text
    assert "no reading coil: the meter did not answer" in text
    assert "conditional pass edge: 20.41 V, 0.01 V above the least allowed 20.4 V; its uncertainty is 0.04 V" in text
    assert "fail asked: answered no" in text
    assert "Everything is off, and confirmed." in text
    assert "See it again with: rig runs 019f22e2" in text


def test_what_could_not_be_confirmed_off_is_named() -> None:
    text = told([began(), AllOff(9.0, False, ("mains", "fill-feed")), end(all_off=False)], Stream())
    assert "NOT CONFIRMED OFF: mains, fill-feed. Press the emergency stop" in text
    assert "Everything is off" not in text


def test_a_run_that_breaks_off_still_says_what_is_off() -> None:
    assert "Everything is off, and confirmed." in told([began(), AllOff(9.0, True, ())], Stream())
    assert "NOT CONFIRMED OFF: mains" in told([began(), AllOff(9.0, False, ("mains",))], Stream())


def test_cautions_come_before_the_work_and_before_the_question() -> None:
    events = [
        began(),
        StageStarted(0.0, "s", "Stage", "board drives", ("Mains.",)),
        StepStarted(0.0, "look", "s", "ask", 1.0),
        Prompted(0.0, "look", "look", "thing", "All well?", "Hot steam.", "yes-no", ""),
        Answered(1.0, "look", "yes", "terminal"),
        *steps(without_reading("look", Verdict.PASS, None, answer="yes")),
        end(),
    ]
    text = told(events, Stream(), asks=True)
    order = [text.index(t) for t in ("Stage", "Mains.", "Hot steam.", "All well?", "answer: yes")]
    assert order == sorted(order)
    assert text.count("All well?") == 1


def test_who_answered_is_said() -> None:
    events = [
        began(),
        Prompted(0.0, "look", "look", "thing", "All well?", "", "yes-no", ""),
        Answered(1.0, "look", "yes", "simulated person"),
    ]
    assert "? All well? = yes (simulated person)" in told(events, Stream())


def test_the_bottom_line(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("COLUMNS", "120")
    monkeypatch.setattr(printer_module, "DRAW_EVERY", 0.0)
    stream = Stream(terminal=True)
    with Live(Printer(stream)) as live:
        for event in (
            began(steps=4, minutes=12.0),
            *steps(without_reading("look", Verdict.PASS, None, answer="yes")),
            StepStarted(60.0, "fill-time", "fill", "time a change", 3.0),
            Sampled(107.0, "fill-time", "chamber-temperature", 21.26, "Cel"),
        ):
            live(event)
        last = stream.getvalue().rpartition("\r\x1b[2K")[2]
        assert re.sub(r"\x1b\[[0-9;]*m", "", last) == (
            "▸ 1/4 · 11 min left · fill-time 0:47 · time a change · chamber-temperature 21.26 °C"
        )
    assert stream.getvalue().endswith("\r\x1b[2K")


def test_a_finished_line_takes_the_bottom_line_away_first(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(printer_module, "DRAW_EVERY", 0.0)
    stream = Stream(terminal=True)
    with Live(Printer(stream)) as live:
        live(began())
        live(StepStarted(1.0, "a", "s", "settle", 1.0))
        before = len(stream.getvalue())
        live(*steps(judged("a", 24.6, 0.01, SUPPLY)))
        assert stream.getvalue()[before:].startswith("\r\x1b[2K")


def test_the_bottom_line_is_drawn_by_the_wall_not_by_the_event(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(printer_module, "DRAW_EVERY", 3600.0)
    stream = Stream(terminal=True)
    live = Live(Printer(stream))
    live(began())
    live(StepStarted(1.0, "a", "s", "settle", 1.0))
    before = stream.getvalue()
    for n in range(1000):
        live(Sampled(1.0 + n, "a", "q", float(n), "V"))
    assert stream.getvalue() == before


def test_a_dumb_terminal_is_a_pipe(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    assert "\x1b" not in told(a_run(), Stream(terminal=True))


def test_a_dumb_terminal_is_as_wide_as_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("TERM", "dumb")
    leader, follower = pty.openpty()
    try:
        termios.tcsetwinsize(follower, (24, 60))
        with open(follower, "w", encoding="utf-8", closefd=False) as stream:
            assert Printer(stream).width == 60
    finally:
        os.close(leader)
        os.close(follower)


class Broken(Stream):
    """A pipe whose reader has gone."""

    def write(self, text: str) -> int:
        raise BrokenPipeError(32, "Broken pipe")


def test_a_reader_that_is_gone_does_not_end_the_run() -> None:
    printer = Printer(Broken(terminal=True))
    with Live(printer) as live:
        for event in a_run():
            live(event)
    assert printer.gone
