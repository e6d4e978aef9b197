"""The last dive that a board was started for, worked out from what stands in its memory."""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.errors import BlockError
from schedgen.link.client import Client, Progress, no_progress
from schedgen.link.essentials import unpack_essentials
from schedgen.link.holdings import given_name_in
from schedgen.link.identity import NOT_STARTED, SLOT_NAMES, Identity, known_faults
from schedgen.link.journal import (
    Journalled,
    Stage,
    history_in,
    history_pieces,
    history_step_mv,
    journal_in,
    spacing_of,
)
from schedgen.link.messages import FAULTS
from schedgen.measured.journal import Journal, readings_of
from schedgen.plan.model import ShiftRelease
from schedgen.settings.decode import decode
from schedgen.settings.eeprom import ESSENTIALS_BYTES
from schedgen.settings.fields import LAYOUT_VERSION
from schedgen.settings.meaning import DecodedDive
from schedgen.settings.slot import unpack_slot


@dataclass(frozen=True, slots=True)
class _Flown:
    """The dive as it was flown: its settings, how many seconds the chosen change shifts it, which change that is."""

    dive: DecodedDive
    block_length: int
    shift_s: int
    choice: int | None

    @property
    def planned_s(self) -> int | None:
        """The first firing command as planned."""
        if self.dive.primary is not None:
            return self.dive.at_s + self.shift_s
        return None if self.dive.backup is None else self.dive.interlocks.latest_s


def last_dive(client: Client, progress: Progress = no_progress) -> Journal | None:
    """Return what a board's memory tells of its last dive, None where none was started since it was last armed.

    It is the dive of the settings that count: those of an earlier one have gone with its journal. `progress` is called
    with bytes of the voltage history read and in all. Raises `LinkError`.
    """
    identity = client.identify()
    row = client.read_area("row")
    try:
        record = unpack_essentials(row[:ESSENTIALS_BYTES])
    except BlockError:
        return None
    if identity.layout != LAYOUT_VERSION or identity.code not in (None, record.dive_code):
        return None
    told = journal_in(client.read_area("journal"), record.code)
    if told is None or (identity.state in NOT_STARTED if identity.armed else not told.has_started):
        return None
    flown = None if identity.active is None else _flown(client, identity, told)
    elapsed_s = identity.elapsed_s if identity.armed else told.elapsed_s
    planned_s = record.at_s if flown is None else flown.planned_s
    step_mv, spacing_s = 0, 1
    volts: list[int] = []
    if flown is not None:
        step_mv = history_step_mv(flown.dive.interlocks.series)
        spacing_s, volts = _history(client, identity, flown, elapsed_s, progress)
    lowest = None
    if flown is not None and told.lowest_cell_mv is not None:
        lowest = told.lowest_cell_mv * flown.dive.interlocks.series / 1000
    return Journal(
        board=identity.board,
        name=given_name_in(row) or "",
        code=record.dive_code,
        state=identity.state if identity.armed else _state(told),
        elapsed_s=elapsed_s,
        resets=identity.resets,
        tries=told.tries,
        lowest_v=lowest,
        first_firing_s=planned_s - told.early_s if told.tries and planned_s is not None else None,
        choice=None if flown is None else flown.choice,
        faults=_faults(identity, told),
        step_v=step_mv / 1000,
        readings=readings_of(volts, spacing_s),
    )


def _state(told: Journalled) -> str:
    """The state last journalled, of a board that is not armed any more."""
    if told.stage is Stage.OVER:
        return "over"
    return "surface only" if told.reduced else "on deck"


def _faults(identity: Identity, told: Journalled) -> tuple[str, ...]:
    """What is wrong now while armed, and what the journal still knows of that dive."""
    clock = known_faults(1 << list(FAULTS).index("clock")) if told.clock_failed else ()
    return (*clock, *(one for one in identity.faults if one not in clock))


def _flown(client: Client, identity: Identity, told: Journalled) -> _Flown | None:
    """The settings that count, with the change that was chosen; None where they cannot be read."""
    assert identity.active is not None
    try:
        block = unpack_slot(client.read_area(f"slot {SLOT_NAMES[identity.active]}")).block
        dive = decode(block)
    except BlockError:
        return None
    choices = [values for values, _ in dive.combinations()]
    if told.choice is None or told.choice >= len(choices):
        return _Flown(dive, len(block), 0, None)
    pairs = list(zip(dive.field_changes, choices[told.choice], strict=True))
    shift_s = sum(change.step_s * value for change, value in pairs if isinstance(change, ShiftRelease))
    same = all(value == (0 if isinstance(change, ShiftRelease) else change.values[0]) for change, value in pairs)
    return _Flown(dive, len(block), shift_s, None if same else told.choice)


def _history(
    client: Client, identity: Identity, flown: _Flown, elapsed_s: int, progress: Progress
) -> tuple[int, list[int]]:
    """Spacing, and the readings that were due by `elapsed_s`, mV."""
    own = client.area("history")
    pieces = (("history", 0, own.size),) if own.size else history_pieces(flown.block_length, identity.slot_size)
    cells = sum(size for _, _, size in pieces)
    if not cells:
        return 1, []
    spacing_s = spacing_of(flown.dive.end_s + flown.shift_s, cells)
    due = min(cells, elapsed_s // spacing_s)
    raw = bytearray()
    for area, offset, size in pieces:
        progress(len(raw), due)
        raw += client.read_area(area, max(0, min(size, due - len(raw))), offset)
    progress(due, due)
    return spacing_s, history_in(bytes(raw), flown.dive.interlocks.series)
