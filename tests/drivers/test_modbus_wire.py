"""A Modbus link that lies, TCP and serial: no lie is believed, each is named, and afterwards the link is in order."""

from __future__ import annotations

import asyncio
from collections.abc import AsyncIterator, Awaitable, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass

import pytest
from modbus_far_end import (
    LINK,
    Deed,
    FarEnd,
    again_later,
    bad_checksum,
    chop,
    deaf,
    exception,
    far_end,
    half,
    late,
    miscounted,
    noisy,
    other_device,
    other_function,
    other_transaction,
    reset,
    silent,
    too_long,
    transaction_zero,
    twice,
)  # fmt: skip

from drivers.analog import ModbusAnalog
from drivers.inputs import ModbusInputs
from drivers.relays import ModbusRelays
from rig.bench.ports import Connection
from rig.errors import BadAnswer, Declined, InstrumentError, NoAnswer
from rig.plan.wiring import InstrumentSpec, Link

BOTH = pytest.mark.parametrize("rtu", (False, True), ids=("tcp", "rtu"))


@dataclass
class Bench:
    """Four modules on one link, all of whom have said who they are."""

    end: FarEnd
    relays: ModbusRelays
    inputs: ModbusInputs
    analog: ModbusAnalog
    notes: list[str]

    async def is_in_order(self) -> None:
        """Every kind of answer is right again, and writes act."""
        assert (await self.inputs.read()).value == tuple(self.end.inputs)
        assert (await self.analog.read_raw(0, 10)).value == tuple(self.end.registers[:10])
        for on in (True, False):
            await self.relays.write(5, on)
            assert self.end.coils[1][5] is on
            assert (await self.relays.read()).value == tuple(self.end.coils[1])


@asynccontextmanager
async def bench(rtu: bool) -> AsyncIterator[Bench]:
    async with far_end(rtu) as (end, address):
        protocol, line = ("modbus-rtu", {"parity": "none"}) if rtu else ("modbus-tcp", {})  # no pty has parity
        link = Link.model_validate({"protocol": protocol, "address": address, **line})
        shared: dict[str, object] = {}
        notes: list[str] = []

        def connection(name: str, device: int, channels: int) -> Connection:
            spec = InstrumentSpec.model_construct(
                driver="d", link=LINK, device=device, channels=channels, serial=end.names[device]
            )
            return Connection(name, spec, LINK, link, end.clock, True, note=notes.append)

        relays = ModbusRelays(connection("relays-1", 1, 24), shared)
        inputs = ModbusInputs(connection("inputs-1", 2, 24), shared)
        analog = ModbusAnalog(connection("analog-1", 3, 12), shared)
        for module in (relays, inputs, analog):
            assert await module.identify() == end.names[module.device]
        try:
            yield Bench(end, relays, inputs, analog, notes)
        finally:
            await relays.close()


def live(work: Callable[[Bench], Awaitable[None]], rtu: bool) -> None:
    async def main() -> None:
        async with bench(rtu) as b:
            await work(b)

    asyncio.run(main())


# every lie, every kind of transaction

Transaction = Callable[[Bench], Awaitable[object]]


async def read_coils(b: Bench) -> object:
    return (await b.relays.read()).value == tuple(b.end.coils[1])


async def read_inputs(b: Bench) -> object:
    return (await b.inputs.read()).value == tuple(b.end.inputs)


async def read_registers(b: Bench) -> object:
    return (await b.analog.read_raw(2, 3)).value == tuple(b.end.registers[2:5])


async def write_coil(b: Bench) -> object:
    await b.relays.write(7, True)
    return b.end.coils[1][7]


async def write_all(b: Bench) -> object:
    await b.relays.write_all([True] * 24)
    return all(b.end.coils[1])


TRANSACTIONS: tuple[Transaction, ...] = (read_coils, read_inputs, read_registers, write_coil, write_all)

# What is done to the answer, on which lines, what is raised, and a word that names it.
LIES: list[tuple[str, Deed, str, type[InstrumentError], str]] = [
    ("silent", silent, "both", NoAnswer, "no answer within"),
    ("deaf", deaf, "both", NoAnswer, "no answer within"),
    ("late", late, "both", NoAnswer, "no answer within"),
    ("half", half, "both", BadAnswer, "half an answer"),
    ("twice", twice, "both", BadAnswer, "more came than one answer"),
    ("other device", other_device, "both", BadAnswer, "device"),
    ("other function", other_function, "both", BadAnswer, "function|checksum|half|exception"),
    ("too long", too_long, "both", BadAnswer, "bytes long|checksum|more came|says"),
    ("miscounted", miscounted, "both", BadAnswer, "bytes|checksum|confirms"),
    ("bad checksum", bad_checksum, "rtu", BadAnswer, "checksum"),
    ("transaction 0", transaction_zero, "tcp", BadAnswer, "transaction 0"),
    ("other transaction", other_transaction, "tcp", BadAnswer, "transaction"),
    ("noise", noisy, "tcp", BadAnswer, "transaction|no Modbus answer|half"),
    ("reset", reset, "tcp", NoAnswer, "closed by the other end"),
    *((f"exception {c}", exception(c), "both", Declined, f"exception {c}") for c in range(1, 7)),
]
CASES = [
    pytest.param(deed, kind == "rtu", error, word, id=f"{name}, {kind}")
    for name, deed, lines, error, word in LIES
    for kind in ("tcp", "rtu")
    if lines in (kind, "both")
]


