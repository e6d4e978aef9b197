"""Who the board is and what it holds, as its answer to `identify` says."""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.link.messages import FAULTS, NO_CODE, NO_SLOT, PARTS, STATES, Values
from schedgen.settings.code import to_crockford

SLOT_NAMES = ("A", "B")
NOT_STARTED = ("on bench", "armed")
"""States in which no dive is under way."""


@dataclass(frozen=True, slots=True)
class Identity:
    """What `identify` tells. `codes` and `sequences` are of slot A and slot B; a code is None where it is not valid.

    `active` is 0 or 1, None where neither slot counts. `elapsed_s` is seconds since start, 0 before. `given_name` is
    the name a user gave, or empty; it is read separately.
    """

    protocol: int
    layout: int
    board_type: int
    board: str
    part: str
    eeprom_size: int
    slot_size: int
    state: str
    active: int | None
    codes: tuple[str | None, str | None]
    sequences: tuple[int, int]
    armed: bool
    elapsed_s: int
    pack_v: float
    resets: int
    faults: tuple[str, ...]
    given_name: str = ""

    @property
    def code(self) -> str | None:
        """The dive code that counts, None where the board holds no valid settings."""
        return None if self.active is None else self.codes[self.active]

    @property
    def called(self) -> str:
        """The board in a sentence: name of its board file, and the given name where there is one."""
        return f'{self.board} "{self.given_name}"' if self.given_name else self.board


def identity_from(values: Values) -> Identity:
    """Return the identity in the decoded answer to `identify`."""
    active = values.number("active")
    state = STATES[values.number("state")]
    return Identity(
        protocol=values.number("protocol"),
        layout=values.number("layout"),
        board_type=values.number("board_type"),
        board=values.text("board"),
        part=PARTS[values.number("part")],
        eeprom_size=values.number("eeprom_size"),
        slot_size=values.number("slot_size"),
        state=state,
        active=active if active < len(SLOT_NAMES) and active != NO_SLOT else None,
        codes=(_code(values.number("code_a")), _code(values.number("code_b"))),
        sequences=(values.number("sequence_a"), values.number("sequence_b")),
        armed=bool(values.number("armed")),
        elapsed_s=0 if state in NOT_STARTED else values.number("elapsed"),
        pack_v=values.number("pack_mv") / 1000,
        resets=values.number("resets"),
        faults=known_faults(values.number("faults")),
    )


def known_faults(bits: int) -> tuple[str, ...]:
    """What the bits of `messages.FAULTS` say, in words; unknown bits too."""
    known = tuple(text for bit, text in enumerate(FAULTS.values()) if bits >> bit & 1)
    unknown = bits >> len(FAULTS)
    return known + ((f"a fault this program does not know ({bits:#06x})",) if unknown else ())


def _code(number: int) -> str | None:
    return None if number == NO_CODE or number >> 30 else to_crockford(number)
