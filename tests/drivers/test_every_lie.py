"""Every fault of the simulated wire, on every instrument that can have it, on sockets and on serial lines.

What a driver answers is the truth, or an error that says what is wrong; and when the fault is over, the instrument is
in order again. What no driver can see, because the bytes are those of a good answer, is listed and says who does.

Here a fault hits whatever is asked first. The long form aims it at each kind of transaction by itself (about 2,800
scenes, ten minutes and more):

    RIG_EVERY=1 pytest tests/drivers/test_every_lie.py
"""

from __future__ import annotations

import asyncio
import contextlib
import os
from collections.abc import Awaitable, Callable
from datetime import date
from typing import Any

import pytest

from rig.bench.opening import OpenBench, StationOrder, open_bench
from rig.bench.rollcall import call_roll
from rig.errors import InstrumentError, OutputError
from rig.plan.load import load_named
from rig.plan.wiring import Bench
from rig.quantities import Quantity
from simulators.instruments import ANALOG
from simulators.wire.misbehaviour import list_wire_faults

Look = Callable[[OpenBench], Awaitable[bool]]

# A good answer, byte by byte, that is not the truth: by sort of instrument, and who sees it instead.
UNSEEN = {
    "relays": {
        "bit-flip-unseen", "all-zero", "all-ones",  # the feedback contact of every output, read on another module
        "reboot-unsaid", "read-back-lags",  # the same
        "previous-answer",  # the same
        "relay-stuck-on",  # no lie of the board's: its coil says what it does
    },
    "inputs": {
        "bit-flip-unseen", "all-zero", "all-ones", "previous-answer", "frozen",  # nobody at once
        "input-stuck-open", "input-stuck-closed", "input-chatters", "inputs-inverted",  # as a broken contact
    },
    "analog": {
        "bit-flip-unseen", "all-zero", "all-ones", "bytes-swapped", "previous-answer", "frozen",  # scatter of averages
        "analog-stuck-low", "analog-stuck-high", "analog-spikes",  # as a broken sensor
    },
    "power": {"bit-flip-unseen", "all-zero", "previous-answer", "frozen"},
    "meter": set(),
    "scale": {"frozen-reading", "previous-answer"},
}  # fmt: skip


async def relays(bench: OpenBench) -> bool:
    """A lamp on and off: what the board says of its coils is what it drives."""
    board, plant = bench.live.instruments["relays-1"], bench.station.plant  # type: ignore[union-attr]
    right = True
    for on in (True, False):
        await board.write(17, on)  # type: ignore[attr-defined]
        said = (await board.read()).value  # type: ignore[attr-defined]
        right = right and list(said) == plant.coils(1)
    return right


async def inputs(bench: OpenBench) -> bool:
    said = (await bench.live.instruments["inputs-1"].read()).value  # type: ignore[attr-defined]
    return list(said) == bench.station.plant.inputs()  # type: ignore[union-attr]


async def analog(bench: OpenBench) -> bool:
    raw = (await bench.live.instruments["analog-1"].read_raw(0, 10)).value  # type: ignore[attr-defined]
    plant = bench.station.plant  # type: ignore[union-attr]
    for channel, scale in ANALOG.items():
        (low, high), (start, end) = scale.raw, scale.means
        shown = start + (raw[channel] - low) * (end - start) / (high - low)
        if abs(shown - plant.quantity(channel)) > 2 * scale.accuracy:
            return False
    return True


async def power(bench: OpenBench) -> bool:
    plant = bench.station.plant  # type: ignore[union-attr]
    volts = (await bench.live.quantity("socket-voltage")).value.value
    hertz = (await bench.live.quantity("mains-frequency")).value.value
    true = plant.socket()
    return abs(volts - true[0]) < 0.02 * true[0] and abs(hertz - true[2]) < 0.1


async def meter(bench: OpenBench) -> bool:
    """Two reference parts with one setting: an old answer for a new question would be far off."""
    right = True
    for point, ohms in (("reference-100", 100.0), ("reference-short", 0.0), ("reference-100", 100.0)):
        said = await bench.live.meter.measure(point, "resistance four-wire", Quantity(1.0, "kOhm"), 2)
        right = right and all(abs(v - ohms) < 0.5 for v in said.values)
    return right


async def scale(bench: OpenBench) -> bool:
    plant = bench.station.plant  # type: ignore[union-attr]
    said = (await bench.live.quantity("scale-mass")).value.value
    return abs(said - plant.quantity(8)) < 1.5


async def digitise(bench: OpenBench) -> bool:
    """A record of open terminals: next to nothing, as often as asked."""
    meter = bench.live.instruments["meter-1"]
    await meter.start_record(10.0, 0.001, 20)  # type: ignore[attr-defined]
    await bench.live.clock.sleep(0.1)
    values = (await meter.fetch_record()).value  # type: ignore[attr-defined]
    return len(values) == 20 and all(abs(v) < 0.01 for v in values)


def identity(name: str) -> Look:
    """Another name than that of the bench file is no lie that is believed: the roll call tells it."""

    async def look(bench: OpenBench) -> bool:
        await bench.live.instruments[name].identify()
        return True

    return look


async def all_off(bench: OpenBench) -> bool:
    board, plant = bench.live.instruments["relays-1"], bench.station.plant  # type: ignore[union-attr]
    await board.write_all([False] * 24)  # type: ignore[attr-defined]
    return list((await board.read()).value) == plant.coils(1)  # type: ignore[attr-defined]