@pytest.mark.parametrize("transaction", TRANSACTIONS)
@pytest.mark.parametrize(("deed", "rtu", "error", "word"), CASES)
def test_no_lie_is_believed(
    deed: Deed, rtu: bool, error: type[InstrumentError], word: str, transaction: Transaction
) -> None:
    async def work(b: Bench) -> None:
        b.end.deeds.append(deed)
        with pytest.raises(error, match=word) as told:
            await transaction(b)
        assert told.value.culprit in ("relays-1", "inputs-1", "analog-1")
        assert told.value.do
        await b.is_in_order()

    live(work, rtu)


@pytest.mark.parametrize("transaction", TRANSACTIONS)
@BOTH
def test_the_truth_in_pieces_is_believed(rtu: bool, transaction: Transaction) -> None:
    async def work(b: Bench) -> None:
        b.end.deeds.append(chop)
        assert await transaction(b)
        assert b.notes == []

    live(work, rtu)


# what was seen to go wrong in our libraries


def test_a_late_answer_of_one_coil_is_not_taken_for_another_board() -> None:
    """On a serial line frames have no number: the late answer looks like that of the next question."""

    async def work(b: Bench) -> None:
        b.end.coils[1][10] = True
        b.end.deeds.append(late)
        with pytest.raises(NoAnswer):
            await b.relays.read()
        b.end.coils[1][10] = False  # the late answer still says ON
        for _ in range(3):
            try:
                said = (await b.relays.read()).value
            except BadAnswer:
                continue
            assert said == tuple(b.end.coils[1])

    live(work, rtu=True)


@BOTH
def test_the_first_answer_after_a_timeout_is_the_modules_own_name(rtu: bool) -> None:
    async def work(b: Bench) -> None:
        b.end.deeds.append(silent)
        with pytest.raises(NoAnswer):
            await b.inputs.read()
        before = b.end.clock.now()
        b.end.requests.clear()
        await b.inputs.read()
        assert [(r[0], r[1]) for r in b.end.requests] == [(2, 3), (2, 2)]
        assert "in order, oddity 1" in b.notes[-1]
        assert "no answer within" in b.notes[-1]
        if rtu:
            assert b.end.clock.now() - before >= 0.5  # the line has fallen silent first

    live(work, rtu)


@BOTH
def test_another_module_in_its_place_is_not_believed(rtu: bool) -> None:
    async def work(b: Bench) -> None:
        b.end.deeds.append(silent)
        with pytest.raises(NoAnswer):
            await b.inputs.read()
        b.end.names[2] = "SIM-X9"
        for _ in range(2):
            with pytest.raises(BadAnswer, match="is SIM-X9 now, and was SIM-I1"):
                await b.inputs.read()
        b.end.names[2] = "SIM-I1"
        await b.is_in_order()

    live(work, rtu)


@BOTH
def test_switching_off_is_sent_at_once_and_read_back_by_somebody_who_is_believed(rtu: bool) -> None:
    async def work(b: Bench) -> None:
        await b.relays.write(3, True)
        b.end.deeds.append(silent)
        with pytest.raises(NoAnswer):
            await b.inputs.read()
        before = b.end.clock.now()
        b.end.requests.clear()
        await b.relays.write_all([False] * 24)
        assert b.end.clock.now() - before < 0.1
        assert [r[1] for r in b.end.requests] == [15]
        assert not any(b.end.coils[1])
        assert (await b.relays.read()).value == (False,) * 24
        assert [r[1] for r in b.end.requests] == [15, 3, 1]

    live(work, rtu)


@BOTH
def test_an_answer_that_comes_again_makes_the_link_doubtful(rtu: bool) -> None:
    async def work(b: Bench) -> None:
        b.end.deeds.append(again_later)
        assert await read_registers(b)
        b.end.again()
        await asyncio.sleep(0.01)  # it is on the wire, and nobody asks
        assert await read_registers(b)
        assert "nobody had asked for" in b.notes[-1]
        await b.is_in_order()

    live(work, rtu)


def test_noise_before_an_answer_is_borne_and_told_on_a_serial_line() -> None:
    async def work(b: Bench) -> None:
        b.end.deeds.append(noisy)
        assert await read_registers(b)
        assert "2 bytes of noise" in b.notes[-1]

    live(work, rtu=True)


def test_a_peer_that_dies_between_two_questions_must_say_again_who_it_is() -> None:
    async def work(b: Bench) -> None:
        b.end.hang_up()
        await asyncio.sleep(0.01)
        b.end.requests.clear()
        assert await read_inputs(b)
        assert [r[1] for r in b.end.requests] == [3, 2]
        assert "closed by the other end" in b.notes[-1]

    live(work, rtu=False)


def test_a_link_that_stays_silent_is_asked_again_each_time_and_comes_back() -> None:
    async def work(b: Bench) -> None:
        for _ in range(4):
            b.end.deeds.append(deaf)
            with pytest.raises(NoAnswer):
                await b.analog.read_raw(0, 1)
        await b.is_in_order()
        assert len([n for n in b.notes if "in order" in n]) == 1

    live(work, rtu=True)


def test_one_bad_module_does_not_spoil_its_neighbours_answers() -> None:
    async def work(b: Bench) -> None:
        for deed in (late, twice, other_device, half):
            b.end.deeds.append(deed)
            with pytest.raises(InstrumentError):
                await b.analog.read_raw(0, 4)
            assert await read_inputs(b)
            assert await read_coils(b)

    live(work, rtu=True)
