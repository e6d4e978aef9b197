"""The settings block as ONE table: every field with its unit, width, scale, range and meaning.

The encoder, the decoder, the range checks, the generated C (`dive_layout.h`) and the table in DEVELOPERS.md are all
made from `RECORDS`; no width stands anywhere else.

A block is the `header` record, then the clips, the windows, the followers and the field changes, each as often as the
header says, then one bit for each combination of field changes. Fields follow each other without gaps, the
most significant bit first; the last byte is filled up with zero bits.

A value is `raw * scale + offset` in the field's unit, all whole numbers. A *narrow* field is a time inside the dive: it
is not stored with its full width but with as many bits as the header's `end` needs, since no such time may pass `end`.
A field with a `when` is there only if the fields named in it, earlier in the same record, have one of the values given
(a field that is itself absent counts as 0).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import IntEnum

from schedgen.errors import BlockError, CounterRange
from schedgen.settings.code import BITS as CODE_BITS

LAYOUT_VERSION = 1
"""Raised with every change of this table; a firmware refuses a block of another version."""
ELAPSED_MOST = 8_000_000
"""Greatest elapsed second, 92 days. Stored in 24 bits; the firmware reckons in 24 bits with a sign, and needs room
above the greatest second for a burst, a trail and a shift."""


class Kind(IntEnum):
    """What sort of window a window record is."""

    PLAIN = 0
    ENDLESS = 1
    REPEATING = 2
    FLASH = 3


class Mode(IntEnum):
    """How a follower follows: over each window of its leader, or as the pulse that ends a recording."""

    COVER = 0
    STOP = 1


class Change(IntEnum):
    """What a field change changes."""

    SHIFT = 0
    LEVEL = 1


class Start(IntEnum):
    """The trigger; the words are those of the dive file."""

    WATER = 0
    BUTTON = 1
    COMMAND = 2


ENUMS: Mapping[str, type[IntEnum]] = {"kind": Kind, "mode": Mode, "change": Change, "trigger": Start}


@dataclass(frozen=True, slots=True)
class Field:
    """One field. `low` and `high` bound the value (not the raw number), both included."""

    name: str
    bits: int
    low: int
    high: int
    doc: str
    unit: str = ""
    scale: int = 1
    offset: int = 0
    narrow: bool = False
    when: Mapping[str, tuple[int, ...]] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Raises ValueError when the range does not fit the width."""
        if not self.offset <= self.low <= self.high <= self.offset + self.scale * ((1 << self.bits) - 1):
            raise ValueError(f"field {self.name}: its range does not fit {self.bits} bits")

    def width(self, end_bits: int) -> int:
        """Bits that the field takes in a block whose `end` needs `end_bits` bits."""
        return min(self.bits, end_bits) if self.narrow else self.bits

    def present(self, values: Mapping[str, int]) -> bool:
        """Whether the field is there, given those before it in the same record."""
        return all(values.get(name, 0) in wanted for name, wanted in self.when.items())

    def raw(self, value: int, where: str = "") -> int:
        """The number to store for `value`. Raises CounterRange when it is out of range or not a step of the scale."""
        steps, rest = divmod(value - self.offset, self.scale)
        if rest or not self.low <= value <= self.high:
            raise CounterRange(self.name, value, self.low, self.high, self.unit, self.scale, where)
        return steps

    def value(self, raw: int) -> int:
        """The value of a stored number. Raises BlockError when it is out of range."""
        value = raw * self.scale + self.offset
        if not self.low <= value <= self.high:
            unit = f" {self.unit}" if self.unit else ""
            raise BlockError(f"not a settings block: {self.name} is {value}, bounds {self.low} to {self.high}{unit}")
        return value


def _flag(name: str, doc: str, when: Mapping[str, tuple[int, ...]] | None = None) -> Field:
    return Field(name, 1, 0, 1, doc, when=when or {})


def _choice(name: str, bits: int, of: type[IntEnum], doc: str) -> Field:
    return Field(name, bits, min(of), max(of), doc)


def _elapsed(name: str, doc: str, low: int = 0, narrow: bool = False, **rest: Mapping[str, tuple[int, ...]]) -> Field:
    return Field(name, 24, low, ELAPSED_MOST, doc, "s", narrow=narrow, when=rest.get("when", {}))


def _output(name: str, doc: str) -> Field:
    return Field(name, 3, 0, 7, doc)


