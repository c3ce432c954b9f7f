"""The commands as a person or a script calls them."""

from __future__ import annotations

import json
import re
import shlex
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest
from small_procedures import TWO_LOOKS

from rig.cli.main import COMMANDS, cli
from rig.cli.run import command as run_command
from rig.errors import InputError, NoAnswer, RecordError, RuleError
from rig.plan.load import load_named
from rig.plan.wiring import Bench

Rig = Callable[..., tuple[int, str, str]]


# running, and telling it later


def test_a_run_is_one_json_value_and_reads_back_byte_for_byte(rig: Rig) -> None:
    code, out, shown = rig("run", "incoming-inspection", "--serial", "LM-1", "--seed", "3", "--json")
    assert code == 0
    value = json.loads(out)
    assert (value["verdict"], value["serial"], value["all_off"]) == ("pass", "LM-1", True)
    assert {"name", "verdict", "reading", "limit", "bracket", "conformance_probability"} <= set(value["steps"][0])
    assert shown.startswith("SIMULATED")
    assert "Verdict: ✓ pass" in shown
    for again in (("runs", value["run"][:13]), ("runs", value["run"]), ("run", "--show", value["run"][:13])):
        assert rig(*again, "--json") == (0, out, "")


def test_a_run_told_later_reads_as_it_did(rig: Rig) -> None:
    _, shown, _ = rig("run", "incoming-inspection", "--fault", "rectifier-open")
    (run,) = re.findall(r"^Run (\S+)$", shown, re.MULTILINE)
    _, later, _ = rig("runs", run)
    assert later == shown.replace(f"See it again with: rig runs {run[:13]}\n", "")
    assert re.search(r"fail fill-supply-loaded: [\d.]+ V, [\d.]+ V below the least allowed 20.4 V\n", shown)


def test_a_unit_that_does_not_pass_exits_1(rig: Rig) -> None:
    code, out, _ = rig("run", "incoming-inspection", "--fault", "coil-open=1", "--json")
    assert code == 1
    assert json.loads(out)["verdict"] == "fail"


def test_the_list_of_runs(rig: Rig, two_looks: str) -> None:
    assert rig("runs") == (0, "No runs are on record here.\n", "")
    assert json.loads(rig("runs", "--json")[1]) == []
    rig("run", two_looks, "--serial", "one", "--by", "A. Bench", "--job", "J-1")
    rig("run", two_looks, "--serial", "two\x1b[31m")
    code, out, _ = rig("runs")
    lines = out.splitlines()
    assert code == 0
    assert lines[0].split() == ["id", "when", "(UTC)", "procedure", "serial", "verdict"]
    assert lines[1].endswith("two-looks  two\\x1b[31m  ✓ pass SIMULATED")
    assert "one" in lines[2]
    _, only, _ = rig("runs", "--serial", "one", "--json")
    (row,) = json.loads(only)
    assert (row["serial"], row["verdict"], row["interrupted"], row["by"]) == (
        "one",
        "pass",
        False,
        "A. Bench",
    )


def test_a_run_without_an_end_is_told_as_interrupted(rig: Rig, two_looks: str, home: Path) -> None:
    _, out, _ = rig("run", two_looks, "--json")
    run = json.loads(out)["run"]
    with sqlite3.connect(home / "records.sqlite") as records:
        records.execute("DROP TRIGGER events_no_delete")
        records.execute("DELETE FROM events WHERE kind IN ('RunEnded', 'AllOff')")
    assert "interrupted" in rig("runs")[1]
    _, told, _ = rig("runs", run)
    assert "Verdict: ■ stopped" in told
    assert "step ambient ended" in told
    assert "It is not known whether everything is off." in told
    value = json.loads(rig("runs", run, "--json")[1])
    assert (value["verdict"], value["wall_seconds"], value["interrupted"]) == ("stopped", None, True)
    assert value["all_off"] is False


def test_prepared_answers(rig: Rig, two_looks: str, tmp_path: Path) -> None:
    answers = tmp_path / "answers.yaml"
    answers.write_text("lid: no\n", encoding="utf-8")
    code, out, _ = rig("run", two_looks, "--answers", str(answers), "--json")
    value = json.loads(out)
    assert code == 1
    assert "prepared answers" in value["answered_by"]
    assert [(s["name"], s["verdict"]) for s in value["steps"]] == [("lid", "fail"), ("ambient", "pass")]
    answers.write_text("ld: no\n", encoding="utf-8")
    code, out, err = rig("run", two_looks, "--answers", str(answers))
    assert (code, out) == (2, "")
    assert err == f"{answers}:1:1: no prompt is called 'ld'; nearest is 'lid'\n"


