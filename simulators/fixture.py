"""The wiring between instruments and unit: which coil moves which contact, what each input and channel reads.

Modbus device ids, as the bench's wiring table has them: 1 and 4 relay boards, 2 inputs, 3 analog module.
"""

from collections import deque
from math import inf
from typing import TypeVar

from simulators.names import UnknownName
from simulators.reference import TimeRelay
from simulators.unit.electrics import parallel
from simulators.unit.unit import Unit

Key = TypeVar("Key")

RELAYS, INPUTS, ANALOG, SELECTORS = 1, 2, 3, 4
CHANNELS = 24
ANALOG_CHANNELS = 12
MAINS, HEATER_ENABLE, TO_BENCH, FEED, BUS_DC, BUS_AC, DUMMY, OHMS_BUS, VOLTS_BUS = 0, 1, 2, 3, 6, 7, 9, 15, 16
TIME_RELAY = 18
AIR_DUMP, SUB_47K, SUB_1M, LEVEL_LIFT, AIR_SUPPLY = 10, 11, 12, 13, 14
SUBS = (SUB_47K, SUB_1M)
MIRRORS = {
    MAINS: 0, HEATER_ENABLE: 1, TO_BENCH: 2, FEED: 3, BUS_DC: 6, BUS_AC: 7, OHMS_BUS: 8, VOLTS_BUS: 9, AIR_DUMP: 10,
    LEVEL_LIFT: 14, AIR_SUPPLY: 19, TIME_RELAY: 22,
}  # fmt: skip
SUB_MIRROR = 11  # of both substitute resistors
# What the emergency stop opens by wire, whatever the coils are told. The dump is open without its coil.
HARD_STOPPED = (MAINS, FEED, AIR_SUPPLY, AIR_DUMP)
FILL_DRIVE_VOLTS = 10.0  # at the board's output, above which the sense input counts it as on
# Meter paths on the selector board: channel to test point, by bus.
VOLTS_POINTS = {0: "fill-supply", 2: "heater-terminals", 3: "heater-joint", 4: "fill-current", 5: "bus-volts",
                6: "reference-voltage"}  # fmt: skip
OHMS_POINTS = {
    8: "fill-coil",
    9: "heater",
    10: "cut-out",
    11: "chassis-reference",
    12: "fill-lead",
    13: "fill-valve-diode",
    14: "probe",
    15: "level-sub",
    16: "temperature-sensor",
    17: "reference-short",
    18: "reference-100",
}
NEVER_LIVE = ("reference-short", "reference-100")
OPENS_SAFELY = 2e3  # Pa above ambient, beyond which opening the door is an abuse
DRY_DEPTH = 0.003  # m of water under which a powered heater is an abuse


