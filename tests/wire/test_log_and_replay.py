"""The wire log says what was on the wire; played back, it is on the wire again."""

import asyncio
import io
import json
import subprocess
import sys
from collections.abc import Awaitable, Callable
from pathlib import Path
from typing import Any

import pytest
from fake_plant import FakePlant
from peer import Heard, Peer, on_station, rtu, tcp

from simulators.station import Station
from simulators.wire.log import load_log, read_log
from simulators.wire.misbehaviour import FAMILIES, KINDS
from simulators.wire.misbehaviour.timing import NOISE
from simulators.wire.replay import Replay, start

Script = Callable[[Any, FakePlant | None], Awaitable[list[Heard]]]


def recorded(script: Script, **how: Any) -> tuple[list[Heard], str]:
    """What a script hears at a station, and the log of it."""
    out = io.StringIO()
    heard: list[Heard] = []

    async def work(station: Station, plant: FakePlant) -> None:
        heard.extend(await script(station, plant))

    on_station(work, log=out, **how)
    return heard, out.getvalue()


def played(script: Script, log: str) -> tuple[list[Heard], Replay]:
    """What the same script hears when the log is played."""
    kept: list[Replay] = []

    async def run() -> list[Heard]:
        replay = Replay(list(read_log(log.splitlines())))
        kept.append(replay)
        await replay.open()
        try:
            return await script(replay, None)
        finally:
            await replay.close()

    return asyncio.run(run()), kept[0]


def test_every_line_says_when_whose_which_bytes_and_what_they_mean() -> None:
    async def script(station: Any, plant: FakePlant | None) -> list[Heard]:
        modbus, meter = await Peer(station, "modbus").open(), await Peer(station, "meter").open()
        if plant is not None:
            plant.inputs_closed[2] = True
        await modbus.ask(tcp("05 0003 FF00"))
        await station.clock.sleep(1.0)
        await modbus.ask(tcp("02 0000 0008", 2))
        await modbus.ask(tcp("0F 0000 000A 02 05 03"))
        await modbus.ask(tcp("04 0000 0002", 3))
        await modbus.ask(tcp("01 0030 0001"))
        await meter.ask(b"*IDN?\n")
        return []

    _, log = recorded(script)
    lines = [json.loads(line) for line in log.splitlines()]
    assert [(line["way"], line["instrument"]) for line in lines[:2]] == [("ask", "relays-1"), ("say", "relays-1")]
    asked, said = lines[0], lines[1]
    assert asked == {
        "us": 0, "link": "modbus", "wire": "modbus-tcp", "instrument": "relays-1", "way": "ask",
        "raw": tcp("05 0003 FF00").hex(),
        "words": {"transaction": 0x1234, "device": 1, "function": 5, "address": 3, "values": [1]},
    }  # fmt: skip
    assert 4000 <= said["us"] <= 4500
    words = [line["words"] for line in lines]
    assert lines[2]["us"] == pytest.approx(1_004_250, abs=250)
    assert words[2] | {"transaction": 0} == {"transaction": 0, "device": 2, "function": 2, "address": 0, "count": 8}
    assert words[3]["bits"] == "00100000"
    assert words[4]["bits"] == "1010000011"
    assert words[5] | {"transaction": 0} == {"transaction": 0, "device": 1, "function": 15, "address": 0, "count": 10}
    assert len(words[7]["values"]) == 2
    assert words[9]["exception"] == 2
    assert [line["words"]["text"] for line in lines[10:]] == ["*IDN?", "Low Mill Bench Works,SIM-METER,SIM-M1,1"]


ALL = [(family, kind.name) for family, kinds in FAMILIES.items() for kind in kinds]
LEFT_OUT = {
    "refused", "dropped-at-the-door", "one-at-a-time",  # nothing of them is on a wire
    "drip-too-slow",  # how much is heard of it depends on how long one waits
}  # fmt: skip


