"""One bench, one program; an interlock's latch stays until a person clears it; simulated and real never mix."""

from __future__ import annotations

import asyncio
import fcntl
import os
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from rig.bench import state
from rig.bench.claim import claimed
from rig.bench.latch import clear_latch, latch, latch_paths, latched, leave
from rig.bench.rollcall import RollCall, refuse_mixed
from rig.errors import InputError, RuleError
from rig.plan.wiring import Bench, Link
from simulators.station import start
from tests.conftest import bundled_plan

ROOT = Path(__file__).parents[2]


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A bench at addresses of its own, with its locks in a folder of the test's."""
    monkeypatch.setenv("RIG_STATE", str(tmp_path))
    wiring = bundled_plan().bench
    links = {
        name: Link(protocol=link.protocol, address=f"127.0.0.1:{1500 + k}")
        for k, (name, link) in enumerate(wiring.links.items())
    }
    return wiring.model_copy(update={"station": None, "links": links})


def test_a_second_program_is_refused_and_told_who_has_it(bench: Bench) -> None:
    with (
        claimed(bench, bench.links, own=False),
        pytest.raises(RuleError, match="in use by process"),
        claimed(bench, bench.links, own=False),
    ):
        raise AssertionError("two at once")
    with claimed(bench, bench.links, own=False):
        pass  # let go again


def test_the_lock_goes_with_a_program_that_is_killed(bench: Bench) -> None:
    code = (
        "import sys, time; from rig.bench.claim import claimed; from rig.plan.wiring import Bench\n"
        "bench = Bench.model_construct(bench='b')\n"
        "from rig.plan.wiring import Link; links = {'l': Link(protocol='modbus-tcp', address=sys.argv[1])}\n"
        "with claimed(bench, links, own=False, even_latched=True): print('held', flush=True); time.sleep(60)\n"
    )
    address = bench.links["modbus"].address
    other = subprocess.Popen([sys.executable, "-c", code, address], stdout=subprocess.PIPE)
    assert other.stdout is not None
    with other.stdout:
        assert other.stdout.readline() == b"held\n"
        with pytest.raises(RuleError, match=str(other.pid)), claimed(bench, bench.links, own=False):
            raise AssertionError("two at once")
        other.kill()
        other.wait()
    with claimed(bench, bench.links, own=False):
        pass


def test_a_latch_refuses_the_next_run_until_a_person_clears_it(bench: Bench) -> None:
    latch(bench, "interlock lid: lid is open")
    with pytest.raises(RuleError, match="lid is open") as refused, claimed(bench, bench.links, own=False):
        raise AssertionError("latched")
    assert "--clear-latch" in refused.value.do
    assert refused.value.exit_code == 4
    assert clear_latch(bench, "A. Bench") == "interlock lid: lid is open"
    assert clear_latch(bench, "A. Bench") is None
    for path in latch_paths(bench):
        assert "A. Bench" in path.with_suffix(".cleared").read_text(encoding="utf-8")
    with claimed(bench, bench.links, own=False):
        pass


@pytest.mark.parametrize(
    ("one", "other"),
    [
        (("modbus-tcp", "127.0.0.1:1502"), ("modbus-tcp", "localhost:1502")),
        (("modbus-tcp", "127.0.0.1:1502"), ("modbus-tcp", "[::1]:01502")),
        (("visa", "TCPIP::127.0.0.1::5025::SOCKET"), ("visa", "tcpip0::localhost::5025::socket")),
        (("modbus-rtu", "/dev/null"), ("modbus-rtu", "/dev/../dev/null")),
        (("modbus-rtu", "/dev/null"), ("visa", "ASRL/dev/null::INSTR")),
    ],
)
def test_one_place_is_one_place_however_it_is_written(one: tuple[str, str], other: tuple[str, str]) -> None:
    first, second = (Link.model_validate({"protocol": p, "address": a}) for p, a in (one, other))
    assert state.key_of(first) == state.key_of(second)
    elsewhere = Link.model_validate({"protocol": one[0], "address": one[1].replace("502", "503")})
    assert one[1] == elsewhere.address or state.key_of(first) != state.key_of(elsewhere)


