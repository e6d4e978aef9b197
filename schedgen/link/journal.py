"""The journal and the voltage history as they stand in a board's memory. Pure. Written by the firmware only.

**Journal.** Five entries of six bytes in a ring, then free room, and in the last two bytes how much earlier than
planned the first firing command came. An entry is 40 bits, the most significant first, and a CRC-8 (polynomial 0x07,
from 0, no inversion) over the four bytes of the dive code, low byte first, and the five bytes before it, so that the
entry of another dive counts for nothing:

| bits | what |
| --- | --- |
| 3 | sequence |
| 2 | stage: 0 armed, 1 started, 2 fired, 3 over (with elapsed 0: not armed) |
| 19 | elapsed, in steps of 2 s up to 524 280 s (6 days), of 30 s from there on |
| 1, 1, 1 | wet latched; reduced programme; crystal failed |
| 4 | tries of the release that fires first up to 8; above, those of the backup + 8 |
| 4 | resets within the hour |
| 5 | even sequence: combination of field changes; odd: lowest voltage of a cell, 2 V + 80 mV each, 31 for none |

An entry counts where it follows the one before it in the ring: its sequence is ahead by as many as its place, its time
by as much as may lie between them, 32 steps a place; or it begins anew, at 0 s. So a damaged entry that its CRC-8
misses (one in 256) is not believed; one that stands alone is. The two bytes at the end, low byte first, are minutes in
the lower 12 bits and 4 bits above them with which the CRC-8 over both, from 0xA5, has both its halves alike: neither
erased bytes nor zeros do, nor what has one bit flipped.

**Voltage history.** One byte a reading: 0 for none, else 2 V + 10 mV x (byte - 1) of a cell; 255 is what an erased cell
says. Reading k, counted from 0, was noted at elapsed second (k + 1) x spacing; the spacing is `end` (field change
included) divided by the number of cells, plus 1. Where a board has no place of its own for it, it stands behind the
settings, first in slot A, then in slot B, if there are 24 cells at least.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

from schedgen.settings.eeprom import SLOT_EXTRA

ENTRIES = 5
ENTRY_BYTES = 6
EARLY_BYTES = 2
FEWEST_CELLS = 24

_WIDTHS = {
    "sequence": 3, "stage": 2, "steps": 19, "wet": 1, "reduced": 1, "clock_failed": 1, "tries": 4, "resets": 4,
    "extra": 5,
}  # fmt: skip
_FINE_S, _COARSE_S = 2, 30
_FINE_STEPS = 262_140
_STEPS_END = 512_000
_STEPS_BETWEEN = 32
_SEQUENCES = 1 << _WIDTHS["sequence"]
_LOWEST_MV, _LOWEST_STEP_MV, _LOWEST_NONE = 2000, 80, 31
_MINUTES_BITS = 12
_HISTORY_MV, _HISTORY_STEP_MV, _NOT_WRITTEN = 2000, 10, 0xFF


class Stage(IntEnum):
    """How far a dive had come."""

    ARMED = 0
    STARTED = 1
    FIRED = 2
    OVER = 3


@dataclass(frozen=True, slots=True)
class Journalled:
    """What the journal says of one dive. `choice` and `lowest_cell_mv` are None where no entry tells them.

    `early_s` is by how much the first firing command came earlier than planned, in whole minutes rounded up.
    """

    stage: Stage
    elapsed_s: int
    reduced: bool
    clock_failed: bool
    tries: int
    choice: int | None
    lowest_cell_mv: int | None
    early_s: int

    @property
    def has_started(self) -> bool:
        """Whether that dive was ever started."""
        return self.stage in (Stage.STARTED, Stage.FIRED) or (self.stage is Stage.OVER and self.elapsed_s > 0)


def journal_in(area: bytes, code: int) -> Journalled | None:
    """Return what the area `journal` says of the dive with this code; None where no entry is of it, for any bytes."""
    told = _believed([_entry(area[k * ENTRY_BYTES : (k + 1) * ENTRY_BYTES], code) for k in range(ENTRIES)])
    if not told:
        return None
    last = told[-1]
    extras = {one["sequence"] % 2: one["extra"] for one in told}
    low = extras.get(1, _LOWEST_NONE)
    return Journalled(
        stage=Stage(last["stage"]),
        elapsed_s=_elapsed(last["steps"]),
        reduced=bool(last["reduced"]),
        clock_failed=bool(last["clock_failed"]),
        tries=last["tries"],
        choice=extras.get(0),
        lowest_cell_mv=None if low == _LOWEST_NONE else _LOWEST_MV + _LOWEST_STEP_MV * low,
        early_s=_early(area[-EARLY_BYTES:]),
    )


def spacing_of(end_s: int, cells: int) -> int:
    """Elapsed seconds from reading to reading of a history of so many cells, in a dive that ends at `end_s`."""
    return end_s // cells + 1


def history_step_mv(series: int) -> int:
    """Step in which readings are kept, mV of a pack of so many cells in series."""
    return _HISTORY_STEP_MV * series


def history_pieces(block_length: int, slot_size: int) -> tuple[tuple[str, int, int], ...]:
    """Where the history of a board without a place of its own stands: (area, offset, bytes), nothing where it has none.

    `block_length` is that of the settings, which stand in both slots alike.
    """
    behind = SLOT_EXTRA + block_length
    room = slot_size - behind
    if 2 * room < FEWEST_CELLS:
        return ()
    return ("slot A", behind, room), ("slot B", behind, room)


def history_in(cells: bytes, series: int) -> list[int]:
    """Return the readings that bytes of a voltage history say, mV of a pack of so many cells in series; 0 for none."""
    step = history_step_mv(series)
    return [0 if byte in (0, _NOT_WRITTEN) else (_HISTORY_MV // _HISTORY_STEP_MV + byte - 1) * step for byte in cells]


def crc8(data: bytes, start: int = 0) -> int:
    """CRC-8 with polynomial 0x07, most significant bit first, no inversion."""
    crc = start
    for byte in data:
        crc ^= byte
        for _ in range(8):
            crc = (crc << 1 ^ 0x07) & 0xFF if crc & 0x80 else crc << 1
    return crc


def _entry(raw: bytes, code: int) -> dict[str, int] | None:
    """The fields of one entry, None where it is not whole or of another dive."""
    if len(raw) != ENTRY_BYTES or crc8(code.to_bytes(4, "little") + raw[:-1]) != raw[-1]:
        return None
    bits, fields = int.from_bytes(raw[:-1], "big"), {}
    for name, width in reversed(_WIDTHS.items()):
        fields[name] = bits & ((1 << width) - 1)
        bits >>= width
    return fields if fields["steps"] < _STEPS_END else None


def _believed(entries: Sequence[dict[str, int] | None]) -> list[dict[str, int]]:
    """The entries that follow each other, the newest last; twice around the ring, for the way leads over its end."""
    told: list[dict[str, int]] = []
    alone, gap = True, _SEQUENCES
    for entry in (*entries, *entries):
        gap += 1
        if entry is None:
            continue
        follows = bool(told) and _follows(told[-1], entry, gap)
        if not follows and not alone:
            continue
        told.append(entry)
        alone, gap = not follows, 0
    return told


def _follows(before: dict[str, int], entry: dict[str, int], places: int) -> bool:
    """Whether an entry so many places further on may have been written after another."""
    if (entry["sequence"] - before["sequence"]) % _SEQUENCES != places:
        return False
    return entry["steps"] == 0 or 0 <= entry["steps"] - before["steps"] <= places * _STEPS_BETWEEN


def _elapsed(steps: int) -> int:
    return steps * _FINE_S if steps <= _FINE_STEPS else _FINE_STEPS * _FINE_S + (steps - _FINE_STEPS) * _COARSE_S


def _early(raw: bytes) -> int:
    both = int.from_bytes(raw, "little")
    minutes = both & ((1 << _MINUTES_BITS) - 1)
    high, low = divmod(crc8(raw, 0xA5), 16)
    return minutes * 60 if high == low else 0
