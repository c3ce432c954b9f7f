"""The program as the shell starts it: pipes, signals, terminals."""

from __future__ import annotations

import json
import os
import pty
import re
import select
import signal
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

ROOT = Path(__file__).parents[2]
RIG = [sys.executable, "-c", "from rig.cli.main import main; main()"]
LONGEST = 60.0  # s; only a test that fails waits so long

Spawn = Callable[..., "subprocess.Popen[str]"]


@pytest.fixture
def spawn(home: Path, tmp_path: Path) -> Iterator[Spawn]:
    """Starts ``rig`` with nobody at its input; what is left over is ended."""
    environment = os.environ | {"PYTHONPATH": str(ROOT), "TERM": "xterm"}
    started: list[subprocess.Popen[str]] = []

    def start(*arguments: str, encoding_of_streams: str = "utf-8", **streams: object) -> subprocess.Popen[str]:
        environment["PYTHONIOENCODING"] = encoding_of_streams
        how: dict[str, object] = {
            "stdin": subprocess.DEVNULL,
            "stdout": subprocess.PIPE,
            "stderr": subprocess.PIPE,
        }
        process: subprocess.Popen[str] = subprocess.Popen(
            [*RIG, *arguments], env=environment, cwd=tmp_path, text=True, encoding="utf-8", **(how | streams)
        )  # type: ignore[call-overload]
        started.append(process)
        return process

    yield start
    for process in started:
        if process.poll() is None:
            process.kill()
        process.wait(LONGEST)
        for stream in (process.stdout, process.stderr):
            if stream is not None:
                stream.close()


def until(process: subprocess.Popen[str], text: str) -> str:
    """What the process writes on stdout, up to a line that holds ``text``."""
    assert process.stdout is not None
    told = ""
    for line in process.stdout:
        told += line
        if text in line:
            return told
    raise AssertionError(f"{text!r} was not said:\n{told}{process.stderr.read() if process.stderr else ''}")


def test_help_imports_nothing_that_only_other_commands_need() -> None:
    heavy = ["pydantic", "sqlalchemy", "rich", "yaml", "pymodbus", "pyvisa", "textual", "asyncio"]
    program = (
        "import sys; from rig.cli.main import run; code = run(['--help']);"
        f"print(code, *(set({heavy}) & set(sys.modules)), file=sys.stderr)"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, timeout=LONGEST)
    assert done.stderr.strip() == "0"


def test_words_that_the_terminal_cannot_show_are_escaped(spawn: Spawn, two_looks: str) -> None:
    out, err = spawn("run", two_looks, "--serial", "größer", encoding_of_streams="ascii").communicate(timeout=LONGEST)
    assert "serial gr\\xf6\\xdfer" in out
    assert err == ""
    out, _ = spawn("check", "größer.yaml", encoding_of_streams="ascii").communicate(timeout=LONGEST)
    assert out == "gr\\xf6\\xdfer.yaml:0:0: no such file\n"


def test_a_reader_that_leaves_early_is_no_fault(spawn: Spawn, home: Path) -> None:
    process = spawn("run", "incoming-inspection", "--seed", "3")
    until(process, "SIMULATED")
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    assert process.wait(LONGEST) == 0
    assert process.stderr.read() == ""
    listed = spawn("runs", "--json").communicate(timeout=LONGEST)[0]
    assert json.loads(listed)[0]["verdict"] == "pass"  # the run went on to its end


def test_a_reader_of_json_that_leaves_early_is_no_fault_either(spawn: Spawn) -> None:
    process = spawn("schema", "procedure")
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.close()
    assert process.wait(LONGEST) == 0
    assert process.stderr.read() == ""


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_a_signal_stops_a_run_switches_off_and_is_on_record(
    spawn: Spawn, long_wait: str, number: signal.Signals
) -> None:
    process = spawn("run", long_wait, "--pace", "real", "--json", stderr=subprocess.STDOUT)
    until(process, "bus-on")
    process.send_signal(number)
    assert process.stdout is not None
    rest = process.stdout.read()
    assert process.wait(LONGEST) == 128 + number
    assert "Everything is off, and confirmed." in rest
    listed = json.loads(spawn("runs", "--json").communicate(timeout=LONGEST)[0])
    assert listed[0]["verdict"] == "stopped"
    told = spawn("runs", listed[0]["run"], "--json").communicate(timeout=LONGEST)[0]
    assert rest.endswith(told)
    value = json.loads(told)
    assert value["all_off"] is True
    assert number.name in value["reason"]


