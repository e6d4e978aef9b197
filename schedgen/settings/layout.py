"""The table of fields for others: `dive_layout.h` for the firmware, and the table in DEVELOPERS.md."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.settings import c_text
from schedgen.settings.eeprom import ESSENTIALS_BYTES, ROW_BYTES, layouts
from schedgen.settings.fields import (
    COMBINATIONS_MOST,
    ENUMS,
    LAYOUT_VERSION,
    RECORDS,
    Field,
    fixed_offsets,
    record_bits,
)
from schedgen.settings.meaning import OUTPUTS_MOST

_TEMPLATE = "dive_layout.h.j2"
_FIXED = ("header", "essentials", "slot_head", "slot_tail")


def layout_header() -> str:
    """The text of `dive_layout.h`: every width, offset, range and scale of the table, and the EEPROM's addresses."""
    constants = {
        "LAYOUT_VERSION": LAYOUT_VERSION,
        "LAYOUT_OUTPUTS_MOST": OUTPUTS_MOST,
        "LAYOUT_COMBINATIONS_MOST": COMBINATIONS_MOST,
        "LAYOUT_ESSENTIALS_BYTES": ESSENTIALS_BYTES,
        "LAYOUT_ROW_BYTES": ROW_BYTES,
    }
    return c_text.fill(
        _TEMPLATE,
        constants=constants,
        choices=c_text.enumerations("LAYOUT"),
        records=[_record(name) for name in RECORDS],
        eeproms=[_eeprom(size) for size in layouts()],
    )


def _record(name: str) -> dict[str, object]:
    fields = RECORDS[name]
    offsets = fixed_offsets(name) if name in _FIXED else {}
    prefix = f"LAYOUT_{name.upper()}"
    return {
        "name": name,
        "prefix": prefix,
        "bits": record_bits(name) if offsets else None,
        "fields": [
            {
                "name": one.name.upper(),
                "remark": c_text.remark(one) + _presence(one),
                "constants": list(_constants(f"{prefix}_{one.name.upper()}", one, offsets.get(one.name))),
                "row": ", ".join(
                    [
                        one.name.upper(),
                        str(one.bits),
                        *(c_text.number(value, 32) for value in (one.low, one.high, one.scale, one.offset)),
                        str(int(one.narrow)),
                    ]
                ),
            }
            for one in fields
        ],
    }


def _constants(name: str, one: Field, offset: int | None) -> Iterator[tuple[str, str]]:
    yield f"{name}_BITS", str(one.bits)
    if offset is not None:
        yield f"{name}_AT", str(offset)
    yield f"{name}_LOW", c_text.number(one.low, one.high.bit_length())
    yield f"{name}_HIGH", c_text.number(one.high, one.high.bit_length())
    if one.scale != 1:
        yield f"{name}_SCALE", str(one.scale)
    if one.offset:
        yield f"{name}_OFFSET", str(one.offset)


def _presence(one: Field) -> str:
    notes = []
    if one.narrow:
        notes.append("as many bits as `end` needs")
    for name, wanted in one.when.items():
        notes.append(f"only if {name} is {' or '.join(_spoken(name, value) for value in wanted)}")
    return f" ({'; '.join(notes)})" if notes else ""


def _spoken(name: str, value: int) -> str:
    return ENUMS[name](value).name.lower() if name in ENUMS else str(value)


def _eeprom(size: int) -> list[tuple[str, int]]:
    layout = layouts()[size]
    rows = {
        "SLOT_A": layout.slot_a,
        "SLOT_B": layout.slot_b,
        "SLOT_SIZE": layout.slot_size,
        "JOURNAL": layout.journal,
        "JOURNAL_SIZE": layout.journal_size,
        "HISTORY": layout.history,
        "HISTORY_SIZE": layout.history_size,
        "ROW": layout.row,
    }
    return [(f"LAYOUT_EEPROM{size}_{name}", value) for name, value in rows.items() if value is not None]


def layout_table() -> str:
    """The table of fields in Markdown, one table a record, for DEVELOPERS.md; ends with a line feed."""
    lines = []
    for name, fields in RECORDS.items():
        total = f", {record_bits(name)} bits" if name in _FIXED else ""
        lines += [
            f"**{name}**{total}",
            "",
            "| field | bits | range | unit | meaning |",
            "| --- | --- | --- | --- | --- |",
        ]
        for one in fields:
            bits = f"up to {one.bits}" if one.narrow else str(one.bits)
            steps = f", steps of {one.scale}" if one.scale != 1 else ""
            meaning = f"{one.doc}{_presence(one)}"
            lines.append(f"| {one.name} | {bits} | {one.low} to {one.high}{steps} | {one.unit} | {meaning} |")
        lines.append("")
    return "\n".join(lines)