@pytest.mark.parametrize("wiring", ["tcp", "serial"])
@pytest.mark.parametrize("kind", [name for _, name in ALL if name not in LEFT_OUT])
def test_a_recorded_fault_is_heard_again_as_it_was(kind: str, wiring: str) -> None:
    found = KINDS[kind]
    if wiring not in found.wires:
        pytest.skip(f"{kind} is for {', '.join(found.wires)}")
    on = "relays-1" if "relays" in found.sorts else "inputs-1" if "inputs" in found.sorts else "analog-1"
    on = on if found.sorts & {"relays", "inputs", "analog"} else "power-1" if "power" in found.sorts else "meter-1"
    device = {"relays-1": 1, "inputs-1": 2, "analog-1": 3, "power-1": 5}.get(on)
    frame: Callable[..., bytes] = tcp if wiring == "tcp" else lambda pdu, device, transaction: rtu(pdu, device)
    reads = {1: "01 0000 0018", 2: "02 0000 0018", 3: "04 0000 0002", 5: "04 0000 0002"}

    async def script(station: Any, plant: FakePlant | None) -> list[Heard]:
        if device is None:
            asks = [b"CONF:VOLT 10;:SYST:ERR?\n", b"*IDN?\n", b"READ?\n", b"*OPC?\n", b"SYST:ERR?\n"]
        else:
            pdus = [reads[device], "03 0000 0008", "05 0003 FF00" if device == 1 else reads[device], reads[device]]
            asks = [frame(pdu, device=device, transaction=0x0100 + k) for k, pdu in enumerate(pdus)]
        link = "meter" if device is None else "modbus"
        heard: list[Heard] = []
        peer = await Peer(station, link).open()
        heard.append(await peer.ask(asks[0]))
        if plant is not None:
            plant.boards[1][0] = True
            station.misbehave(kind, on, 2 if found.make().counted else None)
        for ask in asks[1:]:
            if peer.cut:
                peer = await Peer(station, link).open()
            heard.append(await peer.ask(ask))
        await station.clock.sleep(20.0)
        heard.append(Heard(await peer.take(), "", 0.0))
        peer.close()
        return heard

    live, log = recorded(script, wiring=wiring)
    again, replay = played(script, log)
    assert replay.deviations() == [], log
    assert replay.missed() == []
    for one, other in zip(live, again, strict=True):
        assert other.how == one.how
        assert other.data == one.data or kind == "reset-in-mid-answer"  # a reset may outrun bytes
        # the silence between two frames is not in the log, and is made up for
        gap = 0.0 if wiring == "tcp" or device is None else 3.5 * 11 / 19200
        assert one.seconds - gap - 2e-6 <= other.seconds <= one.seconds + gap + 2e-6


@pytest.mark.parametrize(
    ("kind", "expected"),
    [
        ("wrong-transaction", lambda k: tcp("01 01 00", transaction=k + 1)),
        ("transaction-zero", lambda k: tcp("01 01 00", transaction=0)),
        ("garbage-before", lambda k: NOISE + tcp("01 01 00", transaction=k)),
        ("twice", lambda k: 2 * tcp("01 01 00", transaction=k)),
        ("half", lambda k: tcp("01 01 00", transaction=k)[:5]),
        ("one-behind", lambda k: tcp("01 01 00", transaction=k - 1)),
    ],
)
def test_numbers_of_transactions_are_those_of_the_live_questions(kind: str, expected: Callable[[int], bytes]) -> None:
    async def ask(station: Any, numbers: list[int]) -> list[Heard]:
        peer = await Peer(station, "modbus").open()
        if isinstance(station, Station):
            station.misbehave(kind, "relays-1", times=2)
        return [await peer.ask(tcp("01 0000 0008", transaction=number)) for number in numbers]

    _, log = recorded(lambda station, plant: ask(station, [5, 6]))
    again, replay = played(lambda station, plant: ask(station, [700, 701]), log)
    assert again[1].data.startswith(expected(701)[:5])
    assert len(again[1].data) == len(expected(701))
    if kind != "half":
        assert again[1].data == expected(701)
    assert replay.deviations() == []


def small_log(tmp_path: Path) -> Path:
    async def script(station: Any, plant: FakePlant | None) -> list[Heard]:
        peer = await Peer(station, "meter").open()
        for line in (b"*IDN?\n", b"CONF:VOLT 10;:SYST:ERR?\n", b"READ?\n", b"*OPC?\n"):
            await peer.ask(line)
        return []

    path = tmp_path / "field.jsonl"
    path.write_text(recorded(script)[1], encoding="utf-8")
    return path


