"""The memory of a virtual board: its EEPROM, then a user row of 64 bytes, then a plate of 32 bytes.

On parts that have a user row its first half is the board's own row (essentials record, calibration, given name), the
second half the voltage history, where the part has so much. The plate says what board it is, which a real board has in
its program.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.board.parts import parts
from schedgen.errors import LinkError, OutOfRange
from schedgen.link.frames import crc16
from schedgen.link.messages import GIVEN_NAME_SIZE, NAME_SIZE, PARTS
from schedgen.settings.eeprom import ERASED, ESSENTIALS_BYTES, EepromLayout, layout_of

if TYPE_CHECKING:
    from schedgen.board.model import Board

ROW_SIZE = 64
PLATE_SIZE = 32
_KINDS = ("switched", "level", "release")
_MOST_OUTPUTS = 8

CALIBRATION_AT = ESSENTIALS_BYTES
NAME_AT = CALIBRATION_AT + 2
NAME_CRC_AT = NAME_AT + GIVEN_NAME_SIZE
"""Offsets in the board's own row, after the essentials record; the layout is told in `messages.py`."""


class Memory:
    """Bytes that stay when the power goes. Every change passes `on_write`, one byte at a time.

    `on_write(address, value)` is to call `store`, or not, and may raise: that is how a test cuts the power at the k-th
    write. A byte that already has the value is not written again.
    """

    def __init__(self, image: bytes) -> None:
        self.image = bytearray(image)
        self.on_write: Callable[[int, int], None] = self.store
        self.changes = 0
        """Bytes changed since it was made."""

    def read(self, address: int, length: int) -> bytes:
        """Return `length` bytes from `address` on."""
        return bytes(self.image[address : address + length])

    def store(self, address: int, value: int) -> None:
        """Change one byte, as the hardware does."""
        self.image[address] = value
        self.changes += 1

    def write(self, address: int, data: bytes) -> None:
        """Write `data` from `address` on, byte by byte upwards, skipping what stands there already."""
        for index, value in enumerate(data):
            if self.image[address + index] != value:
                self.on_write(address + index, value)


@dataclass(frozen=True, slots=True)
class Nameplate:
    """What a virtual board is: type number, name of its board file, part, EEPROM size, and kinds of its outputs.

    `kinds` are "switched", "level" or "release", in the board's order, at most eight.
    """

    board_type: int
    board: str
    part: str
    eeprom_size: int
    kinds: tuple[str, ...]

    @property
    def memory_size(self) -> int:
        """Bytes that `read` can read: the EEPROM and the part's user row."""
        return self.eeprom_size + parts()[self.part].user_row

    @classmethod
    def of(cls, board: Board) -> Nameplate:
        """Return the nameplate of a board file's board."""
        kinds = tuple(output.kind for output in board.outputs.values())
        return cls(board.board_type, board.board, board.part, round(board.eeprom.size.nominal), kinds)

    def pack(self) -> bytes:
        """Return the 32 bytes that say this. Raises `OutOfRange` for what they cannot hold."""
        name = self.board.encode("ascii", "replace")
        if self.part not in PARTS:
            raise OutOfRange(f"a virtual board has one of the parts {', '.join(PARTS)}, not {self.part}")
        if len(name) > NAME_SIZE:
            raise OutOfRange(f"the name of a virtual board is {len(name)} bytes, more than {NAME_SIZE}: {self.board}")
        if len(self.kinds) > _MOST_OUTPUTS:
            raise OutOfRange(f"a virtual board has {len(self.kinds)} outputs, more than {_MOST_OUTPUTS}")
        kinds = sum(_KINDS.index(kind) << 2 * index for index, kind in enumerate(self.kinds))
        body = (
            self.board_type.to_bytes(2, "little")
            + bytes((PARTS.index(self.part), len(self.kinds)))
            + kinds.to_bytes(2, "little")
            + name.ljust(NAME_SIZE, b"\0")
        ).ljust(PLATE_SIZE - 2, bytes([ERASED]))
        return body + crc16(body).to_bytes(2, "big")

    @classmethod
    def unpack(cls, image: bytes) -> Nameplate:
        """Return what the image of a virtual board (EEPROM, user row, plate) says it is. Raises `LinkError`."""
        plate = image[-PLATE_SIZE:]
        size = len(image) - ROW_SIZE - PLATE_SIZE
        if size < 0 or crc16(plate[:-2]) != int.from_bytes(plate[-2:], "big"):
            raise LinkError("This is not the image of a virtual board, or it is damaged.", "Give another file.")
        kinds = int.from_bytes(plate[4:6], "little")
        try:
            layout_of(size)
            return cls(
                board_type=int.from_bytes(plate[:2], "little"),
                board=plate[6 : 6 + NAME_SIZE].rstrip(b"\0").decode("ascii"),
                part=PARTS[plate[2]],
                eeprom_size=size,
                kinds=tuple(_KINDS[kinds >> 2 * index & 3] for index in range(plate[3])),
            )
        except (ValueError, IndexError) as error:
            raise LinkError("This virtual board is of a kind unknown to this program.", "Give another file.") from error


def blank_image(plate: Nameplate) -> bytes:
    """Return the memory of a board that never held anything: EEPROM and user row erased, then its nameplate."""
    layout_of(plate.eeprom_size)
    return bytes([ERASED]) * (plate.eeprom_size + ROW_SIZE) + plate.pack()


def row_address(layout: EepromLayout) -> int:
    """Return where the board's own row begins in a virtual board's memory."""
    return layout.size if layout.row is None else layout.row