def test_another_store(rig: Rig, two_looks: str, tmp_path: Path, home: Path) -> None:
    url = f"sqlite:///{tmp_path / 'other place.sqlite'}"
    code, shown, _ = rig("run", two_looks, "--store", url)
    assert code == 0
    assert f"--store '{url}'" in shown
    assert "two-looks" in rig("runs", "--store", url)[1]
    assert not home.exists()


def test_a_store_that_cannot_be_had(rig: Rig, two_looks: str, tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    code, out, err = rig("run", two_looks, "--store", f"sqlite:///{tmp_path / 'file' / 'x.sqlite'}")
    assert (code, out) == (3, "")
    assert len(err.splitlines()) == 2
    code, out, err = rig("run", two_looks, "--store", "postgresql://shop/records")
    assert code == 2
    assert "rig gather" in err
    assert rig("runs", "--store", f"sqlite:///{tmp_path / 'none.sqlite'}")[0] == 2


def test_hostile_serials_are_kept_and_shown_but_never_sent(rig: Rig, two_looks: str) -> None:
    serial = "\x1b]0;x\x07\u202e'; DROP TABLE runs; --[red]"
    code, out, shown = rig("run", two_looks, "--serial", serial, "--json")
    assert code == 0
    assert json.loads(out)["serial"] == serial
    assert out.isascii()
    for text in (out, shown, rig("runs")[1], rig("runs", json.loads(out)["run"])[1]):
        assert not {"\x1b", "\x07", "\u202e"} & set(text)
    assert rig("run", two_looks, "--serial", "\udcff")[0] == 2
    assert rig("run", two_looks, "--serial", "x" * 1000)[0] == 2


# what is wrong is said in few lines, and nothing is run


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        (("rnu",), "no command is called 'rnu'; nearest is 'run'"),
        (("run", "incoming-inspection", "--bnech", "x"), "--bench"),
        (("run", "incoming-inspecton"), "nearest is 'incoming-inspection'"),
        (("run", "incoming-inspection", "--unit", "demo-18"), "demo-18-dc"),
        (("run", "incoming-inspection", "--bench", "simulate"), "nearest is 'simulated'"),
        (("run", "incoming-inspection", "--fault", "coil-opn"), "coil-open"),
        (("run", "incoming-inspection", "--fault", "coil-open=2"), "between 0 and 1"),
        (("run", "incoming-inspection", "--fault", "coil-open=nan"), "between 0 and 1"),
        (("run", "incoming-inspection", "--fault", "coil-open=x"), "NAME=SEVERITY"),
        (("run", "incoming-inspection", "--fault", "a", "--fault", "a"), "given twice"),
        (("run", "incoming-inspection", "--seed", "-1"), "--seed"),
        (("run", "incoming-inspection", "--pace", "fast"), "lockstep"),
        (("run", "incoming-inspection", "--answers", "none.yaml"), "no such file"),
        (("run", "none.yaml"), "no such file"),
        (("run",), "expected a PROCEDURE"),
        (("run", "x", "--show", "y"), "expected a PROCEDURE"),
        (("run", "--show", "ffff"), "no records"),
        (("runs", "ffff"), "no records"),
        (("runs", "--limit", "0"), "--limit"),
        (("bench", "simulatd"), "nearest is 'simulated'"),
        (("schema", "procdure"), "nearest is 'procedure'"),
        (("check",), "FILE"),
        (("station", "--speed", "0"), "--speed"),
        (("station", "--fault", "coil-opn"), "coil-open"),
        (("station", "--unit", "demo-99"), "demo-18-dc"),
        (("--nonsense",), "--nonsense"),
        (("r\x1b[31m",), "no command is called"),
        (("run", "--\x1b[31m"), "--\\x1b[31m"),
    ],
)
def test_what_a_person_gets_wrong_is_said_shortly(rig: Rig, home: Path, arguments: tuple[str, ...], says: str) -> None:
    code, out, err = rig(*arguments)
    assert (code, out) == (2, "")
    assert says in err
    assert len(err.splitlines()) <= 3
    assert "Traceback" not in err
    assert "\x1b" not in err
    assert not (home / "records.sqlite").exists() or rig("runs")[1] == "No runs are on record here.\n"
    assert_one_error(rig(*arguments, "--json"), 2)


def assert_one_error(done: tuple[int, str, str], wanted: int) -> dict[str, Any]:
    """With ``--json``: one value on stdout that says what went wrong, and lines for a person on stderr."""
    code, out, err = done
    error: dict[str, Any] = json.loads(out)["error"]
    assert code == error["exit_code"] == wanted
    assert error["message"]
    assert out.isascii()
    assert "\x1b" not in err
    assert err.strip()
    return error


