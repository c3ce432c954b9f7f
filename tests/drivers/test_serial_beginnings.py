"""Answers of a serial line, heard byte by byte: the beginning of one is not taken for a whole one."""

import struct

import pytest

from drivers.modbus_frames import crc16, flaw_rtu, question_of, sound


def frame(device: int, pdu: bytes) -> bytes:
    """A serial frame, its checksum with the lower byte first (Modbus over Serial Line V1.02, 2.5.1.2)."""
    body = bytes([device]) + pdu
    return body + crc16(body).to_bytes(2, "little")


def registers(*values: int) -> bytes:
    return frame(3, bytes([4, 2 * len(values)]) + struct.pack(f">{len(values)}H", *values))


ASKED = frame(3, struct.pack(">BHH", 4, 0, 10))
# Of one in some three thousand such answers a beginning has a right checksum by chance: here the first 24 of 25 bytes.
CHANCE = registers(2210, 0, 2251, 2218, 5058, 0, 1, 23026, 70, 30042)
# ... and here the first 5, which is as long as an exception.
SHORT = registers(33551, 0, 0, 0, 0, 0, 0, 0, 0, 0)


@pytest.mark.parametrize(("answer", "beginning"), [(CHANCE, 24), (SHORT, 5)])
def test_a_beginning_that_is_sound_by_chance_is_waited_for(answer: bytes, beginning: int) -> None:
    question = question_of(3, 4, 10)
    assert sound(answer[:beginning])
    for length in range(len(answer)):
        flaw = flaw_rtu(answer[:length], ASKED, question)
        assert flaw is not None
        assert not flaw.final, length
    assert flaw_rtu(answer, ASKED, question) is None


def test_a_whole_answer_of_another_kind_is_a_flaw_at_once() -> None:
    question = question_of(3, 4, 1)
    for other in (registers(1, 2), frame(4, bytes([4, 2, 0, 1])), frame(3, bytes([3, 2, 0, 1]))):
        flaw = flaw_rtu(other, ASKED, question)
        assert flaw is not None
        assert flaw.final
    assert flaw_rtu(frame(3, bytes([0x84, 2])), ASKED, question) is None  # an exception is an answer
