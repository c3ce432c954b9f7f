"""The table of the wire's faults in the folder's own README is the one that the code has; its examples are obeyed."""

import asyncio
import json
import re
from pathlib import Path

import pytest
from fake_plant import FakePlant
from peer import on_station

from simulators.station import LISTENERS, Station, list_wire_faults
from simulators.wire.control import Control

TEXT = (Path(__file__).parents[2] / "simulators" / "README.md").read_text(encoding="utf-8")
WIRES = TEXT[TEXT.index("\n## The wires") :]
ROWS = dict(re.findall(r"^\| `([a-z0-9-]+)` \| (.*) \|$", WIRES, re.MULTILINE))


def test_at_least_forty_faults_each_with_a_name_a_line_and_what_is_seen() -> None:
    found = list_wire_faults()
    assert len(found) >= 40
    assert len({fault["name"] for fault in found}) == len(found)
    json.dumps(found)
    for fault in found:
        assert re.fullmatch(r"[a-z][a-z0-9-]+", fault["name"])
        assert fault["line"]
        assert fault["seen"]
        assert fault["instruments"]
        assert fault["wires"]
        assert len(fault["line"]) <= 80


@pytest.mark.parametrize("fault", list_wire_faults(), ids=lambda fault: str(fault["name"]))
def test_every_fault_has_its_row(fault: dict[str, object]) -> None:
    line, seen, _, takes = ROWS[str(fault["name"])].split(" | ")
    assert (line, seen) == (fault["line"], fault["seen"])
    assert re.findall(r"`(\w+)`", takes) == fault["parameters"]


def test_there_is_no_row_of_a_fault_that_is_none() -> None:
    names = {str(fault["name"]) for fault in list_wire_faults()}
    assert set(ROWS) - set(LISTENERS) == names


def test_the_examples_of_the_control_channel_are_obeyed() -> None:
    examples = re.findall(r"^    (\{.*\})$", WIRES, re.MULTILINE)
    assert len(examples) == 8

    async def work(station: Station, plant: FakePlant) -> None:
        control = Control(station)
        for example in examples:
            if '"fault"' in example:
                continue  # of the unit, which is not here
            said = control.serve(example.encode(), 0.0).data
            assert said is not None
            assert json.loads(said)["ok"] is True
            await asyncio.sleep(0.001)

    on_station(work)
