"""The wire log of a bench, written at the drivers' end: the same as the station's own, and it plays back."""

from __future__ import annotations

import asyncio
import contextlib
import io
import json
from pathlib import Path
from typing import Any

import pytest

from rig.bench.opening import StationOrder, open_bench
from rig.bench.wire_log import WireLog
from rig.cli.main import run as command
from rig.errors import InputError, InstrumentError
from rig.plan.load import load_named
from rig.plan.plan import make_plan
from rig.plan.wiring import Bench
from rig.run.journal import ListJournal
from rig.run.play_back import Played, play_back
from rig.run.run_in_log import RunInLog
from rig.run.session import RunRequest, run_procedure
from simulators.station import Station
from simulators.wire.log import WireLog as StationLog
from simulators.wire.log import read_log

FIELD = sorted((Path(__file__).parents[1] / "faults" / "field").glob("*.jsonl"))


def logged(path: Path, bench: str = "simulated", procedure: str = "bench-self-check", **request: Any) -> str:
    """A run with its wire log; its verdict."""
    files = {
        "procedure": load_named("procedure", procedure),
        "unit-profile": load_named("unit-profile", "demo-18-dc"),
        "bench": load_named("bench", bench),
    }
    log = WireLog.create(str(path))
    told = RunInLog(log, files, (), "A. Bench")
    asked = RunRequest(run="test", by="A. Bench", wire_log=log, **request)
    plan = make_plan(files["procedure"], files["unit-profile"], files["bench"])
    record = run_procedure(asked, plan, [told], lambda _: ListJournal(), told.opened)
    log.close()
    return str(record.ended.verdict)


@pytest.mark.parametrize("bench", ["simulated", "simulated-rtu"])
def test_both_ends_of_a_wire_write_the_same(bench: str) -> None:
    """All instruments, honest and lying: bytes, words and order; and times, but for the silences of a serial line."""
    wiring = load_named("bench", bench).model
    assert isinstance(wiring, Bench)
    ours, theirs = io.StringIO(), io.StringIO()

    async def look(live: Any) -> None:
        board, instruments = live.instruments["relays-1"], live.instruments
        for name in instruments:
            await instruments[name].identify()
        await board.write(17, True)
        await board.write_all([False] * 24)
        await board.set_watchdog(16, 0.1, 4.0)
        await board.read()
        await instruments["inputs-1"].read()
        await instruments["analog-1"].read_raw(0, 10)
        await live.quantity("socket-voltage")
        await live.quantity("scale-mass")
        await instruments["meter-1"].measure("DC volts", 10.0)
        await live.hands.do("look", "lid", "yes-no", (), "")

    async def work() -> None:
        log = WireLog(ours)
        bench = await open_bench(wiring, StationOrder(unit="demo-18-dc"), lambda event: None, log)
        station = bench.station
        assert isinstance(station, Station)
        for name, listener in station._listeners.items():
            listener.link.log = StationLog(theirs) if name != "control" else None
        try:
            await look(bench.live)
            for kind, on in (("exception-6", "analog-1"), ("half", "inputs-1"), ("garbage", "relays-1"),
                             ("empty-line", "meter-1"), ("no-terminator", "scale-1")):  # fmt: skip
                station.misbehave(kind, on, 1)
            for _ in range(8):
                with contextlib.suppress(InstrumentError):
                    await look(bench.live)
        finally:
            await bench.close()

    asyncio.run(work())
    mine, his = (list(read_log(text.getvalue().splitlines())) for text in (ours, theirs))
    assert {entry.link for entry in mine} == {"modbus", "meter", "scale", "person"}
    for link in ("modbus", "meter", "scale", "person"):
        one, other = ([e for e in log if e.link == link and e.way != "end"] for log in (mine, his))
        assert [e.words for e in one if e.way == "ask"] == [e.words for e in other if e.way == "ask"]
        for a, b in zip(_joined(one), _joined(other), strict=True):
            assert a[:2] == b[:2]
            assert b[2].startswith(a[2]), "what came after somebody stopped listening was not heard"
        said = [e for e in one if e.way == "say"]
        assert [e.words for e in said if "damaged" not in e.words and e.words.get("text") != ""]
        for a, b in zip([e for e in one if e.way == "ask"], [e for e in other if e.way == "ask"], strict=True):
            assert abs(a.us - b.us) <= 20_000 or link == "person"


def _joined(entries: list[Any]) -> list[tuple[str, str, bytes]]:
    """What was said in one go at one end may have come in two at the other."""
    found: list[tuple[str, str, bytes]] = []
    for entry in entries:
        if entry.way == "say" and found and found[-1][0] == "say":
            found[-1] = (*found[-1][:2], found[-1][2] + entry.what)
        else:
            found.append((entry.way, entry.instrument if entry.link != "person" else "", entry.what))
    return found


LIES = [
    ("half", "inputs-1"), ("exception-6", "relays-2"), ("twice", "relays-1"), ("garbage-before", "relays-2"),
    ("previous-answer", "meter-1"), ("one-behind", "meter-1"), ("non-ascii", "meter-1"), ("overflow", "meter-1"),
    ("hang-up", "meter-1"), ("silence", "relays-2"),
]  # fmt: skip


@pytest.mark.parametrize("bench", ["simulated", "simulated-rtu"])
@pytest.mark.parametrize(("kind", "on"), [("", ""), *LIES])
def test_a_run_comes_to_the_same_when_its_log_is_played_back(kind: str, on: str, bench: str, tmp_path: Path) -> None:
    if kind == "hang-up" and bench == "simulated-rtu":
        pytest.skip("a serial line has no connections")
    path = tmp_path / "field.jsonl"
    verdict = logged(path, bench, wire_faults=((kind, on, 3),) if kind else ())
    played = play_back(str(path))
    assert played.verdict_then == played.verdict_now == verdict
    assert played.same, played
    assert played.otherwise == (), played
    assert verdict == "pass" or kind


