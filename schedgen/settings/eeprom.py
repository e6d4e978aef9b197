"""Where things lie in a board's EEPROM. Addresses in bytes from its beginning."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType

from schedgen.errors import BlockError
from schedgen.settings.fields import ESSENTIALS, SLOT_HEAD, SLOT_TAIL

ERASED = 0xFF
"""An EEPROM byte that was never written."""

SLOT_EXTRA = sum(one.bits for one in (*SLOT_HEAD, *SLOT_TAIL)) // 8
"""What a slot holds beside the block: sequence number and CRC-32."""

ESSENTIALS_BYTES = -(-sum(one.bits for one in ESSENTIALS) // 8) + 2
"""The essentials record with its CRC-16."""

ROW_BYTES = 32
"""Length of the row that keeps essentials, calibration and given name: the smallest user row of the family."""


@dataclass(frozen=True, slots=True)
class EepromLayout:
    """Addresses and lengths for one EEPROM size, all in bytes.

    `row` is the address of the board's row (essentials, calibration, given name), None where that lies at the beginning
    of the microcontroller's user row. `history` is where the voltage history stands, None where it has no room outside
    the user row.
    """

    size: int
    slot_a: int
    slot_b: int
    slot_size: int
    journal: int
    journal_size: int
    history: int | None
    history_size: int
    row: int | None

    @property
    def slots(self) -> tuple[int, int]:
        """Addresses of slot A and slot B."""
        return self.slot_a, self.slot_b

    @property
    def block_most(self) -> int:
        """The longest block that a slot holds."""
        return self.slot_size - SLOT_EXTRA


_SMALL = EepromLayout(
    size=256, slot_a=0, slot_b=112, slot_size=112, journal=224, journal_size=32, history=None, history_size=0, row=None
)
_LARGE = EepromLayout(
    size=1024,
    slot_a=0,
    slot_b=260,
    slot_size=260,
    journal=520,
    journal_size=240,
    history=760,
    history_size=192,
    row=1024 - ROW_BYTES,
)
_LAYOUTS = {layout.size: layout for layout in (_SMALL, _LARGE)}


def layouts() -> Mapping[int, EepromLayout]:
    """All layouts by EEPROM size in bytes."""
    return MappingProxyType(_LAYOUTS)


def layout_of(eeprom_bytes: int) -> EepromLayout:
    """The layout for an EEPROM of this many bytes. Raises BlockError for a size that no supported part has."""
    layout = _LAYOUTS.get(eeprom_bytes)
    if layout is None:
        sizes = " or ".join(str(size) for size in _LAYOUTS)
        raise BlockError(
            f"no layout for an EEPROM of {eeprom_bytes} bytes", f"Give the board an EEPROM of {sizes} bytes."
        )
    return layout