def _level(name: str, doc: str, when: Mapping[str, tuple[int, ...]] | None = None) -> Field:
    return Field(name, 7, 1, 100, doc, "%", when=when or {})


def _firing(which: str) -> tuple[Field, ...]:
    return (
        _flag(f"{which}_present", f"1: the controller fires the {which} release; 0: the next four are at their least"),
        _output(f"{which}_output", f"output of the {which} release, counted from 0 in the board's order"),
        Field(f"{which}_fire", 11, 0, 2047, "powered, each try", "s"),
        Field(f"{which}_tries", 3, 1, 8, "tries; all of them always run", offset=1),
        Field(f"{which}_pause", 11, 0, 2047, "from the end of one try to the start of the next", "s"),
    )


HEADER = (
    Field("length", 8, 1, 255, "bytes of the block, this one included", "byte"),
    Field("layout_version", 3, 0, 6, "layout version; 7 is kept free, an erased byte would say it"),
    Field("board_type", 16, 0, 65535, "computed from the board's pins and polarity; another board refuses the block"),
    _choice("trigger", 2, Start, "what starts the clock"),
    _flag("without_water", "1: the release may fire though the water contact was never wet"),
    _elapsed("at", "planned first firing of the primary (without one: planned release)"),
    _elapsed("not_before", "the release never fires earlier"),
    _elapsed("latest", "it fires by then even after faults; the backup fires then"),
    _elapsed("end", "late surface + wait: everything off but beacon and locator, nothing fires any more", low=1),
    *_firing("primary"),
    *_firing("backup"),
    Field(
        "bottom",
        12,
        0,
        245700,
        "on the bottom by then, rounded up; the greatest value: later, or not known",
        "s",
        scale=60,
    ),
    Field(
        "rise",
        10,
        0,
        61380,
        "from the end of the last try (without a primary: from `at`) to the late surface, rounded up; the greatest "
        "value: longer, or not known",
        "s",
        scale=60,
    ),
    Field("shed", 9, 0, 5110, "per cell: below it everything outside the keep mask goes off", "mV", scale=10),
    Field("release_below", 9, 0, 5110, "per cell: below it the release is asked for", "mV", scale=10),
    Field("series", 4, 1, 15, "cells in series, to turn pack volts into cell volts"),
    Field("keep", 8, 0, 255, "keep mask: bit n set, output n survives shedding (release outputs always do)"),
    Field("clip_count", 2, 0, 3, "clip records"),
    Field("window_count", 6, 0, 63, "window records"),
    Field("follower_count", 4, 0, 15, "follower records"),
    Field("change_count", 2, 0, 2, "field-change records"),
)

CLIP = (
    _flag("start_moves", "1: the start moves with the release"),
    _elapsed("start", "a follower cut by this clip is off before", narrow=True),
    _flag("stop_moves", "1: the stop moves with the release"),
    _elapsed("stop", "... and off from here on", narrow=True),
)

_When = Mapping[str, tuple[int, ...]]
_FLASH: _When = {"kind": (Kind.FLASH,)}
_REPEATING: _When = {"kind": (Kind.REPEATING,)}
_STOPS: _When = {"kind": (Kind.REPEATING,), "endless": (0,)}

WINDOW = (
    _choice("kind", 2, Kind, "plain; endless: on until the pack is empty; repeating: whole-second bursts; flash"),
    _output("output", "output, counted from 0 in the board's order"),
    _flag("has_level", "1: a level follows; 0: fully on"),
    _level("level", "share of on-time", {"has_level": (1,)}),
    _flag("start_moves", "1: the start moves with the release"),
    _elapsed("start", "on from here", narrow=True),
    Field("every", 16, 1, 65535, "from the start of one burst to the start of the next", "s", when=_REPEATING),
    Field("on", 14, 1, 16383, "length of a burst", "s", when=_REPEATING),
    Field("flash_every", 13, 1, 8191, "from flash to flash", "1/64 s", when=_FLASH),
    Field("flash_on", 13, 1, 8191, "lit, at the beginning of each", "1/64 s", when=_FLASH),
    _flag("endless", "1: bursts or flashes until the pack is empty", {"kind": (Kind.REPEATING, Kind.FLASH)}),
    Field(
        "count",
        13,
        1,
        8192,
        "bursts; the last one ends at start + (count - 1) x every + on, which is the window's stop",
        offset=1,
        when=_STOPS,
    ),
    _flag(
        "stop_moves",
        "1: the stop moves with the release",
        {"kind": (Kind.PLAIN, Kind.REPEATING, Kind.FLASH), "endless": (0,)},
    ),
    _elapsed("stop", "off from here on", narrow=True, when={"kind": (Kind.PLAIN, Kind.FLASH), "endless": (0,)}),
)

