"""Frames on the serial line: COBS, CRC-16/CCITT-FALSE, one zero byte at the end.

A frame carries, before encoding::

    sequence (1 byte) | kind (1 byte) | payload (0 to 54 bytes) | CRC-16, high byte first (2 bytes)

The CRC covers sequence, kind and payload. The whole is encoded with consistent overhead byte stuffing, which
leaves no zero byte in it, and a zero byte ends it: at most 60 bytes on the line. A first byte of 60 or more
therefore never begins a frame, which is what lets a person type ``?`` (0x3F, 63) on the same line.
"""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.errors import OutOfRange

FRAME_SIZE = 60
"""Most bytes of one frame on the line, its closing zero included."""
PAYLOAD_SIZE = FRAME_SIZE - 6
"""Most bytes of payload: COBS adds one byte, then sequence, kind, CRC (2) and the closing zero."""
DELIMITER = b"\x00"
_POLYNOMIAL = 0x1021
_LONGEST_RUN = 0xFF


@dataclass(frozen=True, slots=True)
class Frame:
    """One frame as it was before encoding: `sequence` and `kind` are 0 to 255, `payload` at most 54 bytes."""

    sequence: int
    kind: int
    payload: bytes = b""


def crc16(data: bytes, start: int = 0xFFFF) -> int:
    """Return the CRC-16/CCITT-FALSE of `data` (0 to 65535), also listed as CRC-16/IBM-3740.

    Polynomial 0x1021, start value 0xFFFF, nothing reflected, nothing inverted at the end. `start` continues an
    earlier sum. Check value: 0x29B1 for the ASCII digits 1 to 9. Source: Cook, Catalogue of parametrised CRC
    algorithms.
    """
    value = start
    for byte in data:
        value ^= byte << 8
        for _ in range(8):
            value = (value << 1) ^ _POLYNOMIAL if value & 0x8000 else value << 1
        value &= 0xFFFF
    return value


def cobs_encode(data: bytes) -> bytes:
    """Return `data` with every zero byte stuffed away: at most one byte longer for each 254, and at least one.

    Source: Cheshire and Baker 1999, IEEE/ACM Transactions on Networking 7(2), 159. A full run of 254 bytes at
    the very end gets no further code byte.
    """
    out = bytearray(1)
    code_at = 0
    for index, byte in enumerate(data):
        if byte:
            out.append(byte)
        if byte == 0 or (len(out) - code_at == _LONGEST_RUN and index + 1 < len(data)):
            out[code_at] = len(out) - code_at
            code_at = len(out)
            out.append(0)
    out[code_at] = len(out) - code_at
    return bytes(out)


def cobs_decode(data: bytes) -> bytes | None:
    """Return what `cobs_encode` was given, or None where `data` is not such an encoding.

    Nothing (an empty frame), a zero byte, and a code byte that points past the end are not.
    """
    out = bytearray()
    at = 0
    while at < len(data):
        code = data[at]
        run = data[at + 1 : at + code]
        if code == 0 or len(run) != code - 1 or 0 in run:
            return None
        out += run
        at += code
        if code < _LONGEST_RUN and at < len(data):
            out.append(0)
    return bytes(out) if data else None


def encode_frame(frame: Frame) -> bytes:
    """Return the bytes of one frame for the line, the closing zero included: 6 to 60 bytes.

    Raises `OutOfRange` where a number is not a byte or the payload is longer than 54 bytes.
    """
    for name, value in (("sequence", frame.sequence), ("kind", frame.kind)):
        if not 0 <= value <= 255:
            raise OutOfRange(f"{name} of a frame is {value}, not 0 to 255")
    if len(frame.payload) > PAYLOAD_SIZE:
        raise OutOfRange(f"payload of a frame is {len(frame.payload)} bytes, more than {PAYLOAD_SIZE}")
    body = bytes((frame.sequence, frame.kind)) + frame.payload
    return cobs_encode(body + crc16(body).to_bytes(2, "big")) + DELIMITER


def decode_frame(encoded: bytes) -> Frame | None:
    """Return the frame in `encoded` (without its closing zero), or None where it is damaged or too long."""
    if len(encoded) >= FRAME_SIZE:
        return None
    body = cobs_decode(encoded)
    if body is None or len(body) < 4 or crc16(body[:-2]) != int.from_bytes(body[-2:], "big"):
        return None
    return Frame(body[0], body[1], body[2:-2])


class FrameDecoder:
    """Takes bytes as they come and gives whole frames; never raises and holds at most 59 bytes.

    Damaged frames, over-long junk and empty frames (two zeros in a row) are dropped, and the next zero byte
    starts afresh. `dropped` counts the bytes that were thrown away, for telling noise from silence.
    """

    def __init__(self) -> None:
        self.dropped = 0
        self._held = bytearray()
        self._too_long = False

    def feed(self, data: bytes) -> list[Frame]:
        """Return the frames that `data` completes, in their order."""
        frames = []
        for byte in data:
            frame = self.feed_byte(byte)
            if frame is not None:
                frames.append(frame)
        return frames

    def feed_byte(self, byte: int) -> Frame | None:
        """Return the frame that this byte completes, or None."""
        if byte:
            self._hold(byte)
            return None
        held, too_long = bytes(self._held), self._too_long
        self._held.clear()
        self._too_long = False
        frame = None if too_long else decode_frame(held)
        if frame is None:
            self.dropped += len(held)
        return frame

    @property
    def held(self) -> int:
        """Bytes of an unfinished frame, 0 to 59; 0 too while over-long junk is being skipped."""
        return len(self._held)

    def reset(self) -> None:
        """Forget an unfinished frame (after a silence, or a line of plain text)."""
        self.dropped += len(self._held)
        self._held.clear()
        self._too_long = False

    def _hold(self, byte: int) -> None:
        if self._too_long or len(self._held) >= FRAME_SIZE - 1:
            self.dropped += 1 + len(self._held)
            self._held.clear()
            self._too_long = True
        else:
            self._held.append(byte)