async def watchdog(bench: OpenBench) -> bool:
    """What is read back is what the board has; whoever asked sees when that is not what was wanted."""
    said = await bench.live.instruments["relays-1"].set_watchdog(16, 0.1, 4.0)  # type: ignore[attr-defined]
    return said in (0.0, 4.0)


LOOKS: dict[str, Look] = {
    "relays-1": relays, "inputs-1": inputs, "analog-1": analog, "power-1": power, "meter-1": meter, "scale-1": scale,
}  # fmt: skip
# By instrument: what is asked, at which function code or header a fault is aimed, and the look that asks it.
AIMED: dict[str, list[tuple[str, int | str, Look]]] = {
    "relays-1": [
        ("write", 5, relays), ("read-back", 1, relays), ("all off", 15, all_off), ("identity", 3, identity("relays-1")),
        ("watchdog", 6, watchdog), ("watchdog's read-back", 3, watchdog),
    ],
    "inputs-1": [("read", 2, inputs), ("identity", 3, identity("inputs-1"))],
    "analog-1": [("read", 4, analog), ("identity", 3, identity("analog-1"))],
    "power-1": [("read", 4, power), ("identity", 3, identity("power-1"))],
    "meter-1": [
        ("configure", "CONF", meter), ("read", "READ", meter), ("identity", "*IDN", identity("meter-1")),
        ("digitise", "INIT", digitise), ("fetch", "FETC", digitise), ("errors", "SYST:ERR", meter),
    ],
    "scale-1": [("weigh", "W", scale), ("identity", "I", identity("scale-1"))],
}  # fmt: skip
LONG = bool(os.environ.get("RIG_EVERY"))
BEYOND = 60.0  # s of the bench within which a look ends, whatever happens: three attempts, and order in between
BENCHES = {"tcp": "simulated", "serial": "simulated-rtu"}


def wiring(wire: str) -> Bench:
    model = load_named("bench", BENCHES[wire]).model
    assert isinstance(model, Bench)
    return model


def cases() -> list[Any]:
    """Kind, instrument, wire, and at what it is aimed: "" for whatever comes first."""
    found = []
    for kind in list_wire_faults():
        for name in LOOKS:
            sort = name.removesuffix("-1")
            if sort in kind["instruments"]:
                aims = [("", None, LOOKS[name]), *(AIMED[name] if LONG else ())]
                found += [
                    pytest.param(
                        kind["name"], name, w, only, look, id=f"{kind['name']}@{name},{w}{',' * bool(aim)}{aim}"
                    )
                    for w in kind["wires"]
                    for aim, only, look in aims
                ]
    return found


async def told(look: Look, bench: OpenBench) -> str:
    """ "right", "wrong", or what the error says."""
    began = bench.live.clock.now()
    try:
        said = "right" if await look(bench) else "wrong"
    except (InstrumentError, OutputError) as error:
        said = error.sentence() if error.what and error.culprit else f"an error that says too little: {error!r}"
    return said if bench.live.clock.now() - began < BEYOND else f"an error that says too little, too late: {said}"


async def scene(
    kind: str, instrument: str, wire: str, only: int | str | None, aimed: Look
) -> tuple[list[str], list[str]]:
    """What is told while the fault is in, and after it is out."""
    look = LOOKS[instrument]
    bench = await open_bench(wiring(wire), StationOrder(unit="demo-18-dc"), lambda event: None)
    try:
        assert all(entry.ok for entry in await call_roll(bench.live, date(2026, 1, 1)))
        bench.station.plant.unit.stores.jug = 0.25  # type: ignore[union-attr]  # kg: something on the scale
        await bench.live.clock.sleep(5.0)
        assert await look(bench)
        fault = bench.station.misbehave  # type: ignore[union-attr]
        try:
            fault(kind, instrument, 2, only)
        except ValueError:  # it has no exchanges to count
            fault(kind, instrument, None, only)
        during = [await told(aimed, bench) for _ in range(3)]
        bench.station.behave()  # type: ignore[union-attr]
        with contextlib.suppress(ValueError):  # it was never shut, or is a serial line
            bench.station.open_listener(LISTENER[instrument])  # type: ignore[union-attr]
        await bench.live.clock.sleep(300.0)  # what was still under way has come: 100,000 characters take their time
        return during, [await told(look, bench) for _ in range(3)]
    finally:
        await bench.close()


LISTENER = {name: name.removesuffix("-1") if name in ("meter-1", "scale-1") else "modbus" for name in LOOKS}


@pytest.mark.parametrize(("kind", "instrument", "wire", "only", "look"), cases())
def test_the_truth_or_an_error_that_says_what_is_wrong(
    kind: str, instrument: str, wire: str, only: int | str | None, look: Look
) -> None:
    during, after = asyncio.run(scene(kind, instrument, wire, only, look))
    if kind not in UNSEEN[instrument.removesuffix("-1")]:
        assert "wrong" not in during, during
    assert after[-1] == "right", (during, after)
    assert "wrong" not in after, (during, after)
    assert not [text for text in during + after if "says too little" in text]


def test_a_record_of_another_length_is_not_believed() -> None:
    """One value more than was asked for, in a line that is sound otherwise."""
    during, after = asyncio.run(scene("two-numbers", "meter-1", "tcp", "FETC", digitise))
    assert "a record of 20 values was asked for, and 21 came" in during[0]
    assert "wrong" not in during and after[-1] == "right"
