"""The power meter at the bench socket: voltage, current, power, energy, frequency as floats of two registers.

It looks at the mains every REFRESH seconds, whoever asks, and shows what it saw until the next look. A Modbus
register has no order of words: which of its four bytes (ABCD, high byte first) comes first is a setting.
"""

import struct
from collections.abc import Sequence

from simulators.instruments import NOISE_SHARE, OFFSET_SHARE, noise, stream
from simulators.wire import Plant
from simulators.wire.modbus import Device, serial_table
from simulators.wire.upsets import Upset, shown_by

REFRESH = 0.5  # s; power meters refresh within 0.1 to 1 s (common practice, no source)
ACCURACY = 0.005  # limit of error as a share of the reading (invented)
AMPS_ACCURACY = 0.005  # A, besides: what it shows of nothing

# First register of each quantity: V, A, W, Wh, Hz.
VOLTS, AMPS, WATTS, WATT_HOURS, FREQUENCY = 0, 2, 4, 6, 8
REGISTERS = 10
ORDERS = {"ABCD": (0, 1, 2, 3), "CDAB": (2, 3, 0, 1), "BADC": (1, 0, 3, 2), "DCBA": (3, 2, 1, 0)}


def float_registers(value: float, order: str) -> list[int]:
    """A float32 (IEEE 754) as two registers, its bytes in one of ORDERS. Raises KeyError for another order.

    >>> [hex(register) for register in float_registers(134.0, "CDAB")]
    ['0x0', '0x4306']
    """
    data = struct.pack(">f", value)
    placed = bytes(data[at] for at in ORDERS[order])
    return [int.from_bytes(placed[at : at + 2], "big") for at in (0, 2)]


class PowerMeter:
    """Sits in the socket's lead. The unit's load is taken as resistive: its electronics hardly count."""

    def __init__(self, plant: Plant, seed: int = 0, order: str = "ABCD") -> None:
        if order not in ORDERS:
            raise ValueError(f"a float's word order is one of {', '.join(ORDERS)}, not {order}")
        self.order = order
        self.upsets: list[Upset] = []
        self._plant = plant
        self._source = stream(seed, "power")
        self._gain = {at: self._source.uniform(-OFFSET_SHARE, OFFSET_SHARE) * ACCURACY for at in (VOLTS, AMPS)}
        self._looks = 0
        self._shown = dict.fromkeys((VOLTS, AMPS, WATTS, WATT_HOURS, FREQUENCY), 0.0)

    def device(self, serial: str) -> Device:
        """Its Modbus tables."""
        return Device(input_registers=(REGISTERS, self._read), holding_registers=serial_table(serial))

    def power_cycle(self) -> None:
        """Its energy starts from 0 again."""
        self._shown[WATT_HOURS] = 0.0

    def advance(self, now: float) -> None:
        """Bring the plant to `now`, with a look at the mains at every refresh on the way."""
        while (at := self._looks * REFRESH) <= now:
            self._plant.advance(at)
            self._look()
            self._looks += 1
        self._plant.advance(now)

    def _look(self) -> None:
        volts, amps, hertz = self._plant.socket()
        volts *= self._factor(VOLTS)
        amps = max(0.0, amps * self._factor(AMPS) + NOISE_SHARE * AMPS_ACCURACY * noise(self._source))
        self._shown[VOLTS], self._shown[AMPS], self._shown[WATTS] = volts, amps, volts * amps
        self._shown[WATT_HOURS] += volts * amps * REFRESH / 3600.0
        self._shown[FREQUENCY] = hertz

    def _factor(self, at: int) -> float:
        return 1.0 + self._gain[at] + NOISE_SHARE * ACCURACY * noise(self._source)

    def _read(self, addresses: range) -> Sequence[int]:
        registers = [word for value in self._shown.values() for word in float_registers(value, self.order)]
        return shown_by(self.upsets, addresses, registers[addresses.start : addresses.stop])
