"""Slots, checksums and dive codes."""

from __future__ import annotations

import zlib

import pytest
from crccheck.crc import Crc32
from hypothesis import given, settings
from hypothesis import strategies as st
from settings_dives import OUTPUTS, counted_plan

from schedgen.errors import BlockError, UsageError
from schedgen.settings.code import ALPHABET, code_number, dive_code, from_crockford, same_code, to_crockford
from schedgen.settings.eeprom import ROW_BYTES, EepromLayout, layout_of
from schedgen.settings.encode import encode
from schedgen.settings.slot import Slot, eeprom_image, newer, newest_slot, next_sequence, pack_slot, unpack_slot

BLOCK = encode(counted_plan(), OUTPUTS).block
SMALL, LARGE = layout_of(256), layout_of(1024)
blocks = st.binary(min_size=1, max_size=107).map(lambda data: bytes([len(data)]) + data[1:])


def test_the_checksum_has_its_published_check_value() -> None:
    # Greg Cook, Catalogue of parametrised CRC algorithms: CRC-32/ISO-HDLC, check 0xCBF43926 for "123456789".
    assert zlib.crc32(b"123456789") == 0xCBF43926
    assert Crc32.calc(b"123456789") == 0xCBF43926


@settings(deadline=None, max_examples=200)
@given(st.integers(0, 255), blocks)
def test_a_slot_ends_with_the_checksum_of_an_independent_implementation(sequence: int, block: bytes) -> None:
    slot = pack_slot(sequence, block)
    body = bytes([sequence]) + block
    assert slot == body + Crc32.calc(body).to_bytes(4, "little")
    assert unpack_slot(slot + b"\xff" * 7) == Slot(sequence, block)
    assert code_number(block) == Crc32.calc(block) & 0x3FFFFFFF


SLOT = pack_slot(7, BLOCK)


@pytest.mark.parametrize("byte", range(len(SLOT)))
def test_every_changed_bit_of_a_slot_is_found(byte: int) -> None:
    padded = SLOT.ljust(112, b"\xff")
    for bit in range(8):
        data = bytearray(padded)
        data[byte] ^= 1 << bit
        with pytest.raises(BlockError):
            unpack_slot(bytes(data))


@pytest.mark.parametrize("length", range(len(SLOT)))
def test_a_slot_written_only_so_far_never_counts(length: int) -> None:
    with pytest.raises(BlockError):
        unpack_slot(SLOT[:length].ljust(112, b"\xff"))
    with pytest.raises(BlockError):
        unpack_slot(SLOT[:length].ljust(112, b"\0"))


@settings(deadline=None, max_examples=500)
@given(st.binary(max_size=300))
def test_any_bytes_are_a_slot_or_refused(data: bytes) -> None:
    try:
        slot = unpack_slot(data)
    except BlockError:
        return
    assert data.startswith(pack_slot(slot.sequence, slot.block))


@pytest.mark.parametrize("size", [0, 1, 5, 6, 112, 256, 260])
def test_erased_memory_is_no_slot(size: int) -> None:
    with pytest.raises(BlockError):
        unpack_slot(b"\xff" * size)


def test_a_block_that_says_another_length_is_not_put_into_a_slot() -> None:
    for block in (b"", b"\x02", b"\x01\x02"):
        with pytest.raises(BlockError):
            pack_slot(1, block)


def test_the_sequence_number_wraps_around() -> None:
    assert next_sequence(255) == 0
    for sequence in range(256):
        assert newer(next_sequence(sequence), sequence)
        assert not newer(sequence, next_sequence(sequence))
        assert not newer(sequence, sequence)
    assert newer(5, 250)
    assert newer(127, 0)
    assert not newer(128, 0)  # half-way round neither is newer
    assert not newer(0, 128)


def image(slot_a: bytes, slot_b: bytes) -> bytes:
    return slot_a.ljust(SMALL.slot_size, b"\xff") + slot_b.ljust(SMALL.slot_size, b"\xff") + b"\xff" * 32


OTHER = bytes([3, 1, 2])
TORN = pack_slot(9, OTHER)[:-1]


