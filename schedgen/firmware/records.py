"""`records.h`: the records of a settings block as rows that one loop of the firmware reads. Pure."""

from __future__ import annotations

from collections.abc import Sequence

from schedgen.settings import c_text
from schedgen.settings.fields import RECORDS, Field, by_name

CHOOSES, NOT_ZERO, WIDTH = 0x20, 0x80, 0x1F
_BYTE = 8
_SORTS = ("clip", "window", "follower", "change")
"""Records that stand in a block as often as its header says."""


def records_header() -> str:
    """The text of `records.h`. Raises ValueError where the table asks for what the loop cannot do."""
    records, at = [], 0
    for name in _SORTS:
        rows = rows_of(RECORDS[name])
        wide = [one.name for one in RECORDS[name] if one.bits > _BYTE]
        small = [one.name for one in RECORDS[name] if one.bits <= _BYTE]
        records.append({"name": name, "wide": wide, "small": small, "rows": rows, "at": at})
        at += len(rows) + 2
    return c_text.fill(
        "records.h.j2",
        records=records,
        chooses=CHOOSES,
        time=by_name("window", "start").bits,
        level=by_name("window", "level").bits,
        level_most=by_name("window", "level").high,
    )


def rows_of(fields: Sequence[Field]) -> list[int]:
    """Two bytes for each field of a record: width and flags, and the choices with which it is absent."""
    choosers = {name for one in fields for name in one.when}
    places: dict[str, range] = {}
    rows = []
    for one in fields:
        _refuse_other_ranges(one)
        absent = sum(
            1 << places[name][value]
            for name, wanted in one.when.items()
            for value in range(len(places[name]))
            if value + _offset(fields, name) not in wanted
        )
        flags = (CHOOSES if one.name in choosers else 0) | (NOT_ZERO if one.low > one.offset else 0)
        if one.name in choosers:
            count = 1 << one.bits
            places = {name: range(bits.start + count, bits.stop + count) for name, bits in places.items()}
            places[one.name] = range(count)
        if absent > 0xFF or one.bits > WIDTH:
            raise ValueError(f"field {one.name}: a row has no room for its width or its choices")
        rows += [one.bits | flags, absent]
    return rows


def _offset(fields: Sequence[Field], name: str) -> int:
    return next(one.offset for one in fields if one.name == name)


def _refuse_other_ranges(one: Field) -> None:
    """The loop knows the upper ends of times and levels, and that some fields may not be 0; nothing else is checked."""
    time, level = by_name("window", "start"), by_name("window", "level")
    full = one.offset + one.scale * ((1 << one.bits) - 1)
    known = (one.bits == time.bits and one.narrow) or (one.bits == level.bits and one.high == level.high)
    if not known and (one.high != full or one.bits in (time.bits, level.bits)):
        raise ValueError(f"field {one.name}: its upper end is checked nowhere")
    if one.low not in (one.offset, one.offset + one.scale):
        raise ValueError(f"field {one.name}: its lower end is checked nowhere")
