"""What a board holds and how it changes: two slots, the essentials record, the given name. The rules of the firmware.

Every change is a sequence of byte writes after each of which the power may go: what counts afterwards is what
counted before or what was to count, never a mix. A slot becomes valid with the last of its CRC bytes; the essentials
record is first made void by its version byte, which is written back last.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass
from functools import lru_cache

from schedgen.errors import BlockError
from schedgen.link.eeprom import CALIBRATION_AT, NAME_AT, NAME_CRC_AT, Memory, Nameplate, row_address
from schedgen.link.essentials import Essentials, pack_essentials, unpack_essentials
from schedgen.link.frames import crc16
from schedgen.link.messages import CHUNK, GIVEN_NAME_SIZE
from schedgen.settings.code import code_number
from schedgen.settings.decode import decode
from schedgen.settings.eeprom import ERASED, ESSENTIALS_BYTES, ROW_BYTES, layout_of
from schedgen.settings.slot import newer, unpack_slot

_CRC_SIZE = 4


class Refusal(Exception):
    """Why a request is not obeyed: one of `messages.REASONS`. Never leaves the virtual board."""

    def __init__(self, reason: str) -> None:
        super().__init__(reason)
        self.reason = reason


@dataclass(frozen=True, slots=True)
class HeldSlot:
    """A valid slot and its dive code as a number."""

    sequence: int
    block: bytes
    code: int


class Holdings:
    """The settings in the memory of one board."""

    def __init__(self, memory: Memory, plate: Nameplate) -> None:
        self._memory = memory
        self._plate = plate
        self.layout = layout_of(plate.eeprom_size)
        self._row = row_address(self.layout)

    def sequence(self, slot: int) -> int:
        """Return the sequence byte of a slot, valid or not."""
        return self._memory.image[self.layout.slots[slot]]

    def slots(self) -> tuple[HeldSlot | None, HeldSlot | None]:
        """Return slot A and slot B, None for one that is not valid or not for this board."""
        return self._held(0), self._held(1)

    def active(self) -> int | None:
        """Return the slot that counts (0 or 1): the newest valid one, while armed only with the armed code."""
        armed = self.armed_code
        best: int | None = None
        slots = self.slots()
        for index, slot in enumerate(slots):
            if slot is None or (armed is not None and slot.code != armed):
                continue
            held = None if best is None else slots[best]
            if held is None or newer(slot.sequence, held.sequence):
                best = index
        return best

    def active_block(self) -> bytes | None:
        """Return the block that counts."""
        active = self.active()
        slot = None if active is None else self.slots()[active]
        return None if slot is None else slot.block

    def active_code(self) -> int | None:
        """Return the dive code that counts; while armed, the armed one even where both slots are bad."""
        if self.armed_code is not None:
            return self.armed_code
        block = self.active_block()
        return None if block is None else code_number(block)

    def essentials(self) -> Essentials | None:
        """Return the essentials record, None where it is not valid."""
        try:
            return unpack_essentials(self._memory.read(self._row, ESSENTIALS_BYTES))
        except BlockError:
            return None

    @property
    def armed_code(self) -> int | None:
        """The dive code that is armed, None while not armed."""
        essentials = self.essentials()
        return essentials.code if essentials is not None and essentials.armed else None

    def check_code(self, code: int) -> None:
        """Refuse unless `code` is the dive code that counts."""
        active = self.active_code()
        if active is None:
            raise Refusal("no settings")
        if code != active:
            raise Refusal("wrong code")

    def write(self, slot: int, offset: int, data: bytes) -> None:
        """Write part of the slot that does not count: sequence number and block, up to where the CRC must fit."""
        if slot == self.active() or not 1 <= len(data) <= CHUNK:
            raise Refusal("out of range")
        if offset + len(data) > self.layout.slot_size - _CRC_SIZE:
            raise Refusal("out of range")
        self._store(self.layout.slots[slot] + offset, data)

    def commit(self, slot: int, crc: int) -> int:
        """Make a written slot valid; return its dive code. What is committed already is left as it is."""
        length = self._memory.image[self.layout.slots[slot] + 1]
        body = self._memory.read(self.layout.slots[slot], 1 + length)
        if not 1 <= length <= self.layout.block_most or zlib.crc32(body) != crc:
            raise Refusal("bad checksum")
        held = self.slots()[slot]
        if held is not None:
            return held.code
        self._store(self.layout.slots[slot] + 1 + length, crc.to_bytes(_CRC_SIZE, "little"))
        return code_number(self._check_block(body[1:]))

    def arm(self, code: int) -> None:
        """Copy the settings that count to the other slot, read both back, and write the essentials record."""
        if self.armed_code is not None:
            if self.armed_code != code:
                raise Refusal("armed")
            return
        active = self.active()
        self.check_code(code)
        block = self.active_block()
        if active is None or block is None:
            raise Refusal("no settings")
        addresses = self.layout.slots
        whole = self._memory.read(addresses[active], 1 + len(block) + _CRC_SIZE)
        self._store(addresses[1 - active], whole)
        if any(self._memory.read(address, len(whole)) != whole for address in addresses):
            raise Refusal("memory failed")
        self._write_essentials(pack_essentials(self._check_block(block), armed=True))

    def disarm(self) -> None:
        """Mark the essentials record as not armed."""
        block = self.active_block()
        if self.armed_code is None:
            return
        if block is None:
            self._store(self._row, bytes([ERASED]))
            return
        self._write_essentials(pack_essentials(self._check_block(block), armed=False))

    def rename(self, name: str) -> None:
        """Write the given name, and the sum over calibration and name."""
        calibration = self._memory.read(self._row + CALIBRATION_AT, NAME_CRC_AT - CALIBRATION_AT)[:2]
        if self.given_name is None:
            calibration = b"\0\0"  # what stood there was never valid
        body = calibration + name.encode("ascii").ljust(GIVEN_NAME_SIZE, b"\0")
        self._store(self._row + CALIBRATION_AT, body + crc16(body).to_bytes(2, "big"))

    @property
    def given_name(self) -> str | None:
        """The given name, None where none was ever given."""
        return given_name_in(self._memory.read(self._row, ROW_BYTES))

    def _held(self, index: int) -> HeldSlot | None:
        try:
            slot = unpack_slot(self._memory.read(self.layout.slots[index], self.layout.slot_size))
        except BlockError:
            return None
        if type_of(slot.block) != self._plate.board_type:
            return None
        return HeldSlot(slot.sequence, slot.block, code_number(slot.block))

    def _check_block(self, block: bytes) -> bytes:
        """Refuse a block that this board cannot fly; return it."""
        if type_of(block) != self._plate.board_type:
            raise Refusal("unreadable settings")
        return block

    def _write_essentials(self, record: bytes) -> None:
        self._store(self._row, bytes([ERASED]))
        self._store(self._row + 1, record[1:])
        self._store(self._row, record[:1])

    def _store(self, address: int, data: bytes) -> None:
        self._memory.write(address, data)
        if self._memory.read(address, len(data)) != data:
            raise Refusal("memory failed")


@lru_cache(maxsize=64)
def type_of(block: bytes) -> int | None:
    """Return the board type in a settings block, None where it is not one that can be obeyed."""
    try:
        return decode(block).board_type
    except BlockError:
        return None


def given_name_in(row: bytes) -> str | None:
    """Return the given name that stands in a board's own row, None where none was ever given."""
    if not _row_is_whole(row):
        return None
    text = row[NAME_AT:NAME_CRC_AT].rstrip(b"\0")
    return text.decode("ascii") if all(0x20 <= byte < 0x7F for byte in text) else None


def calibration_in(row: bytes) -> float:
    """Return by what a board's battery readings are to be multiplied: 1 where it was never calibrated."""
    stored = int.from_bytes(row[CALIBRATION_AT:NAME_AT], "little", signed=True)
    return 1 + stored / 65_536 if _row_is_whole(row) else 1.0


def _row_is_whole(row: bytes) -> bool:
    return crc16(row[CALIBRATION_AT:NAME_CRC_AT]) == int.from_bytes(row[NAME_CRC_AT : NAME_CRC_AT + 2], "big")