@pytest.mark.parametrize(
    ("slot_a", "slot_b", "newest"),
    [
        (pack_slot(1, BLOCK), b"", Slot(1, BLOCK)),
        (b"", pack_slot(1, BLOCK), Slot(1, BLOCK)),
        (pack_slot(1, BLOCK), pack_slot(2, OTHER), Slot(2, OTHER)),
        (pack_slot(2, BLOCK), pack_slot(1, OTHER), Slot(2, BLOCK)),
        (pack_slot(255, BLOCK), pack_slot(0, OTHER), Slot(0, OTHER)),
        (pack_slot(0, BLOCK), pack_slot(255, OTHER), Slot(0, BLOCK)),
        (pack_slot(8, BLOCK), TORN, Slot(8, BLOCK)),
        (TORN, pack_slot(8, BLOCK), Slot(8, BLOCK)),
        (pack_slot(8, BLOCK), pack_slot(8, OTHER), Slot(8, BLOCK)),
        (b"", b"", None),
        (TORN, TORN, None),
    ],
)
def test_the_newest_valid_slot_counts(slot_a: bytes, slot_b: bytes, newest: Slot | None) -> None:
    assert newest_slot(image(slot_a, slot_b), SMALL) == newest


def test_a_short_image_has_no_slot_beyond_its_end() -> None:
    assert newest_slot(b"", SMALL) is None
    assert newest_slot(pack_slot(1, BLOCK)[:50], SMALL) is None


@pytest.mark.parametrize("kept", [SMALL, LARGE], ids=["256", "1024"])
def test_nothing_in_the_eeprom_overlaps(kept: EepromLayout) -> None:
    areas = [(kept.slot_a, kept.slot_size), (kept.slot_b, kept.slot_size), (kept.journal, kept.journal_size)]
    if kept.history is not None:
        areas.append((kept.history, kept.history_size))
    if kept.row is not None:
        areas.append((kept.row, ROW_BYTES))
    used = [address for start, size in areas for address in range(start, start + size)]
    assert len(used) == len(set(used))
    assert max(used) < kept.size


def test_the_layouts_are_those_of_the_design() -> None:
    assert (SMALL.slots, SMALL.slot_size, SMALL.block_most) == ((0, 112), 112, 107)
    assert (SMALL.journal, SMALL.journal_size) == (224, 32)
    assert (LARGE.slots, LARGE.slot_size, LARGE.block_most) == ((0, 260), 260, 255)


def test_an_eeprom_of_a_size_without_layout_is_refused_with_the_sizes() -> None:
    with pytest.raises(BlockError, match="512") as caught:
        layout_of(512)
    assert caught.value.next_step == "Give the board an EEPROM of 256 or 1024 bytes."


def test_an_image_holds_the_block_in_slot_a_and_is_erased_elsewhere() -> None:
    made = eeprom_image(BLOCK, SMALL)
    assert len(made) == 256
    assert newest_slot(made, SMALL) == Slot(1, BLOCK)
    assert set(made[len(BLOCK) + 5 :]) == {0xFF}
    with pytest.raises(BlockError, match="holds 107"):
        eeprom_image(bytes([108]) * 108, SMALL)


# https://www.crockford.com/base32.html: the 32 symbols, and "O" for 0, "I" and "L" for 1 when decoding; the values
# of the alphabet are the position of each symbol. 1234 = 1 x 1024 + 6 x 32 + 18 is worked by hand.
def test_the_code_alphabet_is_the_published_one() -> None:
    assert ALPHABET == "0123456789ABCDEFGHJKMNPQRSTVWXYZ"
    assert to_crockford(1234) == "00016J"
    assert from_crockford("16J") == 1234
    assert to_crockford((1 << 30) - 1) == "ZZZZZZ"
    assert to_crockford(32, 2) == "10"


def test_a_code_is_read_as_people_write_it() -> None:
    assert from_crockford("0O") == from_crockford("oo") == 0
    assert from_crockford("1Il") == from_crockford("LLi") == 0b00001_00001_00001
    assert same_code(" 7k3qf2 ", "7K3QF2")
    assert same_code("OIL000", "011000")
    assert not same_code("7K3QF3", "7K3QF2")


@pytest.mark.parametrize("text", ["U00000", "00-000", "0000é0", "00000", "0000000", "", "00000\N{KELVIN SIGN}"])
def test_what_is_no_code_is_refused(text: str) -> None:
    with pytest.raises(UsageError):
        same_code(text, "7K3QF2")


@given(st.integers(0, (1 << 30) - 1))
def test_codes_and_numbers_go_both_ways(number: int) -> None:
    text = to_crockford(number)
    assert len(text) == 6
    assert from_crockford(text) == from_crockford(text.lower()) == number


@pytest.mark.parametrize("number", [-1, 1 << 30])
def test_a_number_of_more_than_30_bits_has_no_code(number: int) -> None:
    with pytest.raises(ValueError, match="does not fit"):
        to_crockford(number)


def test_the_dive_code_is_the_low_30_bits_of_the_published_checksum() -> None:
    # By hand: 0xCBF43926 & 0x3FFFFFFF = 0x0BF43926, in groups of five bits 00101 11111 01000 01110 01001 00110.
    assert dive_code(b"123456789") == "5Z8E96"
