"""Writes a last dive into the memory of a virtual board as the firmware does, by an encoder of its own.

The bits are laid out by hand after core/journal.c and core/history.c; the checksum is that of crccheck 1.3.1 (its
CRC-8/SMBUS: polynomial 0x07 from 0). Nothing of `schedgen.link.journal` is used.
"""

from __future__ import annotations

from collections.abc import Sequence

from crccheck.crc import Crc8Smbus

from schedgen.link.essentials import pack_essentials
from schedgen.link.virtual import VirtualBoard
from schedgen.plan.model import ShiftRelease
from schedgen.settings.code import code_number
from schedgen.settings.decode import decode
from schedgen.settings.slot import pack_slot


def entry(
    code: int,
    sequence: int,
    stage: int,
    elapsed_s: int,
    extra: int,
    tries: int = 0,
    reduced: int = 0,
    clock_failed: int = 0,
    wet: int = 1,
    resets: int = 0,
) -> bytes:
    """One entry of six bytes."""
    fine = 524_280
    steps = elapsed_s // 2 if elapsed_s < fine else fine // 2 + (elapsed_s - fine) // 30
    text = (
        f"{sequence % 8:03b}{stage:02b}{steps:019b}{wet:b}{reduced:b}{clock_failed:b}{tries:04b}{resets:04b}{extra:05b}"
    )
    assert len(text) == 40
    body = int(text, 2).to_bytes(5, "big")
    return body + bytes((Crc8Smbus.calc(code.to_bytes(4, "little") + body),))


def early(minutes: int) -> bytes:
    """The two bytes at the end of the journal: 4 upper bits, and the CRC-8 of all, from 0xA5, has like halves."""
    for check in range(16):
        both = (minutes | check << 12).to_bytes(2, "little")
        if Crc8Smbus.calc(both, initvalue=0xA5) % 17 == 0:
            return both
    raise AssertionError(minutes)


def as_written(block: bytes) -> int:
    """The combination of field changes that changes nothing: no step, and the first of each level's values."""
    dive = decode(block)
    for number, (values, _) in enumerate(dive.combinations()):
        pairs = zip(dive.field_changes, values, strict=True)
        if all(value == (0 if isinstance(one, ShiftRelease) else one.values[0]) for one, value in pairs):
            return number
    return 0


def remember(
    board: VirtualBoard,
    block: bytes,
    elapsed_s: int,
    cells_mv: Sequence[int] = (),
    stage: int = 3,
    tries: int = 0,
    lowest_mv: int = 4000,
    early_minutes: int | None = None,
    code: int | None = None,
    choice: int | None = None,
    clock_failed: int = 0,
    armed: bool = False,
) -> None:
    """Put a dive that was flown with `block` on the board; voltages are of one cell, 0 for a reading not taken."""
    layout, memory = board.holdings.layout, board.memory
    number = code_number(block) if code is None else code
    memory.write(layout.slot_a, pack_slot(3, block))
    memory.write(layout.slot_b, pack_slot(3, block))
    memory.write(layout.size if layout.row is None else layout.row, pack_essentials(block, armed))
    lowest = min(31, max(0, (lowest_mv - 2000) // 80))
    for place in range(5):
        sequence = 2 + place
        extra = lowest if sequence % 2 else as_written(block) if choice is None else choice
        seconds = max(0, elapsed_s - 60 * (4 - place))
        one = entry(number, sequence, stage if place == 4 else 1, seconds, extra, tries, clock_failed=clock_failed)
        memory.write(layout.journal + 6 * place, one)
    if early_minutes is not None:
        memory.write(layout.journal + layout.journal_size - 2, early(early_minutes))
    cells = bytes(0 if not one else min(255, (one - 2000) // 10 + 1) for one in cells_mv)
    memory.write(layout.size + 32 if layout.history is None else layout.history, cells)
