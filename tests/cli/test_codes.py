"""Exit codes, as scripts outside rely on them. Where several apply, the larger number wins."""

from __future__ import annotations

import signal

import pytest
from events_of_a_run import began, end

from rig.cli.codes import exit_code
from rig.events import RunRecord
from rig.limits import Verdict

CODES = {
    Verdict.PASS: 0,
    Verdict.CONDITIONAL_PASS: 1,
    Verdict.NOT_EVALUATED: 1,
    Verdict.CONDITIONAL_FAIL: 1,
    Verdict.FAIL: 1,
    Verdict.NO_READING: 3,
    Verdict.STOPPED: 3,
    Verdict.NOT_RUN: 3,
}


@pytest.mark.parametrize("verdict", Verdict)
def test_by_verdict(verdict: Verdict) -> None:
    assert exit_code(RunRecord(began(), (), end(verdict))) == CODES[verdict]


@pytest.mark.parametrize("verdict", Verdict)
def test_what_is_not_confirmed_off_is_never_less_than_3(verdict: Verdict) -> None:
    assert exit_code(RunRecord(began(), (), end(verdict, all_off=False))) == 3


@pytest.mark.parametrize("number", [signal.SIGHUP, signal.SIGINT, signal.SIGTERM])
def test_a_signal_is_128_and_its_number(number: signal.Signals) -> None:
    record = RunRecord(began(), (), end(Verdict.STOPPED, all_off=False, signal=int(number)))
    assert exit_code(record) == 128 + number
