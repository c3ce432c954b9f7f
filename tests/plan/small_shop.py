"""A small invented shop: one procedure, one profile, one bench, and a way to change a word in one of them."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from rig.errors import Fault, InputError
from rig.plan.load import Loaded, load
from rig.plan.proof import prove

PROCEDURE = """\
procedure: small
title: A small procedure
revision: "1"
as-found: fill-time
stages:
  - stage: cold
    title: Dead readings
    drive: dead
    steps:
      - step: ambient
        measure: temperature
        at: room
        limit: {at-least: 10 Cel, at-most: 35 Cel, source: invented}
      - step: coil
        measure: resistance four-wire
        at: coil-ends
        range: 100 Ohm
        over-range: open circuit
        limit: {profile: coil}
      - step: coil-at-20
        compute: copper-at-20(coil, ambient)
        in: Ohm
        limit: {profile: coil}
      - step: earth
        ask: What does the tester read?
        verb: measure
        thing: earth
        answer: {number-in: Ohm}
        standard-uncertainty: 5 mOhm
        limit: {at-most: 0.2 Ohm, source: invented}
  - stage: fill
    title: The board fills
    drive: board drives
    needs: [earth]
    steps:
      - step: power
        switch: {turn-on: [mains]}
      - step: fill-time
        time:
          from: {input: fill-drive, is: on}
          until: {input: level-probe, is: wet}
          start-within: 60 s
          give-up: profile fill.give-up
        start: {ask: Press start., verb: press, thing: start-button}
        every: 100 ms
        limit: {profile: fill-time}
        after-bad: leave out stage
        meanwhile:
          - step: supply
            measure: DC volts
            at: valve-plug
            settle: 5 s
            range: 100 V
            limit: {at-least: 20 V, at-most: 30 V, source: invented}
          - step: warming
            record: [room]
            every: 1 s
            judge: highest of room
            no-limit: for the eye
      - step: heat-on
        switch: {turn-on: [heater]}
      - step: to-90
        time:
          from: {quantity: room, reaches: 40 Cel}
          until: {quantity: room, reaches: 90 Cel}
          start-within: 1 min
          give-up: 5 min
        every: 1 s
        no-limit: judged by the next step
      - step: rise
        compute: 50 K / to-90
        in: K/min
        limit: {at-least: 9 K/min, source: invented}
  - stage: feed
    title: The bench feeds
    drive: bench feeds
    after: [fill-time]
    steps:
      - step: dip
        waveform: shunt
        interval: 100 us
        for: 100 ms
        energize: [feed]
        judge: dip
        limit: {at-least: 30 mA, source: invented}
      - step: again
        repeat:
          times: 3
          steps:
            - step: rate
              record: [jug]
              every: 1 s
              for: 10 s
              energize: [feed]
              judge: slope of jug
              limit: {at-least: 2 g/s, source: invented}
"""

PROFILE = """\
unit-profile: small-unit
title: A small unit
revision: "1"
source: invented
approved: {revision: "1", by: nobody real, on: "2026-01-12"}
facts:
  fill: {give-up: 180 s, valve: DC coil}
  mains: {voltage: 230 V}
limits:
  coil: {nominal: 57.6 Ohm, within: 15 %, source: invented}
  fill-time: {at-most: 2 min, source: invented}
"""

BENCH = """\
bench: small-bench
title: A small bench
simulated: true
station: demo
links:
  wire: {protocol: modbus-tcp, address: station}
  scpi: {protocol: visa, address: station}
instruments:
  relays: {driver: modbus-relays, link: wire, device: 1, channels: 16, serial: R1}
  contacts: {driver: modbus-inputs, link: wire, device: 2, channels: 16, serial: I1}
  analog: {driver: modbus-analog, link: wire, device: 3, channels: 8, serial: A1}
  dmm:
    driver: scpi-multimeter
    link: scpi
    serial: M1
    accuracy:
      - {function: DC volts, range: 100 V, of-reading: 0.01 %, of-range: 0.01 %}
      - {function: resistance four-wire, range: 1 kOhm, of-reading: 0.01 %, of-range: 0.01 %}
outputs:
  mains: {instrument: relays, channel: 0, energizes: mains, feedback: mains-aux, longest-on: 20 min, for: mains}
  heater: {instrument: relays, channel: 1, energizes: heater, feedback: read-back, longest-on: 10 min, for: heater}
  feed: {instrument: relays, channel: 2, energizes: bench feed, feedback: read-back, longest-on: 15 s, for: feed}
  volts: {instrument: relays, channel: 3, energizes: nothing, feedback: read-back, longest-on: 1 h, for: volts bus}
  ohms: {instrument: relays, channel: 4, energizes: nothing, feedback: read-back, longest-on: 1 h, for: ohms bus}
  cut-off: {instrument: relays, channel: 5, energizes: nothing, feedback: read-back, longest-on: 1 h, for: changeover}
inputs:
  mains-aux: {instrument: contacts, channel: 0, open: off, closed: on, for: mirror contact}
  level-probe: {instrument: contacts, channel: 1, open: dry, closed: wet, for: level sense}
  fill-drive: {instrument: contacts, channel: 2, open: off, closed: on, for: board output}
  estop: {instrument: contacts, channel: 3, open: pressed, closed: healthy, for: stop chain}
