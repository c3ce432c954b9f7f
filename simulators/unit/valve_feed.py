"""What drives the fill valve, by the unit's board or by the bench, and what stands at its plug meanwhile.

Three kinds of valve: an AC coil on the board's own AC; a DC coil with its rectifier in the lead, between the board
and the plug; a coil whose rectifier is moulded in, so that the plug carries AC and a meter sees two junctions.
"""

from dataclasses import dataclass
from math import inf, pi, sqrt

from simulators.unit.board import Board
from simulators.unit.defects import Defects
from simulators.unit.electrics import HALF_WAVE, bridge_mean, parallel
from simulators.unit.lag import Lag
from simulators.unit.models import Model
from simulators.unit.solenoid import Drive
from simulators.unit.valve import DIODES, SUPPRESSED, WITHIN, Valve

RATED_VOLTS = 230.0
SHUNT_OHM = 0.1  # the fixture's shunt in the valve's lead
DUMMY_OHM = 57.6  # the fixture's resistor of the valve's power
FUSE_SECONDS = 3.0  # thermal lag of the self-resetting fuse in the board's output (invented)
FUSE_TRIPPED_OHM = 2000.0  # what it lets through once tripped, until the power goes (invented)
DIES_IN = {"none": SUPPRESSED, "separate": DIODES, "moulded": WITHIN}
TEST_AMPS = 1e-3  # of the meter's diode function
TEST_VOLTS = 0.55  # of one junction at that current; textbook range of silicon 0.45 to 0.75
COMPLIANCE = 4.0  # V that the diode function reaches


@dataclass
class Connections:
    """What the fixture does to the unit: contacts closed, feeds, heater leads, jug, level, air."""

    mains: bool = False
    heater_enable: bool = False
    heater_leads: bool = True
    to_bench: bool = False
    bench_feed: bool = False  # the fill valve's feed contact
    bench_volts: float = 0.0  # on the bench bus, without load
    bench_alternates: bool = False
    dummy: bool = False
    jug: bool = False
    level_beside_ohm: float = inf  # resistor from the probe's terminal to the chamber wall
    level_lifted: bool = False  # the probe's lead is open
    air_supply: bool = False  # the valve of the bench's compressed air
    air_dump_shut: bool = False