def test_what_people_typed_and_switched_is_played_back(tmp_path: Path) -> None:
    """A bench of hands has no wire at all: its log has the person's answers, at the times when they came."""
    path = tmp_path / "hands.jsonl"
    verdict = logged(path, "simulated-hand-meter", "incoming-inspection", faults=(("lead-high-ohm", 1.0),))
    played = play_back(str(path))
    assert (played.same, played.verdict_now, played.otherwise) == (True, verdict, ())
    assert [s["reading"] for s in played.now] == [s["reading"] for s in played.then]


def test_where_nobody_stands_on_a_wire_the_terminal_s_answers_are_played_back(tmp_path: Path) -> None:
    path = tmp_path / "typed.jsonl"
    answers = {
        "all-off": "done",
        "short": "0.02 Ohm ± 0.01 Ohm with HM-2", "hundred-ohm": "100.02 Ohm ± 0.05 Ohm with HM-2",
        "five-volts": "5.001 V ± 0.01 V with HM-2", "switch-time-relay": "done", "half-minute-ready": "done",
        "half-minute": "30.1 s ± 0.5 s with SW-1",
    }  # fmt: skip
    verdict = logged(path, "hand-meter", answers=answers, lockstep=False, person="auto")
    played = play_back(str(path))
    assert (played.same, played.verdict_now, played.otherwise) == (True, verdict, ())
    assert "100.02" in str(played.now[1]["reading"])


@pytest.mark.parametrize("bench", ["simulated", "simulated-rtu"])
def test_a_whole_inspection_is_played_back_with_nothing_asked_otherwise(bench: str, tmp_path: Path) -> None:
    path = tmp_path / "whole.jsonl"
    assert logged(path, bench, "incoming-inspection", seed=3) == "pass"
    played = play_back(str(path))
    assert (played.same, played.otherwise) == (True, ())


@pytest.mark.parametrize("path", FIELD, ids=lambda path: path.stem)
def test_logs_of_the_field_come_to_what_they_came_to(path: Path) -> None:
    """A log that is put into tests/faults/field is a test from then on."""
    played = play_back(str(path))
    assert played.same, played


def test_a_log_that_comes_to_something_else_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = tmp_path / "field.jsonl"
    logged(path)
    text = path.read_text(encoding="utf-8")
    readings = [line for line in text.splitlines() if '"link": "meter"' in line and '"say"' in line and "E-0" in line]
    assert readings
    for line in readings:  # the meter says 9.9E37 where it said next to nothing
        entry = json.loads(line)
        stamp, _, rest = bytes.fromhex(entry["raw"]).partition(b";")
        entry["raw"] = (stamp + b";9.90000000E+37;" + rest.partition(b";")[2]).hex()
        text = text.replace(line, json.dumps(entry))
    path.write_text(text, encoding="utf-8")
    assert command(["replay", str(path)]) == 1
    said = capsys.readouterr().out
    assert "NOT the same" in said
    assert "pass then, no reading now" in said
    assert command(["replay", str(path), "--json"]) == 1
    assert json.loads(capsys.readouterr().out)["same"] is False


def test_a_log_overwrites_nothing(tmp_path: Path) -> None:
    path = tmp_path / "kept"
    path.write_text("kept", encoding="utf-8")
    for name, says in ((str(path), "overwrites none"), (str(tmp_path / "no" / "x"), "cannot be written"),
                       (str(tmp_path), "overwrites none"), ("a\0b", "cannot be written")):  # fmt: skip
        with pytest.raises(InputError, match=says):
            WireLog.create(name)
    assert path.read_text(encoding="utf-8") == "kept"


def test_a_full_disk_ends_the_log_and_not_the_run() -> None:
    class Full(io.StringIO):
        def write(self, text: str) -> int:
            raise OSError(28, "No space left on device")

    log = WireLog(Full())
    link = log.link("modbus", "lines", lambda data, asked: {})
    link.asked("x", b"1", 0.0)
    link.said("x", b"2", 1.0)
    assert log.lost == "No space left on device"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "no run"),
        ('{"us": 1, "link": "a", "wire": "lines", "instrument": "", "way": "ask", "raw": "41"}', "no run"),
        ('{"us": 0, "about": "run"}', "no whole run"),
        ('{"us": 0, "about": "run"}\n{"us": 0, "about": "end"}', "not whole"),
        ("{", "line 1"),
        ("[]", "line 1"),
        ('{"about": {}}\n7', "line 2"),
        ("\udcff", "line"),
    ],
)
def test_what_is_no_log_is_told(text: str, says: str, tmp_path: Path) -> None:
    path = tmp_path / "x"
    path.write_bytes(text.encode("utf-8", "surrogateescape"))
    with pytest.raises(InputError, match=says):
        play_back(str(path))
    with pytest.raises(InputError, match="cannot be read"):
        play_back(str(tmp_path / "none"))


def test_played_is_the_same_only_with_every_verdict() -> None:
    step = {"step": "a", "attempt": 1, "verdict": "pass", "reading": "1 V", "reason": None}
    assert Played((step,), ({**step, "reading": "2 V"},), "pass", "pass", ()).same
    assert not Played((step,), ({**step, "verdict": "fail"},), "pass", "pass", ()).same
    assert not Played((step,), (), "pass", "pass", ()).same
    assert not Played((step,), (step,), "pass", "fail", ()).same
