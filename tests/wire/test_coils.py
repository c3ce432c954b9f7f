"""A board's coils after further writes, of an answer that was recorded before them."""

import pytest

from simulators.wire.coils import after_writes
from simulators.wire.frames import Frame, RtuFrames, TcpFrames

ASK = bytes.fromhex("01 0010 0010")  # sixteen coils from 16 on
SAID = bytes.fromhex("01 02 01 80")  # the first and the last are on


@pytest.mark.parametrize("frames", [TcpFrames(), RtuFrames()])
@pytest.mark.parametrize(
    ("device", "writes", "data"),
    [
        (4, [], "01 80"),
        (4, ["05 0010 0000"], "00 80"),
        (4, ["05 0011 FF00", "05 001F 0000"], "03 00"),
        (4, ["05 000F FF00", "05 0020 FF00"], "01 80"),  # below and above what was asked for
        (4, ["0F 0010 0010 02 0000"], "00 00"),
        (4, ["0F 0014 0006 01 3F", "05 0015 0000"], "D1 83"),
        (4, ["06 0010 0000", "0F 0010 0010 02"], "01 80"),  # a register; a request that is cut short
        (3, ["05 0010 0000"], "01 80"),  # another device's
        (0, ["05 0010 0000"], "00 80"),  # everybody's
    ],
)
def test_the_answer_has_what_was_written_since(
    frames: TcpFrames | RtuFrames, device: int, writes: list[str], data: str
) -> None:
    asked, said = frames.join(Frame(7, 4, ASK)), frames.join(Frame(7, 4, SAID))
    written = [frames.join(Frame(9, device, bytes.fromhex(write))) for write in writes]
    found = frames.split(after_writes(frames, asked, said, written))
    assert found is not None
    assert found.pdu == SAID[:2] + bytes.fromhex(data)
    assert found.device == 4


def test_what_is_no_answer_for_coils_stays_as_it_is() -> None:
    frames = TcpFrames()
    asked, write = frames.join(Frame(7, 4, ASK)), frames.join(Frame(9, 4, bytes.fromhex("05 0010 0000")))
    for said in (b"\x00\x07\x00", frames.join(Frame(7, 4, bytes.fromhex("81 04")))):
        assert after_writes(frames, asked, said, [write]) == said
