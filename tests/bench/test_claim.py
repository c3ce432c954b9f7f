"""One bench, one program; an interlock's latch stays until a person clears it; simulated and real never mix."""

from __future__ import annotations

import asyncio
import subprocess
import sys
from pathlib import Path

import pytest

from rig.bench.claim import claimed, clear_latch, latch, latch_of
from rig.bench.rollcall import RollCall, refuse_mixed
from rig.errors import RuleError
from rig.plan.wiring import Bench, Link
from simulators.station import start
from tests.conftest import bundled_plan


@pytest.fixture
def bench(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A bench at addresses of its own, with its locks in a folder of the test's."""
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path))
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


def test_the_lock_goes_with_a_program_that_is_killed(bench: Bench, tmp_path: Path) -> None:
    address = next(iter(bench.links.values())).address
    code = (
        "import sys, tempfile, time; tempfile.tempdir = sys.argv[1]\n"
        "from rig.bench.claim import _locked\n"
        "with _locked('b', 'l', sys.argv[2]): print('held', flush=True); time.sleep(60)\n"
    )
    other = subprocess.Popen([sys.executable, "-c", code, str(tmp_path), address], stdout=subprocess.PIPE)
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
    assert "A. Bench" in latch_of(bench).with_suffix(".cleared").read_text(encoding="utf-8")
    with claimed(bench, bench.links, own=False):
        pass


def roll(reported: str) -> list[RollCall]:
    return [RollCall("relays-1", "modbus-relays", "modbus", "R-77", reported, False, "", None)]


@pytest.mark.parametrize(("simulated", "reported"), [(False, "SIM-R1"), (True, "R-77")])
def test_simulated_and_real_never_mix(bench: Bench, simulated: bool, reported: str) -> None:
    wiring = bench.model_copy(update={"simulated": simulated})
    with pytest.raises(RuleError, match="simulated instrument"):
        refuse_mixed(wiring, roll(reported))
    refuse_mixed(wiring.model_copy(update={"simulated": not simulated}), roll(reported))


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