def test_two_bench_files_for_one_relay_board_exclude_each_other_and_share_its_latch(bench: Bench) -> None:
    """The other file has other names and one link more; records and temporary folders play no part."""
    links = {**bench.links, "another": Link(protocol="modbus-tcp", address="127.0.0.1:1999")}
    links["modbus"] = links["modbus"].model_copy(
        update={"address": bench.links["modbus"].address.replace("127.0.0.1", "localhost")}
    )
    other = bench.model_copy(update={"bench": "another-name", "links": links})
    with (
        claimed(bench, bench.links, own=False),
        pytest.raises(RuleError, match="in use by process"),
        claimed(other, other.links, own=False),
    ):
        raise AssertionError("two at once")
    latch(bench, "interlock lid: lid is open")
    with pytest.raises(RuleError, match="lid is open"), claimed(other, other.links, own=False):
        raise AssertionError("latched")
    clear_latch(other, "A. Bench")
    assert latched(bench) is None


def test_a_latch_that_cannot_be_read_is_a_latch(bench: Bench) -> None:
    (path,) = latch_paths(bench)
    path.write_text('{"why": "half of a no', encoding="utf-8")
    with pytest.raises(RuleError, match="cannot be read"), claimed(bench, bench.links, own=False):
        raise AssertionError("latched")
    assert clear_latch(bench, "A. Bench") is not None
    with claimed(bench, bench.links, own=False):
        pass


