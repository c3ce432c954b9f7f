"""The Modbus instruments of the demonstration bench behind their tables. Each is honest unless it is upset."""

from collections.abc import Sequence

from pymodbus.constants import ExcCodes

from simulators.instruments import ANALOG, MODULES, AnalogInput
from simulators.wire import Plant, watchdog
from simulators.wire.modbus import SERIAL_CHARACTERS, Device, Refusal, serial_table
from simulators.wire.power import PowerMeter
from simulators.wire.upsets import Upset, shown_by
from simulators.wire.watchdog import BoardWatchdog

BITS = 24  # coils of a relay board, inputs of the input module
REGISTERS = 12  # of the analog module
SERIAL_REGISTERS = SERIAL_CHARACTERS // 2


class RelayBoard:
    """Coils of the plant's board with the same Modbus number."""

    def __init__(self, plant: Plant, board: int, speed: float) -> None:
        self.board = board
        self.upsets: list[Upset] = []
        self.watchdog = BoardWatchdog(self._drop, speed)
        self._plant = plant

    def device(self, serial: str) -> Device:
        """Its Modbus tables: the serial number, and the watchdog's time behind it."""
        _, serial_read = serial_table(serial)

        def read(addresses: range) -> Sequence[int]:
            table = [*serial_read(range(SERIAL_REGISTERS)), *[0] * (watchdog.REGISTER - SERIAL_REGISTERS)]
            table.append(self.watchdog.counts)
            return table[addresses.start : addresses.stop]

        return Device(
            coils=(BITS, self._read, self._write),
            holding_registers=(watchdog.REGISTER + 1, read),
            write_register=self._write_register,
            heard=self.watchdog.heard,
        )

    def power_cycle(self) -> None:
        """See Upsettable: all relays drop, and the watchdog's time is forgotten."""
        self.watchdog.counts = 0
        self._drop()

    def _drop(self) -> None:
        for channel, driven in enumerate(self._plant.coils(self.board)):
            if driven:
                self._plant.set_coil(self.board, channel, False)

    def _write_register(self, address: int, value: int) -> None:
        if address != watchdog.REGISTER:
            raise Refusal(ExcCodes.ILLEGAL_ADDRESS)
        self.watchdog.counts = value

    def _read(self, addresses: range) -> Sequence[bool]:
        coils = self._plant.coils(self.board)[addresses.start : addresses.stop]
        return _bits(self.upsets, addresses, coils)

    def _write(self, channel: int, on: bool) -> None:
        place: tuple[int, bool] | None = (channel, on)
        for upset in self.upsets:
            place = upset.written(*place) if place is not None else None
        if place is not None:
            self._plant.set_coil(self.board, *place)


class InputModule:
    """The plant's contacts."""

    def __init__(self, plant: Plant) -> None:
        self.upsets: list[Upset] = []
        self._plant = plant

    def device(self, serial: str) -> Device:
        """Its Modbus tables."""
        return Device(inputs=(BITS, self._read), holding_registers=serial_table(serial))

    def power_cycle(self) -> None:
        """See Upsettable: it has nothing to lose."""

    def _read(self, addresses: range) -> Sequence[bool]:
        return _bits(self.upsets, addresses, self._plant.inputs()[addresses.start : addresses.stop])


class AnalogModule:
    """The plant's quantities as counts, each with its channel's own errors."""

    def __init__(self, plant: Plant, seed: int) -> None:
        self.upsets: list[Upset] = []
        self._plant = plant
        self._channels = {channel: AnalogInput(channel, scale, seed) for channel, scale in ANALOG.items()}

    def device(self, serial: str) -> Device:
        """Its Modbus tables."""
        return Device(input_registers=(REGISTERS, self._read), holding_registers=serial_table(serial))

    def power_cycle(self) -> None:
        """See Upsettable: it has nothing to lose."""

    def _read(self, addresses: range) -> Sequence[int]:
        return shown_by(self.upsets, addresses, [self._counts(at) for at in addresses])

    def _counts(self, at: int) -> int:
        if at not in self._channels:
            return 0
        return self._channels[at].counts(self._plant.quantity(at), self._plant.now) & 0xFFFF


class BenchDevices:
    """All Modbus devices of the bench, by Modbus number and by the bench's name."""

    def __init__(self, plant: Plant, seed: int, word_order: str = "ABCD", speed: float = 1.0) -> None:
        self.power = PowerMeter(plant, seed, word_order)
        boards = {name: RelayBoard(plant, MODULES[name].device, speed) for name in ("relays-1", "relays-2")}
        self.watchdogs = [board.watchdog for board in boards.values()]
        self.by_name: dict[str, RelayBoard | InputModule | AnalogModule | PowerMeter] = {
            **boards,
            "inputs-1": InputModule(plant),
            "analog-1": AnalogModule(plant, seed),
            "power-1": self.power,
        }
        self.names = {module.device: (name, module.sort) for name, module in MODULES.items()}
        self.tables = {MODULES[name].device: made.device(MODULES[name].serial) for name, made in self.by_name.items()}


def _bits(upsets: Sequence[Upset], addresses: range, bits: Sequence[bool]) -> Sequence[bool]:
    if not upsets:
        return bits
    return [bool(value) for value in shown_by(upsets, addresses, [int(bit) for bit in bits])]
