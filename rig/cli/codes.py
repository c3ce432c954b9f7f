"""Exit codes of a run. Where several apply, the larger number wins."""

from __future__ import annotations

from rig.events import RunRecord
from rig.limits import Verdict

PASSED, NOT_PASSED, WRONG_INPUT, STOPPED, REFUSED = 0, 1, 2, 3, 4
SIGNALLED = 128  # plus the signal's number

_OF_VERDICT = {
    Verdict.PASS: PASSED,
    Verdict.CONDITIONAL_PASS: NOT_PASSED,
    Verdict.NOT_EVALUATED: NOT_PASSED,
    Verdict.CONDITIONAL_FAIL: NOT_PASSED,
    Verdict.FAIL: NOT_PASSED,
    Verdict.NO_READING: STOPPED,
    Verdict.STOPPED: STOPPED,
    Verdict.NOT_RUN: STOPPED,  # nothing was found out
}


def exit_code(record: RunRecord) -> int:
    """The exit code of a run.

    0 every judged step passed and all is off; 1 the unit did not pass; 3 stopped, no reading, or something is
    not confirmed off; 128 + n after signal n.
    """
    ended = record.ended
    codes = [_OF_VERDICT[ended.verdict]]
    if not ended.all_off:
        codes.append(STOPPED)
    if ended.signal is not None:
        codes.append(SIGNALLED + ended.signal)
    return max(codes)