def test_an_error_in_json_names_every_fault_at_its_place(rig: Rig, two_looks: str, tmp_path: Path) -> None:
    procedure = tmp_path / "bad.yaml"
    procedure.write_text(
        Path(two_looks).read_text("utf-8").replace("title:", "tilte:").replace("verb: look", "verb: lick")
    )
    error = assert_one_error(rig("run", str(procedure), "--json"), 2)
    assert error["kind"] == "input"
    places = [(f["file"], f["line"] > 0, f["column"] > 0, bool(f["message"])) for f in error["faults"]]
    assert places == [(str(procedure), True, True, True)] * len(places)
    assert len(places) >= 2
    first = error["faults"][0]
    assert (error["file"], error["line"], error["column"]) == (first["file"], first["line"], first["column"])


def test_errors_of_every_exit_code_are_json_too(rig: Rig, two_looks: str, monkeypatch: pytest.MonkeyPatch) -> None:
    for error, code, kind in (
        (InputError("a"), 2, "input"),
        (NoAnswer("a", "b", "meter-1"), 3, "instrument"),
        (RecordError("a"), 3, "records"),
        (RuleError("a", "b", "c"), 4, "rule"),
        (ZeroDivisionError("a"), 3, "program"),
        (KeyboardInterrupt(), 130, "interrupted"),
    ):

        def fail(*arguments: object, error: BaseException = error, **named: object) -> None:
            raise error

        monkeypatch.setattr("rig.plan.load.load_named", fail)
        assert assert_one_error(rig("run", two_looks, "--json"), code)["kind"] == kind


def test_lockstep_needs_a_station(rig: Rig, two_looks: str, tmp_path: Path) -> None:
    bench = _served_by_nobody(tmp_path)
    code, _, err = rig("run", two_looks, "--bench", bench, "--pace", "lockstep")
    assert code == 2
    assert "no station of its own" in err


def _served_by_nobody(tmp_path: Path) -> str:
    from rig.cli.station import _bench_tree, _write_bench_file
    from simulators.wire.link import TcpAddress

    path = tmp_path / "served.yaml"
    order = {"wiring": "tcp", "speed": 2.5}
    addresses = {name: TcpAddress("127.0.0.1", port) for port, name in enumerate(_bench_tree("tcp")["links"], 1)}
    _write_bench_file(path, addresses, order)
    return str(path)


def load_bench(name: str) -> Bench:
    bench = load_named("bench", name).model
    assert isinstance(bench, Bench)
    return bench


def test_the_bench_file_of_a_station_is_in_order_and_says_what_it_is(rig: Rig, tmp_path: Path) -> None:
    path = _served_by_nobody(tmp_path)
    assert rig("check", path) == (0, "1 file in order\n", "")
    written, bundled = load_bench(path), load_bench("simulated")
    assert (written.simulated, written.station, written.speed) == (True, None, 2.5)
    assert written.links["meter"].address == "TCPIP::127.0.0.1::2::SOCKET"
    assert written.links["modbus"].address == "127.0.0.1:1"
    assert written.outputs == bundled.outputs
    assert written.instruments == bundled.instruments
    assert written.test_points == bundled.test_points


# the other commands


def test_check(rig: Rig, two_looks: str, tmp_path: Path) -> None:
    assert rig("check", two_looks) == (0, "1 file in order\n", "")
    assert json.loads(rig("check", two_looks, "--json")[1]) == []
    bad = tmp_path / "bad.yaml"
    bad.write_text(TWO_LOOKS.replace("measure: temperature", "measure: temperatur"), encoding="utf-8")
    code, out, err = rig("check", two_looks, str(bad))
    assert (code, err) == (2, "")
    (line,) = out.splitlines()
    assert line.startswith(f"{bad}:17:18: ")
    assert "temperature" in line
    code, out, _ = rig("check", str(bad), "--json")
    (fault,) = json.loads(out)
    assert code == 2
    assert (fault["file"], fault["line"], fault["column"]) == (str(bad), 17, 18)


def test_bench(rig: Rig) -> None:
    code, out, _ = rig("bench", "simulated")
    assert code == 0
    assert out.splitlines()[1].startswith("SIMULATED")
    assert "hard-wired emergency stop" in out
    longest = str(load_bench("simulated").outputs["heater-enable"].longest_on)
    assert longest.endswith(" min")
    for word in (
        "heater-enable-aux",
        longest,
        "level-probe",
        "chamber-pressure-low",
        "reference-100",
        "SIM-M1",
    ):
        assert word in out
    wiring = load_bench("simulated")
    instruments, by_people = len(wiring.instruments), len(wiring.hand_instruments)
    assert instruments >= 5 and by_people >= 5
    assert (out.count("ok: present"), out.count("ok: read by people")) == (instruments, by_people)
    code, out, err = rig("bench", "simulated", "--json")
    value = json.loads(out)
    assert (code, err) == (0, "")
    assert value["simulated"] is True
    assert value["outputs"]["heater-enable"]["longest_on"] == longest
    assert [entry["ok"] for entry in value["roll_call"]] == [True] * (instruments + by_people)
    assert {"name", "driver", "link", "expected", "reported", "says", "calibrated_until"} <= set(value["roll_call"][0])


