"""The power meter's floats in every order of bytes, its refresh and its energy; the scale's line."""

import struct

import pytest
from fake_plant import FakePlant
from peer import Peer, on_station, tcp

from simulators.station import Station, start
from simulators.wire.power import ACCURACY, AMPS_ACCURACY, ORDERS, REFRESH, PowerMeter, float_registers
from simulators.wire.scale import ACCURACY as SCALE_ACCURACY

# IEEE 754 single precision; the orders of bytes are not defined by Modbus, each device has its own.
PUBLISHED = [
    (134.0, {"ABCD": "43060000", "CDAB": "00004306", "BADC": "06430000", "DCBA": "00000643"}),
    (123.456, {"ABCD": "42F6E979", "CDAB": "E97942F6", "BADC": "F64279E9", "DCBA": "79E9F642"}),
]


@pytest.mark.parametrize(("value", "orders"), PUBLISHED)
def test_floats_in_four_orders(value: float, orders: dict[str, str]) -> None:
    assert orders.keys() == ORDERS.keys()
    for order, data in orders.items():
        registers = float_registers(value, order)
        assert b"".join(register.to_bytes(2, "big") for register in registers).hex().upper() == data


async def quantities(station: Station, peer: Peer, order: str = "ABCD") -> list[float]:
    heard = await peer.ask(tcp("04 0000 000A", 5))
    groups = [heard.data[at : at + 4] for at in range(9, 29, 4)]
    unshuffle = sorted(range(4), key=lambda k: ORDERS[order][k])
    return [struct.unpack(">f", bytes(group[k] for k in unshuffle))[0] for group in groups]


@pytest.mark.parametrize("order", ORDERS)
def test_what_it_shows_of_the_socket(order: str) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        assert station.clock is not None
        peer = await Peer(station, "modbus").open()
        plant.at_socket = (229.0, 6.5, 50.0)
        await station.clock.sleep(3600.0)
        volts, amps, watts, watt_hours, hertz = await quantities(station, peer, order)
        assert volts == pytest.approx(229.0, rel=ACCURACY)
        assert amps == pytest.approx(6.5, abs=6.5 * ACCURACY + AMPS_ACCURACY)
        assert watts == pytest.approx(volts * amps, rel=1e-6)
        assert watt_hours == pytest.approx(229.0 * 6.5, rel=2 * ACCURACY + 1e-3)
        assert hertz == 50.0
        assert bytes((await peer.ask(tcp("03 0000 0008", 5))).data[9:]) == b"SIM-P1          "
        assert (await peer.ask(tcp("04 0008 0003", 5))).data == tcp("84 02", 5)
        peer.close()

    on_station(work, word_order=order)


def test_it_shows_the_last_look_until_the_next() -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        assert station.clock is not None
        peer = await Peer(station, "modbus").open()
        await station.clock.sleep(10 * REFRESH + 0.1)
        before = await quantities(station, peer)
        plant.at_socket = (230.0, 5.0, 50.0)
        assert await quantities(station, peer) == before
        await station.clock.sleep(REFRESH)
        assert (await quantities(station, peer))[1] == pytest.approx(5.0, abs=0.05)
        peer.close()

    on_station(work)


def test_energy_is_the_same_however_often_one_looks() -> None:
    def energy(looks: int) -> float:
        plant = FakePlant()
        plant.at_socket = (230.0, 5.0, 50.0)
        meter = PowerMeter(plant, seed=4)
        for k in range(1, looks + 1):
            meter.advance(600.0 * k / looks)
        data = b"".join(r.to_bytes(2, "big") for r in meter.device("X").input_registers[1](range(6, 8)))  # type: ignore[index]
        return float(struct.unpack(">f", data)[0])

    assert energy(1) == energy(7) == energy(5000)
    assert energy(1) == pytest.approx(230.0 * 5.0 / 6.0, rel=0.02)


def test_an_order_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="ABCD"):
        PowerMeter(FakePlant(), 0, "ACBD")


def test_it_sees_the_simulated_unit_idle() -> None:
    import asyncio

    async def work() -> None:
        station = await start(seed=2)
        assert station.clock is not None
        peer = await Peer(station, "modbus").open()
        assert (await quantities(station, peer))[1] == pytest.approx(0.0, abs=AMPS_ACCURACY)
        station.plant.person("confirm", "lid-shut", "done", [], "")
        await peer.ask(tcp("05 0000 FF00", 1))
        await station.clock.sleep(5.0)
        volts, amps, watts, _, hertz = await quantities(station, peer)
        assert volts == pytest.approx(station.plant.quantity(7), rel=2 * ACCURACY)
        assert amps == pytest.approx(station.plant.quantity(9), abs=AMPS_ACCURACY + 0.001)
        assert 0.0 < watts < 60.0
        assert hertz == pytest.approx(50.0, abs=0.5)
        peer.close()
        await station.close()

    asyncio.run(work())


@pytest.mark.parametrize("wiring", ["tcp", "serial"])
def test_the_scale(wiring: str) -> None:
    async def work(station: Station, plant: FakePlant) -> None:
        assert station.clock is not None
        peer = await Peer(station, "scale").open()

        async def say(line: str) -> str:
            return (await peer.ask(line.encode() + b"\n")).data.decode().strip("\n")

        assert await say("I") == "SCALE,SIM-S1"
        began = plant.now
        plant.quantity = lambda channel: min(412.5, 500.0 * (plant.now - began))  # type: ignore[method-assign]
        await station.clock.sleep(0.5)
        assert (await say("w"))[0] == "U", "it fills while one looks"
        await station.clock.sleep(1.0)
        weight = await say("W")
        assert weight[0] == "S"
        assert float(weight[1:-2]) == pytest.approx(412.5, abs=SCALE_ACCURACY + 0.05)
        assert weight.endswith(" g")
        assert len(weight) == 13
        assert await say("T") == "OK"
        assert float((await say("W"))[1:-2]) == pytest.approx(0.0, abs=SCALE_ACCURACY + 0.05)
        plant.quantity = lambda channel: 3000.1  # type: ignore[method-assign]
        assert await say("W") == "O"
        assert await say("X") == await say("") == "?"
        assert station.exchanges["scale"] == 8
        peer.close()

    on_station(work, wiring=wiring)
