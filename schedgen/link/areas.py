"""Where things stand in a board's memory as `read` addresses it: the EEPROM from 0 on, then the user row. Pure."""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.board.parts import parts
from schedgen.errors import BlockError, WrongBoard
from schedgen.settings.eeprom import ESSENTIALS_BYTES, ROW_BYTES, layout_of


@dataclass(frozen=True, slots=True)
class Area:
    """A stretch of memory: its first address and its length in bytes, 0 where the board has no such place."""

    address: int
    size: int


def areas_of(eeprom_size: int, part: str) -> dict[str, Area]:
    """Return where slots, row (essentials, calibration, given name), journal and voltage history stand.

    A board whose `history` has no length keeps its voltage history behind the settings, in both slots (`journal.py`).
    Raises `WrongBoard` for an EEPROM that no firmware of ours has.
    """
    try:
        layout = layout_of(eeprom_size)
    except BlockError as error:
        raise WrongBoard(
            f"The board says that its EEPROM has {eeprom_size} bytes, which no board of ours has.",
            "Make new firmware for it with schedgen compile. Nothing was changed on it.",
        ) from error
    row = layout.size if layout.row is None else layout.row
    history = Area(row + ROW_BYTES, max(0, parts()[part].user_row - ROW_BYTES))
    if layout.history is not None:
        history = Area(layout.history, layout.history_size)
    return {
        "slot A": Area(layout.slot_a, layout.slot_size),
        "slot B": Area(layout.slot_b, layout.slot_size),
        "essentials": Area(row, ESSENTIALS_BYTES),
        "row": Area(row, ROW_BYTES),
        "journal": Area(layout.journal, layout.journal_size),
        "history": history,
    }
