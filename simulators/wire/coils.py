"""What a relay board says of its coils after further writes: of an answer that was recorded before them."""

from collections.abc import Sequence

from simulators.wire.frames import Frames

READ_COILS, WRITE_COIL, WRITE_COILS = 1, 5, 15  # Modbus Application Protocol V1.1b3, 6.1, 6.5 and 6.11


def after_writes(frames: Frames, asked: bytes, answer: bytes, writes: Sequence[bytes]) -> bytes:
    """A whole answer to a question for coils, with what was written to that device since. Anything else as it is."""
    question, said = frames.split(asked), frames.split(answer)
    if question is None or said is None or said.pdu[:1] != bytes([READ_COILS]) or len(question.pdu) < 5:
        return answer
    begin, data = int.from_bytes(question.pdu[1:3], "big"), bytearray(said.pdu[2:])
    for write in writes:
        frame = frames.split(write)
        if frame is None or frame.device not in (question.device, 0):
            continue
        for address, on in _written(frame.pdu):
            byte, bit = divmod(address - begin, 8)
            if 0 <= byte < len(data):
                data[byte] = data[byte] | 1 << bit if on else data[byte] & ~(1 << bit)
    return frames.join(said._replace(pdu=said.pdu[:2] + bytes(data)))


def _written(pdu: bytes) -> list[tuple[int, bool]]:
    """The coils that a request writes, each with its state."""
    address = int.from_bytes(pdu[1:3], "big")
    if pdu[0] == WRITE_COIL:
        return [(address, pdu[3:5] == b"\xff\x00")]
    if pdu[0] == WRITE_COILS:
        count = int.from_bytes(pdu[3:5], "big")
        return [(address + n, bool(pdu[6 + n // 8] >> n % 8 & 1)) for n in range(count) if 6 + n // 8 < len(pdu)]
    return []
