from __future__ import annotations

import json

import pytest
from hypothesis import given
from hypothesis import strategies as st
from some_runs import started, supply, whole_run

from rig.events import Event, Interrupted, Noted, RunEnded, RunRecord, StepEnded, Traced, run_dict
from rig.limits import Verdict
from rig.records.canonical import canonical, parsed
from rig.records.codec import KINDS, decode, encode, normal, normal_record

NAME = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
MARK = Interrupted(9.0, "2026-03-01T09:00:00Z", ("mains",), ("heater-enable",), ("all boards dropped",))
EVERY_KIND = [*whole_run(NAME), MARK]


def _back(event: Event) -> Event:
    return decode(parsed(canonical(encode(event))))


def test_the_example_has_every_kind_of_event() -> None:
    assert {type(e).__name__ for e in EVERY_KIND} == set(KINDS)


@pytest.mark.parametrize("event", EVERY_KIND, ids=lambda e: type(e).__name__)
def test_what_comes_back_equals_what_went_in(event: Event) -> None:
    assert _back(event) == event
    assert type(_back(event)) is type(event)


def test_the_unit_of_the_author_and_the_order_of_the_parts_survive() -> None:
    back = _back(StepEnded(1.0, supply()))
    assert isinstance(back, StepEnded)
    assert back.result.limit is not None
    assert back.result.reading is not None
    assert back.result.limit.shown_in == "mV"
    assert [name for name, _ in back.result.reading.parts] == ["resolution", "accuracy"]


@given(
    st.lists(st.floats(allow_nan=False, allow_infinity=False)),
    st.text(st.characters(exclude_categories=["Cs"])),
)
def test_any_number_and_any_text(values: list[float], text: str) -> None:
    event = Traced(0.5, text, text, "V", tuple(values), tuple(values))
    assert _back(event) == event


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_number_that_is_none_is_refused(value: float) -> None:
    with pytest.raises(ValueError, match="not a finite number"):
        canonical(encode(Traced(0.5, "s", "q", "V", (0.5,), (value,))))


@pytest.mark.parametrize(
    "plain",
    [
        None,
        [],
        {"event": "Event", "at": 0.0},
        {"event": ["Noted"], "at": 0.0, "text": "x"},
        {"event": "Unheard", "at": 0.0},
        {"event": "Noted", "at": 0.0},
        {"event": "Noted", "at": 0.0, "text": "x", "more": 1},
        {"event": "Noted", "at": "0", "text": "x"},
        {"event": "Noted", "at": True, "text": "x"},
        {"event": "Noted", "at": 0.0, "text": 5},
        {"event": "AllOff", "at": 0.0, "confirmed": 1, "unconfirmed": []},
        {"event": "AllOff", "at": 0.0, "confirmed": True, "unconfirmed": "mains"},
        {"event": "RunEnded", "at": 0, "verdict": "fine", "reason": None, "all_off": True, "seconds": 1},
    ],
)  # fmt: skip
def test_what_is_no_event_is_refused(plain: object) -> None:
    with pytest.raises(ValueError, match=r".+"):
        decode(plain)


def test_whole_numbers_print_alike_before_and_after_the_store() -> None:
    record = RunRecord(started(NAME), (supply(),), RunEnded(9, Verdict.FAIL, None, True, 9, 1))
    through = RunRecord(normal(record.started), (normal(StepEnded(0.0, supply())).result,), normal(record.ended))
    assert json.dumps(run_dict(normal_record(record))) == json.dumps(run_dict(through))
    assert '"seconds": 9.0' in json.dumps(run_dict(through))
    assert normal(Noted(3, "x")).at == 3.0