def test_a_bench_whose_instruments_are_silent_exits_3(rig: Rig, tmp_path: Path) -> None:
    code, out, _ = rig("bench", _served_by_nobody(tmp_path))
    assert code == 3
    assert "NOT OK: " in out


def test_station_lists_its_faults(rig: Rig) -> None:
    code, out, _ = rig("station", "--list-faults", "--json")
    names = [fault["name"] for fault in json.loads(out)]
    assert code == 0
    assert {"coil-open", "rectifier-open"} <= set(names)
    plain = rig("station", "--list-faults")[1]
    assert all(name in plain for name in names)


@pytest.mark.parametrize("kind", ["procedure", "profile", "bench"])
def test_schema(rig: Rig, kind: str) -> None:
    code, out, _ = rig("schema", kind)
    assert code == 0
    assert json.loads(out)["$schema"] == "https://json-schema.org/draft/2020-12/schema"


def test_every_command_has_help_with_an_example(rig: Rig) -> None:
    _, listed, _ = rig("--help")
    assert "Example:" in listed
    for name in COMMANDS:
        assert f"\n  {name} " in listed
        code, out, _ = rig(name, "--help")
        assert code == 0
        assert f"  rig {name} " in out.partition("Example")[2]


def test_the_examples_in_the_help_are_command_lines_that_parse() -> None:
    seen = 0
    for name in COMMANDS:
        command = cli.get_command(click.Context(cli), name)
        assert command is not None
        for line in (command.help or "").splitlines():
            words = shlex.split(line.partition(" > ")[0]) if line.strip().startswith("rig ") else []
            if words[:2] == ["rig", name]:
                command.make_context(name, words[2:], resilient_parsing=False).close()
                seen += 1
    assert seen >= len(COMMANDS)


def test_bare_rig_helps(rig: Rig) -> None:
    code, out, err = rig()
    assert (code, out) == (2, "")
    assert "Usage" in err


def test_version(rig: Rig) -> None:
    from rig import __version__

    assert rig("--version") == (0, f"rig {__version__}\n", "")


def test_an_error_of_the_rig_ends_a_run_with_its_code_and_what_is_off(
    rig: Rig, two_looks: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rig.errors import RuleError
    from rig.events import AllOff
    from rig.run import session

    real = session.run_procedure

    def refuses(request: Any, plan: Any, listeners: Any, *rest: Any) -> Any:
        def stop(event: Any) -> None:
            if isinstance(event, AllOff):
                raise RuleError("not today", "Come back tomorrow.")

        return real(request, plan, [*listeners, stop], *rest)

    monkeypatch.setattr(session, "run_procedure", refuses)
    code, out, err = rig("run", two_looks)
    assert code == 4
    assert "Everything is off, and confirmed." in out
    assert err == "not today\n  Come back tomorrow.\n"


def test_the_options_of_run_are_those_that_scripts_rely_on() -> None:
    names = {option for parameter in run_command.params for option in parameter.opts if option.startswith("--")}
    relied_on = "bench unit serial job by answers fault seed pace person store json"
    assert {f"--{word}" for word in relied_on.split()} <= names


def test_the_bench_measures_its_reference_parts(rig: Rig) -> None:
    code, out, _ = rig("bench", "simulated", "--self-check")
    assert code == 0
    assert "hundred-ohm" in out
    assert "Verdict: ✓ pass" in out
    code, out, err = rig("bench", "simulated", "--self-check", "--json")
    assert code == 0
    assert json.loads(out)["self_check"]["verdict"] == "pass"
    assert "hundred-ohm" in err


def test_check_tells_the_risks_for_a_stated_prior(rig: Rig) -> None:
    asked = ("check", "leak-down", "--ratios", "--in-tolerance", "95")
    code, out, _ = rig(*asked, "--json")
    assert code == 0
    known = {each["step"]: each["risks"] for each in json.loads(out)}
    assert 0 < known["pressure-lost"]["consumer"] < known["pressure-lost"]["producer"] < 0.05
    assert known["leak-flow"] is None  # one end: no process to centre
    code, out, _ = rig(*asked)
    assert code == 0
    assert "risks" in out
    assert rig("check", "leak-down", "--in-tolerance", "95")[0] == 2
    assert rig("check", "leak-down", "--ratios", "--in-tolerance", "100")[0] == 2


def test_a_run_says_by_which_rule_it_was_decided(rig: Rig) -> None:
    """ILAC-G8:09/2019, 4.2.3: the default of this program."""
    code, out, _ = rig("run", "bench-self-check")
    assert code == 0
    assert "Decided by: non-binary statement with guard band (w = U) (ILAC-G8:09/2019)." in out.splitlines()