class Fixture:
    """Coils as driven, contacts as they stand. Joins them to the unit; notes what must never happen."""

    def __init__(self, unit: Unit, abuses: list[str], seed: int = 0) -> None:
        self._unit = unit
        self._time_relay = TimeRelay(seed)
        self._abuses = abuses
        self._coils = {RELAYS: [False] * CHANNELS, SELECTORS: [False] * CHANNELS}
        self._contacts = {RELAYS: [False] * CHANNELS, SELECTORS: [False] * CHANNELS}
        self._pending: deque[tuple[int, int, int, bool]] = deque()
        self._pulled = {board: list(contacts) for board, contacts in self._contacts.items()}  # as coils would have it
        self._held: dict[tuple[int, int], bool] = {}  # contacts that no longer follow their coils
        self._mirrors: dict[int, bool] = {}  # mirror contacts that no longer follow, by their relay
        self.stopped = False  # the emergency stop is pressed
        self.lid_shut = False
        self.changed = 0.0  # s, when a contact last moved

    # ---- relays -------------------------------------------------------------------------------------------

    def drive(self, board: int, channel: int, on: bool, tick: int) -> None:
        """Coil on or off; its contacts follow at `tick`. Raises UnknownName."""
        coils = self._board(self._coils, board)
        self._check(channel)
        coils[channel] = on
        self._pending.append((tick, board, channel, on))

    def driven(self, board: int) -> list[bool]:
        """A copy of the coils of `board`. Raises UnknownName."""
        return list(self._board(self._coils, board))

    def _board(self, boards: dict[int, list[bool]], board: int) -> list[bool]:
        if board not in boards:
            raise UnknownName("relay board", str(board), [str(one) for one in boards])
        return boards[board]

    def _check(self, channel: int) -> None:
        if not 0 <= channel < CHANNELS:
            raise UnknownName("relay channel", str(channel), [str(k) for k in range(CHANNELS)])

    def next_change(self) -> int | None:
        """The tick at which the next contact moves."""
        due = [self._pending[0][0]] if self._pending else []
        return min([*due, *([] if self._time_relay.due is None else [self._time_relay.due])], default=None)

    def follow(self, tick: int) -> None:
        """Move the contacts that are due at `tick`."""
        moved = False
        while self._pending and self._pending[0][0] <= tick:
            _, board, channel, on = self._pending.popleft()
            self._pulled[board][channel] = on
            self._contacts[board][channel] = self._held.get((board, channel), on)
            moved = True
        self._time_relay.follow(tick, self.closed(TIME_RELAY))
        if moved:
            self.changed = self._unit.now
            self._unit.stirred = True
            self.connect()

    def hold(self, board: int, channel: int, contact: bool | None, mirror: bool | None) -> None:
        """A relay fails: its contact, and what its mirror contact says, stay as given (None: as they should be).

        Raises UnknownName.
        """
        contacts = self._board(self._contacts, board)
        self._check(channel)
        _set(self._held, (board, channel), contact)
        if board == RELAYS:
            _set(self._mirrors, channel, mirror)
        contacts[channel] = self._held.get((board, channel), self._pulled[board][channel])
        self.changed = self._unit.now
        self.connect()

    def contacts(self, board: int) -> list[bool]:
        """The contacts of `board` as they stand, the emergency stop included. Raises UnknownName."""
        contacts = list(self._board(self._contacts, board))
        return [self.closed(channel) for channel in range(CHANNELS)] if board == RELAYS else contacts

    def stop(self, pressed: bool) -> None:
        """The emergency stop: opens mains and bench feed by wire."""
        self.stopped = pressed
        self.connect()

    def closed(self, channel: int) -> bool:
        """A contact of the first relay board as it stands, emergency stop and wired locks included.

        The substitute resistors are fed through the break contact of heater-enable: with a resistor in place of water
        the board would heat a dry chamber.
        """
        contacts = self._contacts[RELAYS]
        if channel in SUBS and contacts[HEATER_ENABLE]:
            return False
        return contacts[channel] and not (self.stopped and channel in HARD_STOPPED)

    def connect(self) -> None:
        """Carry the contacts over to the unit."""
        joined = self._unit.joined
        joined.mains = self.closed(MAINS)
        joined.heater_enable = self.closed(HEATER_ENABLE)
        joined.to_bench = self.closed(TO_BENCH)
        joined.bench_feed = self.closed(FEED)
        joined.bench_alternates = self.bus_alternates()
        joined.bench_volts = self._unit.model.place.bench_ac_volts if joined.bench_alternates else self.bus_volts_dc()
        joined.dummy = self.closed(DUMMY)
        electrics = self._unit.model.electrics
        joined.level_beside_ohm = parallel(
            electrics.sub_47k if self.closed(SUB_47K) else inf, electrics.sub_1m if self.closed(SUB_1M) else inf
        )
        joined.level_lifted = self.closed(LEVEL_LIFT)
        joined.air_supply = self.closed(AIR_SUPPLY)
        joined.air_dump_shut = self.closed(AIR_DUMP)

    # ---- the bench bus and the meter's path ---------------------------------------------------------------

    def bus_volts_dc(self) -> float:
        """DC behind the bench bus without load; two sources at once short each other out."""
        return self._unit.model.place.bench_volts if self.closed(BUS_DC) and not self.closed(BUS_AC) else 0.0

    def bus_alternates(self) -> bool:
        """AC stands behind the bench bus."""
        return self.closed(BUS_AC) and not self.closed(BUS_DC)

    def point(self, bus: int) -> list[str]:
        """Test points that the closed selectors join to `bus` (OHMS_BUS or VOLTS_BUS), if that is closed."""
        if not self.closed(bus):
            return []
        names = OHMS_POINTS if bus == OHMS_BUS else VOLTS_POINTS
        return [name for channel, name in names.items() if self._contacts[SELECTORS][channel]]

    def live(self, name: str) -> bool:
        """The circuit of an ohms test point carries, or may carry, voltage now."""
        if name in NEVER_LIVE:
            return False
        if self.closed(MAINS):
            return True
        fed = self.closed(FEED) and (self.closed(BUS_DC) or self.closed(BUS_AC))
        return fed and name in ("fill-coil", "fill-lead", "fill-valve-diode")

    # ---- what must never happen ---------------------------------------------------------------------------

    def watch(self) -> None:
        """Note abuses, each kind once."""
        if self.closed(OHMS_BUS):
            for name in self.point(OHMS_BUS):
                if self.live(name):
                    self.note(f"ohms on a live circuit: {name}")
            if self.closed(VOLTS_BUS):
                self.note("both meter buses")
        if self.closed(BUS_DC) and self.closed(BUS_AC):
            self.note("both bus feeds")
        if self.closed(MAINS) and not self.lid_shut:
            self.note("mains with the lid open")
        if self.closed(AIR_SUPPLY) and not self._unit.door_locked:
            self.note("compressed air with the door not locked")
        if not self._unit.door_shut and self._unit.gas.gauge > OPENS_SAFELY:
            self.note("door opened under pressure")
        # In the dry phase the board heats a drained chamber on purpose, in pulses.
        if self._unit.watts > 0.0 and self._unit.depth < DRY_DEPTH and not self._unit.board.releases_door:
            self.note("heater dry")

    def note(self, abuse: str) -> None:
        """Add to the list unless it is there."""
        if abuse not in self._abuses:
            self._abuses.append(abuse)

    # ---- inputs and channels ------------------------------------------------------------------------------

    def inputs(self) -> list[bool]:
        """All discrete inputs as they stand."""
        unit = self._unit
        state = [False] * CHANNELS
        for coil, channel in MIRRORS.items():
            state[channel] = self._mirrors.get(coil, self.closed(coil))
        state[SUB_MIRROR] = any(self._mirrors.get(coil, self.closed(coil)) for coil in SUBS)
        state[12] = not self.stopped
        state[13] = self.lid_shut
        state[15] = unit.vessel.sealed
        state[16] = unit.circuits.level_ohm(unit.probe_wet) < unit.model.electrics.bench_level_ohm
        state[17] = unit.circuits.feed.output_volts() > FILL_DRIVE_VOLTS
        state[18] = unit.joined.mains and unit.board.wants_heat
        state[20] = unit.float_up
        state[21] = unit.door_locked
        state[23] = self._time_relay.closed
        return state

    def quantity(self, channel: int) -> float:
        """True value of an analog channel; spare ones read 0. Raises UnknownName beyond the module."""
        unit = self._unit
        match channel:
            case 0:
                return unit.reference.value
            case 1 | 3:
                return unit.model.place.ambient
            case 2:
                return unit.vent_line.value
            case 4:
                return unit.gas.pressure
            case 5:
                return unit.gas.gauge
            case 6:
                return unit.circuits.heater_amps()
            case 7:
                return unit.circuits.mains_volts
            case 8:
                return unit.scale.value
            case 9:
                return unit.circuits.supply_amps()
            case 10 | 11:
                return 0.0
        raise UnknownName("analog channel", str(channel), [str(k) for k in range(ANALOG_CHANNELS)])


def _set(table: dict[Key, bool], key: Key, value: bool | None) -> None:
    if value is None:
        table.pop(key, None)
    else:
        table[key] = value