quantities:
  room: {instrument: analog, channel: 0, measures: temperature, raw: [0, 20000], means: [0 Cel, 200 Cel], accuracy: 0.3 K, for: Pt100}
  jug: {instrument: analog, channel: 1, measures: mass, raw: [0, 30000], means: [0 g, 3 kg], accuracy: 1 g, for: scale}
test-points:
  valve-plug: {meter: dmm, bus: volts, select: {instrument: relays, channel: 8}, measures: [DC volts], on: valve, for: plug}
  shunt: {meter: dmm, bus: volts, select: {instrument: relays, channel: 9}, measures: [DC amps], shunt: 0.1 Ohm, shunt-accuracy: 0.1 %, on: valve, for: lead}
  coil-ends: {meter: dmm, bus: ohms, select: {instrument: relays, channel: 10}, measures: [resistance four-wire], on: valve, needs-on: [cut-off], for: coil}
all-off-order: [heater, mains, feed]
circuits:
  valve: {test-point: valve-plug, measure: DC volts, range: 10 V, below: 1 V}
  bench: {never-live: nothing leads there}
interlocks:
  earth: {for: [mains], must: {confirmed: earth}, because: invented}
  apart: {for: [feed], must: {output: mains, is: off}, also: [wiring], because: invented}
  parted: {for: [mains], must: {is: off, output: feed}, because: invented}
  stop: {for: [mains, heater, feed], must: {input: estop, is: healthy}, because: invented}
  water: {for: [heater], must: {input: "level-probe", is: "wet"}, because: invented}
  dead: {for: [ohms], must: {is: off, output: mains}, because: invented}
  dead-heater: {for: [ohms], must: {is: off, output: heater}, because: invented}
  dead-feed: {for: [ohms], must: {is: off, output: feed}, because: invented}
  no-ohms: {for: [mains, heater, feed], must: {is: off, output: ohms}, because: invented}
  fed: {for: [heater], must: {is: on, input: mains-aux}, because: invented}
  cool: {for: [heater], must: {quantity: room, at-most: 140 Cel, no-older-than: 2 s}, because: invented}
  warms: {for: [heater], must: {quantity: room, rises: 2 K, within: 60 s, until: 95 Cel, no-older-than: 2 s}, because: invented}
"""  # noqa: E501


@dataclass
class Shop:
    """The three texts, and the folder they are written to."""

    folder: Path
    texts: dict[str, str]

    def change(self, old: str, new: str) -> Shop:
        """Replace text that stands once in one of the three files."""
        holders = [name for name, text in self.texts.items() for _ in range(text.count(old))]
        assert len(holders) == 1, f"{old!r} stands {len(holders)} times, in {holders}"
        return Shop(self.folder, {**self.texts, holders[0]: self.texts[holders[0]].replace(old, new)})

    def path(self, name: str) -> Path:
        """Where a file stands, written anew."""
        path = self.folder / f"{name}.yaml"
        path.write_text(self.texts[name], encoding="utf-8")
        return path

    def load(self, name: str) -> Loaded:
        return load(self.path(name))

    def faults(self) -> list[Fault]:
        """What reading and proving the three finds; nothing is proved while one of them cannot be read."""
        found: list[Fault] = []
        loaded: dict[str, Loaded] = {}
        for name in self.texts:
            try:
                loaded[name] = self.load(name)
            except InputError as error:
                found += error.faults
        return found or prove(loaded["procedure"], loaded["profile"], loaded["bench"])

    def place(self, name: str, at: str) -> tuple[int, int]:
        """Line and column of text; of what follows the mark "^" where it holds one."""
        before, mark, after = at.partition("^")
        wanted = before + after
        assert self.texts[name].count(wanted) == 1, f"{wanted!r} stands {self.texts[name].count(wanted)} times"
        offset = self.texts[name].index(wanted) + (len(before) if mark else 0)
        line_start = self.texts[name].rfind("\n", 0, offset) + 1
        return self.texts[name].count("\n", 0, offset) + 1, offset - line_start + 1

    def expect(self, name: str, at: str, *words: str) -> None:
        """There is one fault, at that place, and it says all these words."""
        found = self.faults()
        assert len(found) == 1, "\n".join(map(str, found)) or "no fault was found"
        self._says(found[0], name, at, words)

    def expect_among(self, name: str, at: str, *words: str) -> None:
        """One of the faults is at that place and says all these words; others follow from it."""
        place = self.place(name, at)
        there = [f for f in self.faults() if (Path(f.file).stem, f.line, f.column) == (name, *place)]
        assert len(there) == 1, "\n".join(map(str, self.faults())) or "no fault was found"
        self._says(there[0], name, at, words)

    def _says(self, fault: Fault, name: str, at: str, words: tuple[str, ...]) -> None:
        assert (Path(fault.file).stem, fault.line, fault.column) == (name, *self.place(name, at)), fault
        for word in words:
            assert re.search(rf"(?<!\w){re.escape(word)}(?!\w)", fault.message), (word, fault.message)


def small_shop(folder: Path) -> Shop:
    """The shop as it stands above, without a fault."""
    return Shop(folder, {"procedure": PROCEDURE, "profile": PROFILE, "bench": BENCH})
