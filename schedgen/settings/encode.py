"""A Plan to a settings block. Pure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.errors import BlockError, SettingsTooBig
from schedgen.files.place import Place
from schedgen.plan.model import Plan
from schedgen.settings.bits import BitWriter, bits_of
from schedgen.settings.code import dive_code
from schedgen.settings.eeprom import layout_of
from schedgen.settings.fields import ALLOWED, CHANGE, CLIP, FOLLOWER, HEADER, WINDOW, Field, by_name, record_bits
from schedgen.settings.meaning import DecodedDive, check, meaning_of
from schedgen.settings.values import change_values, clip_values, follower_values, header_values, window_values

if TYPE_CHECKING:
    from schedgen.board.model import Board

_LONGEST = by_name("header", "length").high


@dataclass(frozen=True, slots=True)
class Settings:
    """A settings block. `capacity` is what the board's slot holds; both lengths in bytes."""

    block: bytes
    code: str
    bytes_used: int
    capacity: int
    dive: DecodedDive
    """What the block says."""


def encode(plan: Plan, outputs: Sequence[str], eeprom_bytes: int = 256) -> Settings:
    """The settings block of a plan, for a board with these outputs (all of them, in its order) and this EEPROM.

    Raises SettingsTooBig, CounterRange, or BlockError where the plan says what no block can say; `place` is then the
    schedule line, where one line is the cause.
    """
    dive = meaning_of(plan, outputs)
    windows = sorted(plan.windows, key=lambda window: window.follow is not None)
    check(dive, [window.place for window in windows])
    sources = [Source(f"{window.load} ({window.output})", window.place) for window in windows]
    capacity = min(_LONGEST, layout_of(eeprom_bytes).block_most)
    block = pack(dive, capacity, sources)
    return Settings(block, dive_code(block), len(block), capacity, dive)


def encode_for(plan: Plan, board: Board) -> Settings:
    """As `encode`, with outputs and EEPROM of the board."""
    return encode(plan, board.output_names, round(board.eeprom.size.nominal))


@dataclass(frozen=True, slots=True)
class Source:
    """What a window is called in messages and where it stands."""

    label: str
    place: Place | None = None


class _Packer:
    """The records after the header, and what each of them costs."""

    def __init__(self, end_s: int) -> None:
        self.bits = BitWriter(bits_of(end_s))
        self.costs: list[tuple[Source, int]] = []

    def add(self, record: Sequence[Field], values: Mapping[str, int], source: Source) -> None:
        before = self.bits.length
        try:
            self.bits.record(record, values, source.label)
        except BlockError as trouble:
            trouble.place = source.place
            raise
        self.costs.append((source, self.bits.length - before))

    def too_big(self, length: int, capacity: int) -> SettingsTooBig:
        """What to say when the block would be `length` bytes; it stands at the dearest window."""
        dearest = sorted(self.costs, key=lambda cost: -cost[1])
        spoken = [(source.label, bits) for source, bits in dearest]
        trouble = SettingsTooBig(length, capacity, spoken, record_bits("header"))
        trouble.place = next((source.place for source, _ in dearest if source.place is not None), None)
        return trouble


def pack(dive: DecodedDive, capacity: int = _LONGEST, sources: Sequence[Source] = ()) -> bytes:
    """The block that says `dive`, which has been checked. `sources` name its windows in messages, one each.

    Raises SettingsTooBig, CounterRange, BlockError.
    """
    if not sources:
        sources = [Source(f"a window of {window.output}") for window in dive.windows]
    packer = _Packer(dive.end_s)
    clips = dive.clips
    for clip in clips:
        packer.add(CLIP, clip_values(clip), Source("a clip (`only`)"))
    for window, source in zip(dive.windows, sources, strict=True):
        if window.follow is None:
            packer.add(WINDOW, window_values(window, dive.outputs), source)
        else:
            packer.add(FOLLOWER, follower_values(window, window.follow, dive.outputs, clips), source)
    for change in dive.field_changes:
        packer.add(CHANGE, change_values(change, dive.outputs), Source("a field change"))
    for flag in dive.allowed_changes:
        packer.add(ALLOWED, {"allowed": int(flag)}, Source("a combination of field changes"))
    length = -(-(record_bits("header") + packer.bits.length) // 8)
    if length > capacity:
        raise packer.too_big(length, capacity)
    whole = BitWriter()
    whole.record(HEADER, header_values(dive, length))
    whole.append(packer.bits)
    return whole.bytes()