class ValveFeed:
    """The fill valve's circuit. `defects` and `mains_volts` are written by the circuits around it."""

    def __init__(self, model: Model, board: Board, valve: Valve, joined: Connections) -> None:
        self.model = model
        self.joined = joined
        self.defects = Defects()
        self.mains_volts = model.place.supply.volts
        self.fuse_blown = False
        self._board = board
        self._valve = valve
        self._fuse = Lag(FUSE_SECONDS, 0.0)
        self._rectifier = model.electrics.rectifier
        self._omega = 2 * pi * model.place.supply.hertz

    # ---- resistances --------------------------------------------------------------------------------------

    def harness_ohm(self) -> float:
        """The fill valve's lead, out and back."""
        return self.model.electrics.harness_ohm + self.defects.harness_ohm

    def output_ohm(self) -> float:
        """Inside the board, up to its output terminals."""
        fuse = FUSE_TRIPPED_OHM if self.fuse_blown else 0.0
        return self.model.electrics.output_ohm + self.defects.output_ohm + fuse

    def coil_ohms(self) -> float:
        """Between the valve's terminals for an ohmmeter: with junctions in between it does not reach the winding."""
        return inf if self._rectifier == "moulded" else self._valve.ohms

    def junction_volts(self) -> float:
        """What the meter's diode function shows: V, inf beyond what it can drive.

        At a valve with a moulded rectifier its terminals, one way round; else the separate rectifier's AC side with
        its output shorted by the fixture, the worse way round; without any rectifier the bare coil.
        """
        if self._rectifier == "none":
            ohms, junctions = self._valve.ohms, 0
        else:
            moulded = self._rectifier == "moulded"
            passes = moulded and self.model.electrics.lost_half < 0  # the other half wave is the bad one
            lost = 0.0 if passes else self.defects.diode_ohm
            ohms, junctions = lost + (self._valve.ohms if moulded else 0.0), 2
        volts = junctions * TEST_VOLTS + TEST_AMPS * ohms
        if self._rectifier != "separate" and not self.joined.to_bench:  # the board's output lies beside the valve
            volts = min(volts, TEST_AMPS * (self.model.electrics.output_off_ohm + self.harness_ohm()))
        return volts if volts < COMPLIANCE else inf

    # ---- driving ------------------------------------------------------------------------------------------

    def secondary(self) -> float:
        """AC volts (rms) of the board's valve output without load, while it is commanded on."""
        if not (self._board.drives_valve and self.joined.mains):
            return 0.0
        return self.model.electrics.secondary * self.mains_volts / RATED_VOLTS

    def drive(self) -> Drive | None:
        """What stands behind the valve's winding now; None for nothing."""
        return self._from_bench() if self.joined.to_bench else self._from_board()

    def _from_board(self) -> Drive | None:
        volts = self.secondary()
        if volts <= 0.0:
            return None
        ohms = self.output_ohm() + self.harness_ohm() + SHUNT_OHM
        return self._alternating(volts, ohms, self._rectifier)

    def _from_bench(self) -> Drive | None:
        joined, place = self.joined, self.model.place
        if not joined.bench_feed or joined.bench_volts <= 0.0:
            return None
        ohms = place.bench_ohm + SHUNT_OHM
        if joined.bench_alternates:  # the bench feeds the valve itself: a rectifier in the lead is passed by
            return self._alternating(
                joined.bench_volts, ohms, "none" if self._rectifier == "separate" else self._rectifier
            )
        if self._rectifier == "moulded":
            lost = self.defects.diode_ohm
            return Drive(joined.bench_volts, ohms, 0.0, 0.0, True, lost, self.model.electrics.lost_half, True)
        return Drive(joined.bench_volts, ohms)

    def _alternating(self, volts: float, ohms: float, rectifier: str) -> Drive:
        electrics = self.model.electrics
        if rectifier == "none":
            return Drive(volts, ohms, self._omega, electrics.phase)
        return Drive(
            volts, ohms, self._omega, electrics.phase, True, self.defects.diode_ohm, electrics.lost_half,
            rectifier == "moulded",
        )  # fmt: skip

    def step(self, now: float, dt: float) -> None:
        """One step of the valve with whatever feeds it, and of the fuse in the board's output."""
        self._valve.step(now, dt, self.drive())
        through = 0.0 if self.joined.to_bench else self._valve.amps
        self._fuse.step(dt, through * through)
        if self._fuse.value > self.model.electrics.fuse_amps**2:
            self.fuse_blown = True
        elif not self.joined.mains:
            self.fuse_blown = False

    def board_amps(self) -> float:
        """What the valve takes from the board's output, A rms."""
        return 0.0 if self.joined.to_bench else self._valve.amps

    # ---- volts at the plug --------------------------------------------------------------------------------

    def load_ohms(self) -> float:
        """What hangs on the valve's plug on the board's side of the changeover."""
        load = DUMMY_OHM if self.joined.dummy else inf
        return load if self.joined.to_bench else parallel(load, self._valve.impedance + SHUNT_OHM)

    def plug_volts(self, alternating: bool) -> float:
        """DC, or the AC part (rms), at the valve's plug, board's side."""
        volts = self.secondary()
        if volts <= 0.0:
            return 0.0
        source = self.output_ohm() + self.harness_ohm()
        share = self._share(self.load_ohms(), source)
        if self._rectifier == "separate":
            return share * (self._rectified_ripple(volts) if alternating else self._rectified_mean(volts))
        if self._rectifier == "moulded" and not self.joined.to_bench:
            return max(0.0, volts - self._valve.ripple * source) if alternating else -self._valve.mean * source
        return share * volts if alternating else 0.0

    def output_volts(self) -> float:
        """AC at the board's own output terminals, where the fixture senses its drive."""
        return self.secondary() * self._share(self.load_ohms() + self.harness_ohm(), self.output_ohm())

    def _rectified_mean(self, volts: float) -> float:
        running = not self.joined.to_bench and self._valve.ohms < inf and not self.joined.dummy
        if running and self._valve.mean > 0.0 and not self._valve.moving:
            # The winding keeps its own current running: what stands at it is what that current needs, no more.
            source = self.output_ohm() + self.harness_ohm()
            ohms = self._valve.ohms + SHUNT_OHM
            return self._valve.mean * ohms / self._share(ohms, source)
        return bridge_mean(volts, self._passing())

    def _rectified_ripple(self, volts: float) -> float:
        """AC part of the rectified wave: its rms less its mean, both of ideal half waves (textbook)."""
        passing = self._passing()
        mean = HALF_WAVE * (1.0 + passing)
        return volts * sqrt(max(0.0, 0.5 * (1.0 + passing * passing) - mean * mean))

    def _passing(self) -> float:
        """Part of the second half wave that the rectifier still passes."""
        bad = self.defects.diode_ohm
        return 1.0 if bad == 0.0 else 1.0 / (1.0 + bad / self._valve.ohms)

    @staticmethod
    def _share(load: float, source: float) -> float:
        if source == inf:
            return 0.0
        return 1.0 if load == inf else load / (load + source)
