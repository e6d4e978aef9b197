"""Frames: our COBS and CRC-16 against published values and independent libraries; the decoder against noise."""

from __future__ import annotations

import binascii

import pytest
from cobs import cobs
from crccheck.crc import Crc16Ibm3740, Crc16Kermit
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.link.frames import (
    FRAME_SIZE,
    PAYLOAD_SIZE,
    Frame,
    FrameDecoder,
    cobs_decode,
    cobs_encode,
    crc16,
    decode_frame,
    encode_frame,
)

FRAMES = st.builds(Frame, st.integers(0, 255), st.integers(0, 255), st.binary(max_size=PAYLOAD_SIZE))


def test_crc16_gives_its_published_check_value() -> None:
    # Cook, Catalogue of parametrised CRC algorithms, CRC-16/IBM-3740 (alias CCITT-FALSE), entry "check".
    assert crc16(b"123456789") == 0x29B1
    # The same entry: nothing gives 0xFFFF; 00 and FFFFFFFF as computed by crccheck 1.3.1.
    assert crc16(b"") == 0xFFFF
    assert crc16(b"\x00") == 0xE1F0
    assert crc16(b"\xff" * 4) == 0x1D0F


def test_crc16_is_not_one_of_its_namesakes() -> None:
    # "CRC-16/CCITT" is ambiguous: 0x31C3 is XMODEM, 0x2189 is KERMIT (Cook's catalogue).
    assert crc16(b"123456789", start=0) == 0x31C3
    assert Crc16Kermit.calc(b"123456789") == 0x2189 != crc16(b"123456789")


@settings(deadline=None, max_examples=200)
@given(st.binary(max_size=300))
def test_crc16_agrees_with_two_libraries(data: bytes) -> None:
    assert crc16(data) == Crc16Ibm3740.calc(data) == binascii.crc_hqx(data, 0xFFFF)


@pytest.mark.parametrize(
    ("plain", "encoded"),
    [
        # Cheshire and Baker 1999, IEEE/ACM Trans. Netw. 7(2), 159; the IP header fragment from memory.
        ("", "01"),
        ("4500002C4C79000040064F37", "024501042C4C79010540064F37"),
        # The usual examples of COBS.
        ("11223344", "0511223344"),
        ("11000000", "0211010101"),
    ],
)
def test_cobs_gives_the_published_examples(plain: str, encoded: str) -> None:
    assert cobs_encode(bytes.fromhex(plain)).hex().upper() == encoded
    assert cobs_decode(bytes.fromhex(encoded)) == bytes.fromhex(plain)


@pytest.mark.parametrize(
    ("plain", "length", "head", "tail"),
    [
        # Boundary cases of the same paper, computed with cobs 1.2.2.
        (bytes(range(1, 255)), 255, "ff0102", "fcfdfe"),
        (bytes(range(255)), 256, "01ff01", "fcfdfe"),
        (bytes(range(2, 256)) + b"\x00", 257, "ff0203", "ff0101"),
        (bytes(range(3, 256)) + b"\x00\x01", 256, "fe0304", "ff0201"),
    ],
)
def test_cobs_at_the_full_run(plain: bytes, length: int, head: str, tail: str) -> None:
    encoded = cobs_encode(plain)
    assert (len(encoded), encoded[:3].hex(), encoded[-3:].hex()) == (length, head, tail)
    assert cobs_decode(encoded) == plain


def test_cobs_costs_at_most_one_byte_in_254() -> None:
    assert len(cobs_encode(b"\x01" * 1000)) == 1004


@settings(deadline=None, max_examples=200)
@given(st.one_of(st.binary(max_size=600), st.lists(st.sampled_from([0, 1, 255]), max_size=600).map(bytes)))
def test_cobs_agrees_with_the_library(data: bytes) -> None:
    assert cobs_encode(data) == cobs.encode(data)
    assert cobs_decode(cobs_encode(data)) == data


@settings(deadline=None, max_examples=300)
@given(st.binary(min_size=1, max_size=80))
def test_cobs_refuses_what_the_library_refuses(data: bytes) -> None:
    try:
        expected: bytes | None = cobs.decode(data)
    except cobs.DecodeError:
        expected = None
    assert cobs_decode(data) == expected


@settings(deadline=None, max_examples=200)
@given(FRAMES)
def test_a_frame_survives_the_line_and_fits_it(frame: Frame) -> None:
    encoded = encode_frame(frame)
    assert len(encoded) == len(frame.payload) + 6 <= FRAME_SIZE
    assert encoded.count(0) == 1
    assert encoded[0] < FRAME_SIZE  # so that '?' never begins a frame
    assert decode_frame(encoded[:-1]) == frame
    assert FrameDecoder().feed(encoded) == [frame]


def test_a_frame_out_of_bounds_is_refused() -> None:
    with pytest.raises(OutOfRange, match="more than 54"):
        encode_frame(Frame(0, 1, bytes(55)))
    with pytest.raises(OutOfRange, match="not 0 to 255"):
        encode_frame(Frame(256, 1))


@settings(deadline=None, max_examples=100)
@given(FRAMES, st.data())
def test_any_flip_of_up_to_three_bits_of_the_content_is_noticed(frame: Frame, data: st.DataObject) -> None:
    # CRC-16/CCITT has a Hamming distance of 4 up to 32751 bits (Koopman's tables, from memory).
    body = bytearray(cobs.decode(encode_frame(frame)[:-1]))
    flips = data.draw(st.sets(st.integers(0, 8 * len(body) - 1), min_size=1, max_size=3))
    for bit in flips:
        body[bit // 8] ^= 1 << bit % 8
    assert decode_frame(cobs_encode(bytes(body))) is None


@settings(deadline=None, max_examples=200)
@given(st.lists(st.binary(max_size=200)), FRAMES)
def test_after_any_noise_and_one_zero_the_next_frame_is_read(noise: list[bytes], frame: Frame) -> None:
    decoder = FrameDecoder()
    for piece in noise:
        decoder.feed(piece)
        assert decoder.held < FRAME_SIZE
    decoder.feed(b"\x00")
    assert decoder.feed(encode_frame(frame)) == [frame]


def test_over_long_junk_and_empty_frames_are_dropped() -> None:
    decoder = FrameDecoder()
    frame = Frame(7, 1, b"abc")
    assert decoder.feed(b"\x01" * 500 + b"\x00\x00\x00" + encode_frame(frame) + b"\x00") == [frame]
    assert decoder.dropped == 500


def test_bytes_may_come_one_by_one_and_several_frames_at_once() -> None:
    frames = [Frame(n, 2, bytes([n] * n)) for n in range(PAYLOAD_SIZE + 1)]
    line = b"".join(encode_frame(frame) for frame in frames)
    decoder = FrameDecoder()
    assert [frame for n in range(len(line)) for frame in decoder.feed(line[n : n + 1])] == frames
    assert FrameDecoder().feed(line) == frames
