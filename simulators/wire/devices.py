"""The Modbus instruments of the demonstration bench behind their tables. Each is honest unless it is upset."""

from collections.abc import Sequence

from simulators.instruments import ANALOG, MODULES, AnalogInput
from simulators.wire import Plant
from simulators.wire.modbus import Device, serial_table
from simulators.wire.power import PowerMeter
from simulators.wire.upsets import Upset, shown_by

BITS = 24  # coils of a relay board, inputs of the input module
REGISTERS = 12  # of the analog module


class RelayBoard:
    """Coils of the plant's board with the same Modbus number."""

    def __init__(self, plant: Plant, board: int) -> None:
        self.board = board
        self.upsets: list[Upset] = []
        self._plant = plant

    def device(self, serial: str) -> Device:
        """Its Modbus tables."""
        return Device(coils=(BITS, self._read, self._write), holding_registers=serial_table(serial))

    def power_cycle(self) -> None:
        """See Upsettable: all relays drop."""
        for channel in range(BITS):
            self._plant.set_coil(self.board, channel, False)

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
        return self._channels[at].counts(self._plant.quantity(at)) & 0xFFFF


class BenchDevices:
    """All Modbus devices of the bench, by Modbus number and by the bench's name."""

    def __init__(self, plant: Plant, seed: int, word_order: str = "ABCD") -> None:
        self.power = PowerMeter(plant, seed, word_order)
        self.by_name: dict[str, RelayBoard | InputModule | AnalogModule | PowerMeter] = {
            "relays-1": RelayBoard(plant, MODULES["relays-1"].device),
            "relays-2": RelayBoard(plant, MODULES["relays-2"].device),
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
