"""UUID version 7: RFC 9562, 5.7, and its test vector, Appendix A.6."""

from __future__ import annotations

import time
import uuid

import pytest

from rig.records.ids import new_run_id, uuid7


def test_the_vector_of_appendix_a6() -> None:
    # the time, rand_a and rand_b as given there
    assert str(uuid7(0x017F22E279B0, 0xCC3, 0x18C4DC0C0C07398F)).upper() == "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"


def test_version_and_variant_of_5_7_whatever_the_rest() -> None:
    for filled in (uuid7(0, 0, 0), uuid7((1 << 48) - 1, (1 << 12) - 1, (1 << 62) - 1)):
        assert filled.version == 7
        assert filled.variant == uuid.RFC_4122


@pytest.mark.parametrize("parts", [(1 << 48, 0, 0), (0, 1 << 12, 0), (0, 0, 1 << 62), (-1, 0, 0)])
def test_what_does_not_fit_is_refused(parts: tuple[int, int, int]) -> None:
    with pytest.raises(ValueError, match="bits"):
        uuid7(*parts)


def test_a_new_id_carries_the_time_it_was_given_at() -> None:
    before = time.time_ns() // 1_000_000
    made = uuid.UUID(new_run_id())
    after = time.time_ns() // 1_000_000
    assert made.version == 7
    assert before <= made.int >> 80 <= after