def test_a_run_that_is_killed_keeps_what_was_shown(spawn: Spawn, long_wait: str) -> None:
    process = spawn("run", long_wait, "--pace", "real")
    shown = until(process, "bus-on")

    def told() -> tuple[dict[str, Any], str, dict[str, Any]]:
        """The run in the list, the list as text, the run by itself."""
        (line,) = json.loads(spawn("runs", "--json").communicate(timeout=LONGEST)[0])
        value = json.loads(spawn("runs", line["run"], "--json").communicate(timeout=LONGEST)[0])
        return line, spawn("runs").communicate(timeout=LONGEST)[0], value

    listed, text, value = told()
    assert (listed["verdict"], listed["running"], value["verdict"], value["running"]) == (None, True, None, True)
    assert listed["reason"] == value["reason"] == "the run is still going on"
    assert "goes on" in text
    process.kill()
    process.wait(LONGEST)
    listed, text, value = told()
    assert listed["interrupted"] is True
    assert listed["verdict"] == value["verdict"] == "stopped"
    assert listed["reason"] == value["reason"]
    assert "stopped" in text
    assert "pass     bus-on" in shown
    assert [(step["name"], step["verdict"]) for step in value["steps"]] == [("bus-on", "pass")]
    assert value["all_off"] is False


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM, signal.SIGHUP])
def test_the_station_serves_a_run_until_it_is_stopped(
    spawn: Spawn, tmp_path: Path, two_looks: str, number: signal.Signals
) -> None:
    bench = tmp_path / "served.yaml"
    station = spawn("station", "--speed", "20", "--bench-file", str(bench))
    lines = until(station, "control tcp").splitlines()
    assert [re.sub(r":\d+$", ":PORT", line) for line in lines] == [
        "modbus tcp 127.0.0.1:PORT",
        "scpi tcp 127.0.0.1:PORT",
        "scale tcp 127.0.0.1:PORT",
        "person tcp 127.0.0.1:PORT",
        "control tcp 127.0.0.1:PORT",
    ]
    out, err = spawn("run", two_looks, "--bench", str(bench), "--pace", "real", "--json").communicate(timeout=LONGEST)
    value = json.loads(out)
    assert value["verdict"] == "pass"
    assert value["simulated"] is True
    assert "SIMULATED" in err
    station.send_signal(number)
    assert station.wait(LONGEST) == 128 + number
    assert station.stderr is not None
    assert station.stderr.read() == ""


def test_a_bench_file_that_cannot_be_written_ends_the_station(spawn: Spawn, tmp_path: Path) -> None:
    station = spawn("station", "--bench-file", str(tmp_path / "none" / "served.yaml"))
    out, err = station.communicate(timeout=LONGEST)
    assert (station.returncode, out) == (2, "")
    assert "cannot be written" in err


class Terminal:
    """A terminal with a program on it."""

    def __init__(self, spawn: Spawn, *arguments: str) -> None:
        self._here, there = pty.openpty()
        self.process = spawn(*arguments, stdin=there, stdout=there, stderr=there, start_new_session=True)
        os.close(there)
        self.shown = ""
        self._seen = 0

    def until(self, text: str) -> None:
        """Wait until the program has shown something that it had not when this was last asked."""
        deadline = time.monotonic() + LONGEST
        while text not in self.shown[self._seen :]:
            assert time.monotonic() < deadline, self.shown
            if select.select([self._here], [], [], 0.1)[0] and not self._read():
                raise AssertionError(f"{text!r} was not shown:\n{self.shown}")
        self._seen = self.shown.index(text, self._seen) + len(text)

    def type(self, text: str) -> None:
        os.write(self._here, text.encode())

    def end(self) -> int:
        """Read to the end; the exit code."""
        while self._read():
            pass
        os.close(self._here)
        return self.process.wait(LONGEST)

    def _read(self) -> bool:
        try:
            data = os.read(self._here, 65536)
        except OSError:  # the other side is closed
            return False
        self.shown += data.decode("utf-8", "replace")
        return bool(data)


def test_a_person_at_the_terminal_is_asked(spawn: Spawn, two_looks: str) -> None:
    terminal = Terminal(spawn, "run", two_looks)
    terminal.until("? Is the lid shut?")
    terminal.until("yes or no")
    terminal.type("perhaps\n")
    terminal.until("expected 'yes' or 'no'")
    terminal.type("no\n")
    assert terminal.end() == 1
    assert "\x1b[2K" in terminal.shown
    assert "answer: no" in terminal.shown
    told = spawn("runs", "--json").communicate(timeout=LONGEST)[0]
    value = json.loads(spawn("runs", json.loads(told)[0]["run"], "--json").communicate(timeout=LONGEST)[0])
    assert value["answered_by"] == "terminal"
    assert value["steps"][0]["answer"] == "no"


def test_enter_accepts_what_the_simulated_person_saw(spawn: Spawn, two_looks: str) -> None:
    terminal = Terminal(spawn, "run", two_looks)
    terminal.until("simulated person]")
    terminal.type("\n")
    assert terminal.end() in (0, 1)
    assert "simulated person, accepted" in terminal.shown


def test_the_end_of_the_input_stops_the_run(spawn: Spawn, two_looks: str) -> None:
    terminal = Terminal(spawn, "run", two_looks)
    terminal.until("yes or no")
    terminal.type("\x04")
    assert terminal.end() == 3
    assert "Everything is off, and confirmed." in terminal.shown


def test_an_interrupt_while_asked_stops_the_run(spawn: Spawn, two_looks: str) -> None:
    terminal = Terminal(spawn, "run", two_looks)
    terminal.until("yes or no")
    terminal.process.send_signal(signal.SIGINT)
    assert terminal.end() == 130
    assert "Everything is off, and confirmed." in terminal.shown
    assert "Traceback" not in terminal.shown
    assert "Fatal Python error" not in terminal.shown


def test_a_pause_while_asked_asks_whether_to_go_on_and_then_asks_again(spawn: Spawn, two_looks: str) -> None:
    terminal = Terminal(spawn, "run", two_looks)
    terminal.until("yes or no")
    terminal.process.send_signal(signal.SIGTSTP)
    terminal.until("paused")
    terminal.until("Enter when done")
    terminal.type("\n")
    terminal.until("yes or no")
    terminal.type("yes\n")
    assert terminal.end() == 0
    assert "(attempt 2)" in terminal.shown


def test_nobody_is_asked_when_the_simulated_person_is_meant(spawn: Spawn, two_looks: str) -> None:
    terminal = Terminal(spawn, "run", two_looks, "--person", "simulated")
    assert terminal.end() in (0, 1)
    assert "yes or no" not in terminal.shown