def test_what_is_asked_otherwise_is_named(tmp_path: Path) -> None:
    log = small_log(tmp_path)

    async def work() -> Replay:
        replay = await start(log)
        peer = await Peer(replay, "meter").open()  # type: ignore[arg-type]
        assert (await peer.ask(b"*IDN?\n")).data.startswith(b"Low Mill")
        assert (await peer.ask(b"READ?\n")).how == "answered"  # the setting was left out
        assert (await peer.ask(b"*IDN?\n")).data.startswith(b"Low Mill")  # looked once more: not worth a word
        await peer.ask(b"CONF:VOLT 10;:SYST:ERR?\n")
        assert (await peer.ask(b"CONF:VOLT 10;:SYST:ERR?\n")).data == b'0,"No error"\n'  # once more
        assert (await peer.ask(b"MEAS:RES?\n")).how == "silence"
        peer.close()
        await replay.close()
        return replay

    replay = asyncio.run(work())
    skipped, again, unknown = replay.deviations()
    assert "READ?" in skipped
    assert skipped.endswith("was not asked before: 2")
    assert "once more; the answer is that of question 2" in again
    assert "MEAS:RES?" in unknown
    assert unknown.endswith("is not in the log")
    assert [text.split(":")[1].split()[1] for text in replay.missed()] == ["4"]


def test_modules_on_one_bus_keep_their_own_order() -> None:
    async def ask_all(station: Any, order: list[int]) -> list[Heard]:
        peer = await Peer(station, "modbus").open()
        heard = {n: await peer.ask(tcp("03 0000 0002", n)) for n in order}
        peer.close()
        return [heard[n] for n in sorted(heard)]

    live, log = recorded(lambda station, plant: ask_all(station, [1, 2, 3, 4]))
    again, replay = played(lambda station, plant: ask_all(station, [3, 1, 4, 2]), log)
    assert [heard.data for heard in again] == [heard.data for heard in live]
    assert replay.deviations() == replay.missed() == []


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("{", "line 2"),
        ('{"us": 1}', "line 2.*way"),
        ('{"us": 1, "link": "a", "wire": "lines", "instrument": "", "way": "ask", "raw": "zz"}', "line 2"),
        ('{"us": 1, "link": "a", "wire": "lines", "instrument": "", "way": "sing", "raw": ""}', "sing"),
        ("[]", "line 2"),
    ],
)
def test_a_log_that_cannot_be_read_says_where(line: str, says: str, tmp_path: Path) -> None:
    good = '{"us": 1, "link": "a", "wire": "lines", "instrument": "", "way": "ask", "raw": "41", "more": 1}'
    path = tmp_path / "log"
    path.write_text(f"{good}\n{line}\n", encoding="utf-8")
    with pytest.raises(ValueError, match=says):
        load_log(path)
    path.write_text(f"\n{good}\n", encoding="utf-8")
    assert load_log(path)[0].what == b"A"
    with pytest.raises(ValueError, match="smoke"):
        Replay(list(read_log([good.replace("lines", "smoke")])))


def test_the_command_serves_a_log_and_says_what_was_not_asked(tmp_path: Path) -> None:
    command = [sys.executable, "-m", "simulators.wire.replay", str(small_log(tmp_path)), "--speed", "100"]

    async def ask(lines: list[bytes]) -> tuple[int | None, str]:
        process = await asyncio.create_subprocess_exec(
            *command, stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=Path(__file__).parents[2]
        )
        assert process.stdout is not None
        assert process.stdin is not None
        said = (await asyncio.wait_for(process.stdout.readline(), 20.0)).decode()
        assert said.startswith("lines tcp 127.0.0.1:")
        reader, writer = await asyncio.open_connection("127.0.0.1", int(said.rpartition(":")[2]))
        for line in lines:
            writer.write(line)
            assert await asyncio.wait_for(reader.readline(), 20.0)
        writer.close()
        process.stdin.close()
        rest = (await asyncio.wait_for(process.stdout.read(), 20.0)).decode()
        return await process.wait(), rest

    code, said = asyncio.run(ask([b"*IDN?\n", b"CONF:VOLT 10;:SYST:ERR?\n", b"READ?\n", b"*OPC?\n"]))
    assert (code, said) == (0, "all was asked as in the log\n")
    code, said = asyncio.run(ask([b"*IDN?\n"]))
    assert code == 1
    assert said.count("was never asked") == 3