def test_the_folder_depends_on_no_temporary_folder_and_no_records(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(state, "OTHERWISE", Path("/var/tmp/refurb-rig-test-nowhere"))
    monkeypatch.setattr(state, "MADE_BY_HAND", Path("/nowhere"))
    monkeypatch.delenv("RIG_STATE")
    found = []
    try:
        for where in ("/tmp", "/nowhere/else"):
            monkeypatch.setenv("TMPDIR", where)
            monkeypatch.setenv("RIG_HOME", where)
            found.append(state.folder())
        assert found[0] == found[1]
        assert found[0].stat().st_mode & 0o7777 == 0o1777
    finally:
        found[0].rmdir()


def test_a_folder_that_cannot_be_used_is_said_before_anything_is_switched(
    bench: Bench, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    monkeypatch.setenv("RIG_STATE", str(tmp_path / "file"))
    with pytest.raises(InputError, match="cannot be kept here"), claimed(bench, bench.links, own=False):
        raise AssertionError("not guarded")


@pytest.mark.skipif(os.geteuid() != 0, reason="needs the right to become another user")
def test_another_user_of_the_computer_is_refused_while_it_is_held_and_may_clear_the_latch(
    bench: Bench, tmp_path: Path
) -> None:
    """Also where the files are the first user's, in a folder for all, with a mask that leaves others nothing."""
    folder = Path(tempfile.mkdtemp(dir="/var/tmp"))
    folder.chmod(0o1777)
    code = (
        "import fcntl, os, sys; from pathlib import Path\n"
        "from rig.bench.latch import leave, _read; from rig.bench.state import open_shared\n"
        "os.umask(0o077); os.setgid(65534); os.setuid(65534); path = Path(sys.argv[1])\n"
        "lock = open_shared(path, (os.O_RDWR, os.O_RDWR | os.O_CREAT, os.O_RDONLY))\n"
        "try: fcntl.flock(lock, fcntl.LOCK_EX | fcntl.LOCK_NB); print('got it')\n"
        "except BlockingIOError: print('held')\n"
        "note = path.with_suffix('.latched'); leave([str(note)], 'b', 'another user'); print(_read(note)['why'])\n"
    )

    def other() -> list[str]:
        done = subprocess.run(
            [sys.executable, "-c", code, str(folder / "k.lock")],
            capture_output=True, text=True, check=True, cwd=ROOT,
        )  # fmt: skip
        return done.stdout.split("\n")[:2]

    try:
        old = os.umask(0o077)
        mine = state.open_shared(folder / "k.lock", (os.O_RDWR | os.O_CREAT,))
        leave([str(folder / "k.latched")], "b", "mine")
        os.umask(old)
        fcntl.flock(mine, fcntl.LOCK_EX)
        assert other() == ["held", "another user"]
        os.close(mine)
        assert other() == ["got it", "another user"]
    finally:
        shutil.rmtree(folder)


def roll(reported: str) -> list[RollCall]:
    return [RollCall("relays-1", "modbus-relays", "modbus", "R-77", reported, False, "", None)]


@pytest.mark.parametrize(("simulated", "reported"), [(False, "SIM-R1"), (True, "R-77")])
def test_simulated_and_real_never_mix(bench: Bench, simulated: bool, reported: str) -> None:
    wiring = bench.model_copy(update={"simulated": simulated})
    with pytest.raises(RuleError, match="simulated instrument"):
        refuse_mixed(wiring, roll(reported))
    refuse_mixed(wiring.model_copy(update={"simulated": not simulated}), roll(reported))


def test_what_does_not_say_that_it_is_simulated_counts_as_real_on_a_simulated_bench(bench: Bench) -> None:
    """This computer's own address may lead on, through a tunnel, to anything."""
    silent = [RollCall("relays-1", "modbus-relays", "modbus", "SIM-R1", None, False, "no answer.", None)]
    with pytest.raises(RuleError, match="does not say that it is a simulated"):
        refuse_mixed(bench, silent)
    refuse_mixed(bench.model_copy(update={"station": "demo"}), silent)


def test_a_real_bench_that_reaches_a_station_energizes_nothing(tmp_path: Path, bench: Bench) -> None:
    """Over the wire: a bench file that says it is real, at the addresses of a simulated station."""
    from rig.run.journal import ListJournal
    from rig.run.session import RunRequest, run_async

    async def main() -> None:
        station = await start("demo-18-dc", {}, 1, lockstep=False, speed=50.0)
        try:
            links = {
                name: Link(
                    protocol=link.protocol,
                    address=(
                        f"TCPIP::{station.addresses[name][0]}::{station.addresses[name][1]}::SOCKET"
                        if link.protocol == "visa"
                        else "{}:{}".format(*station.addresses[name])
                    ),
                )
                for name, link in bench.links.items()
            }
            plan = bundled_plan()
            real = bench.model_copy(update={"simulated": False, "links": links})
            mixed = type(plan)(plan.procedure, plan.profile, real)
            journal = ListJournal()
            with pytest.raises(RuleError):
                await run_async(RunRequest(run="test", lockstep=False), mixed, [], lambda _: journal)
            assert journal.events == []
            assert not any(station.plant.coils(1))
        finally:
            await station.close()

    asyncio.run(main())


def test_a_meter_that_is_not_the_one_of_the_bench_file_judges_nothing() -> None:
    """Its calibration papers are another meter's: what it reads is kept, and not evaluated."""
    from rig.limits import Verdict
    from tests.conftest import by_name, run

    plan = bundled_plan()
    meter = plan.bench.instruments["meter-1"].model_copy(update={"serial": "SIM-OTHER"})
    wiring = plan.bench.model_copy(update={"instruments": {**plan.bench.instruments, "meter-1": meter}})
    steps = by_name(run(type(plan)(plan.procedure, plan.profile, wiring), seed=1))
    for name in ("proved-dead", "coil-resistance"):
        assert steps[name].verdict is Verdict.NOT_EVALUATED
        assert steps[name].reading is not None
        assert "SIM-M1" in (steps[name].reason or "")
    assert steps["ambient"].verdict is Verdict.PASS, "read by another instrument"