FOLLOWER = (
    _output("output", "output that follows"),
    _output("leader", "output whose every window is followed"),
    _flag("has_level", "1: a level follows; 0: fully on"),
    _level("level", "share of on-time", {"has_level": (1,)}),
    _choice(
        "mode", 1, Mode, "cover: from lead before to trail after; stop: 1 s pulse that starts lead + 1 before the end"
    ),
    Field("lead", 9, 0, 511, "before the leader's start (cover) or end (stop)", "s"),
    Field("trail", 11, 0, 2047, "after the leader's end", "s", when={"mode": (Mode.COVER,)}),
    Field("clip", 2, 0, 3, "0: not cut; n: cut by the n-th clip record"),
)

_SHIFT: _When = {"change": (Change.SHIFT,)}
_CHOOSE: _When = {"change": (Change.LEVEL,)}

CHANGE = (
    _choice("change", 1, Change, "shift: the release time; level: the level of an output"),
    Field("step", 8, 60, 15300, "one step of the shift", "s", scale=60, when=_SHIFT),
    Field("earlier", 4, 0, 15, "steps earlier that may be chosen", when=_SHIFT),
    Field("later", 4, 0, 15, "steps later that may be chosen", when=_SHIFT),
    Field("output", 3, 0, 7, "output whose level changes", when=_CHOOSE),
    Field("choices", 2, 1, 4, "levels to choose from", offset=1, when=_CHOOSE),
    _level("level_1", "the level of the schedule", _CHOOSE),
    _level("level_2", "second choice", {"choices": (2, 3, 4)}),
    _level("level_3", "third choice", {"choices": (3, 4)}),
    _level("level_4", "fourth choice", {"choices": (4,)}),
)

ALLOWED = (
    _flag("allowed", "1: this combination may be chosen; in order, the first change slowest, its least value first"),
)
"""Once for each combination of field changes; not at all when there are none."""

COMBINATIONS_MOST = 32

_BY_NAME = {one.name: one for one in HEADER}

ESSENTIALS = (
    _BY_NAME["layout_version"],
    _flag("armed", "1: armed with the settings whose code follows; 0: not armed"),
    Field("code", CODE_BITS, 0, (1 << CODE_BITS) - 1, "dive code, as a number"),
    _BY_NAME["not_before"],
    _BY_NAME["at"],
    _BY_NAME["latest"],
    _BY_NAME["without_water"],
    *(one for one in HEADER if one.name.startswith("primary_")),
    _BY_NAME["keep"],
)
"""Flown when both slots are bad. A CRC-16/CCITT-FALSE over its bytes follows, high byte first."""

SLOT_HEAD = (Field("sequence", 8, 0, 255, "the newer of two slots, counted with wrap-around"),)
SLOT_TAIL = (Field("crc", 32, 0, (1 << 32) - 1, "CRC-32/ISO-HDLC over sequence and block, least byte first"),)

RECORDS: Mapping[str, tuple[Field, ...]] = {
    "header": HEADER,
    "clip": CLIP,
    "window": WINDOW,
    "follower": FOLLOWER,
    "change": CHANGE,
    "allowed": ALLOWED,
    "essentials": ESSENTIALS,
    "slot_head": SLOT_HEAD,
    "slot_tail": SLOT_TAIL,
}
"""All records by name, in the order in which they stand in a block, then those around it."""


def by_name(record: str, name: str) -> Field:
    """The field `name` of the record `record`. Raises KeyError."""
    for one in RECORDS[record]:
        if one.name == name:
            return one
    raise KeyError(f"{record}.{name}")


def fixed_offsets(record: str) -> dict[str, int]:
    """Bit offset of each field of a record whose fields are always there and never narrow. Raises ValueError."""
    offsets: dict[str, int] = {}
    position = 0
    for one in RECORDS[record]:
        if one.when or one.narrow:
            raise ValueError(f"record {record} has no fixed offsets")
        offsets[one.name] = position
        position += one.bits
    return offsets


def record_bits(record: str) -> int:
    """Bits of a record whose fields are always there at full width (or the most it can take)."""
    return sum(one.bits for one in RECORDS[record])
