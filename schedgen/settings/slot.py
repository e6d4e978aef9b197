"""Slots: a block made safe against a half-finished write. Pure.

A slot is the sequence number (one byte), the block, and the CRC-32/ISO-HDLC over both, least byte first. The rest of
the slot is erased. The block's first byte is its length, so a slot needs no length of its own.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

from schedgen.errors import BlockError
from schedgen.settings.bits import BitReader, BitWriter
from schedgen.settings.eeprom import ERASED, SLOT_EXTRA, EepromLayout
from schedgen.settings.fields import SLOT_HEAD, SLOT_TAIL

_SEQUENCES = 1 << SLOT_HEAD[0].bits
_HEAD = SLOT_HEAD[0].bits // 8
_TAIL = SLOT_TAIL[0].bits // 8


@dataclass(frozen=True, slots=True)
class Slot:
    """A valid slot: `sequence` 0 to 255, and the block, whose own fields are not looked at here."""

    sequence: int
    block: bytes


def pack_slot(sequence: int, block: bytes) -> bytes:
    """Sequence, block and checksum, without what is erased behind them. Raises BlockError."""
    if not block or block[0] != len(block):
        raise BlockError(f"not a settings block: {len(block)} bytes, its first byte says {block[0] if block else 0}")
    head = BitWriter()
    head.put(SLOT_HEAD[0], sequence)
    body = head.bytes() + block
    return body + zlib.crc32(body).to_bytes(_TAIL, "little")


def unpack_slot(data: bytes) -> Slot:
    """The slot at the beginning of `data`; what follows its checksum is ignored. Raises BlockError."""
    if len(data) < SLOT_EXTRA + 1:
        raise BlockError(f"not a slot: {len(data)} bytes")
    if all(byte == ERASED for byte in data):
        raise BlockError("the slot is empty")
    length = data[_HEAD]
    whole = SLOT_EXTRA + length
    if length < 1 or whole > len(data):
        raise BlockError(f"not a slot: a block of {length} bytes in a slot of {len(data)}")
    body, checksum = data[: whole - _TAIL], data[whole - _TAIL : whole]
    if zlib.crc32(body) != int.from_bytes(checksum, "little"):
        raise BlockError("the slot's checksum does not match: a write was cut short or a bit has changed")
    return Slot(BitReader(body).take(SLOT_HEAD[0]), body[_HEAD:])


def next_sequence(sequence: int) -> int:
    """The sequence number after this one."""
    return (sequence + 1) % _SEQUENCES


def newer(sequence: int, other: int) -> bool:
    """Whether `sequence` was given after `other`: it is 1 to 127 steps ahead, counted with wrap-around."""
    return 0 < (sequence - other) % _SEQUENCES < _SEQUENCES // 2


def newest_slot(image: bytes, layout: EepromLayout) -> Slot | None:
    """The newest valid slot of an EEPROM image, None when neither is valid. Of two that count alike, slot A."""
    newest: Slot | None = None
    for address in layout.slots:
        try:
            slot = unpack_slot(image[address : address + layout.slot_size])
        except BlockError:
            continue
        if newest is None or newer(slot.sequence, newest.sequence):
            newest = slot
    return newest


def eeprom_image(block: bytes, layout: EepromLayout, sequence: int = 1) -> bytes:
    """A whole EEPROM, erased but for slot A, which holds the block. Raises BlockError when the slot is too small."""
    slot = pack_slot(sequence, block)
    if len(slot) > layout.slot_size:
        raise BlockError(f"a block of {len(block)} bytes, the slot holds {layout.block_most}")
    return slot.ljust(layout.slot_a + layout.size, bytes([ERASED]))
