"""The one table of fields, and what is generated from it."""

from __future__ import annotations

import hashlib
import re
from pathlib import Path

import pytest
from c_programs import compiles_alone, run
from settings_dives import OUTPUTS, counted_plan

from schedgen.errors import BlockError, CounterRange
from schedgen.firmware.toolchain import find_avr_gcc
from schedgen.settings.eeprom import ESSENTIALS_BYTES, layout_of, layouts
from schedgen.settings.encode import encode
from schedgen.settings.fields import ENUMS, LAYOUT_VERSION, RECORDS, Field, by_name, fixed_offsets, record_bits
from schedgen.settings.header import Labels, dive_header
from schedgen.settings.layout import layout_header, layout_table
from schedgen.settings.values import header_values

ROOT = Path(__file__).resolve().parents[2]
ALL = [(record, one) for record, fields in RECORDS.items() for one in fields]
NAMES = [f"{record}.{one.name}" for record, one in ALL]


@pytest.fixture(scope="module")
def header(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("layout") / "dive_layout.h"
    path.write_text(layout_header(), encoding="ascii", newline="\n")
    return path


def test_the_layout_header_compiles_alone_on_a_desk_computer(header: Path) -> None:
    compiles_alone("gcc", header)


def test_the_layout_header_compiles_alone_for_the_microcontrollers(header: Path) -> None:
    compiler = find_avr_gcc()
    assert compiler is not None, "the test extra brings an avr-gcc"
    for part in ("atmega4809", "atmega328p"):
        compiles_alone(compiler, header, f"-mmcu={part}")


def test_the_generated_c_has_every_number_of_the_table(header: Path) -> None:
    lines = ["#include <stdio.h>", '#include "dive_layout.h"', "int main(void) {"]
    expected = []
    for record, one in ALL:
        prefix = f"LAYOUT_{record.upper()}_{one.name.upper()}"
        numbers = {"BITS": one.bits, "LOW": one.low, "HIGH": one.high}
        if one.scale != 1:
            numbers["SCALE"] = one.scale
        if one.offset:
            numbers["OFFSET"] = one.offset
        if record in ("header", "essentials", "slot_head", "slot_tail"):
            numbers["AT"] = fixed_offsets(record)[one.name]
        for name, value in numbers.items():
            lines.append(f'printf("%lu\\n", (unsigned long)({prefix}_{name}));')
            expected.append(str(value))
    for word, choices in ENUMS.items():
        for choice in choices:
            lines.append(f'printf("%lu\\n", (unsigned long)(LAYOUT_{word.upper()}_{choice.name}));')
            expected.append(str(int(choice)))
    assert run("\n".join([*lines, "return 0; }", ""]), header.parent) == expected


def test_the_lists_of_fields_in_c_are_the_records_in_order(header: Path) -> None:
    calls = [f"LAYOUT_{record.upper()}_FIELDS(P)" for record in RECORDS]
    source = (
        '#include <stdio.h>\n#include "dive_layout.h"\n'
        "#define P(name, bits, low, high, scale, offset, narrow) "
        'printf("%s %d %lu %lu %lu %lu %d\\n", #name, bits, low, high, scale, offset, narrow);\n'
        f"int main(void) {{ {' '.join(calls)} return 0; }}\n"
    )
    assert run(source, header.parent) == [
        f"{one.name.upper()} {one.bits} {one.low} {one.high} {one.scale} {one.offset} {int(one.narrow)}"
        for _, one in ALL
    ]


READER = r"""
#include "dive_layout.h"
#include "dive_settings.h"
#include <stdio.h>

static const unsigned char block[DIVE_LENGTH_BYTES] = DIVE_BLOCK_BYTES;

static unsigned long take(unsigned at, unsigned bits)
{
    unsigned long value = 0;
    while (bits-- > 0U) {
        value = value << 1 | (unsigned long)(block[at / 8U] >> (7U - at % 8U) & 1U);
        at++;
    }
    return value;
}

#define P(name, bits, low, high, scale, offset, narrow) \
    printf("%s %lu\n", #name, take(LAYOUT_HEADER_##name##_AT, LAYOUT_HEADER_##name##_BITS) * scale + offset);

int main(void)
{
    LAYOUT_HEADER_FIELDS(P)
    return 0;
}
"""


def test_a_reader_in_c_finds_every_field_of_the_header(header: Path) -> None:
    made = encode(counted_plan(), OUTPUTS)
    text = dive_header(made, Labels())
    (header.parent / "dive_settings.h").write_text(text, encoding="ascii", newline="\n")
    values = header_values(made.dive, made.bytes_used)
    expected = [f"{one.name.upper()} {int(values[one.name])}" for one in RECORDS["header"]]
    assert run(READER, header.parent) == expected


def test_the_addresses_in_c_are_those_of_the_layouts() -> None:
    defined = dict(re.findall(r"^#define (LAYOUT_EEPROM\S+) (\d+)$", layout_header(), re.MULTILINE))
    for size in layouts():
        layout = layout_of(size)
        assert defined[f"LAYOUT_EEPROM{size}_SLOT_B"] == str(layout.slot_b)
        assert defined[f"LAYOUT_EEPROM{size}_SLOT_SIZE"] == str(layout.slot_size)
        assert defined[f"LAYOUT_EEPROM{size}_JOURNAL"] == str(layout.journal)
        assert (f"LAYOUT_EEPROM{size}_ROW" in defined) == (layout.row is not None)


def test_no_width_stands_anywhere_but_in_the_table() -> None:
    # A number given to something named bits in this room, or a BITS constant with a number in the C sources, would be a
    # second copy. The dive code's 30 bits are defined where the code is, and the table takes them from there.
    room = ROOT / "schedgen" / "settings"
    for path in sorted(room.glob("*.py")):
        if path.name not in ("fields.py", "code.py"):
            assert not re.search(r"_bits\s*=\s*\d|\bbits=\d", path.read_text(encoding="utf-8")), path.name
    for path in sorted((ROOT / "firmware_templates").rglob("*.[chj]*")):
        assert not re.search(r"#define LAYOUT_\w+_BITS \d", path.read_text(encoding="utf-8")), path.name


def conditions(one: Field) -> list[tuple[str, list[int]]]:
    return [(name, [int(value) for value in wanted]) for name, wanted in one.when.items()]


def test_a_change_of_the_layout_is_a_new_version() -> None:
    # When this fails: raise LAYOUT_VERSION and write its digest here. A board tells layouts apart by the version alone.
    told = [
        (record, one.name, one.bits, one.low, one.high, one.scale, one.offset, one.narrow, conditions(one))
        for record, one in ALL
    ]
    digest = hashlib.sha256(repr(told).encode("ascii")).hexdigest()[:16]
    assert {LAYOUT_VERSION: digest} == {1: "dabf59e1d4cc19be"}


def test_the_table_for_people_has_one_line_for_each_field() -> None:
    rows = [
        line
        for line in layout_table().splitlines()
        if line.startswith("| ") and not line.startswith(("| field", "| ---"))
    ]
    assert len(rows) == len(ALL)
    for row, (_, one) in zip(rows, ALL, strict=True):
        cells = [cell.strip() for cell in row.strip("|").split("|")]
        assert cells[0] == one.name
        assert re.sub(r"^up to ", "", cells[1]) == str(one.bits)
        assert cells[2].startswith(f"{one.low} to {one.high}")
        assert cells[4].startswith(one.doc)


def test_names_in_a_record_are_different() -> None:
    assert len(set(NAMES)) == len(NAMES)


@pytest.mark.parametrize(("record", "one"), ALL, ids=NAMES)
def test_both_ends_of_every_range_survive_and_what_lies_beyond_is_refused(record: str, one: Field) -> None:
    for value in (one.low, one.high):
        assert one.value(one.raw(value)) == value
        assert one.raw(value) < 1 << one.bits
    for value in (one.low - one.scale, one.high + one.scale):
        with pytest.raises(CounterRange, match=f"{one.low} to {one.high}"):
            one.raw(value)
    for raw in ((one.high - one.offset) // one.scale + 1, (one.low - one.offset) // one.scale - 1):
        with pytest.raises(BlockError):
            one.value(raw)


def test_a_field_whose_range_does_not_fit_its_width_cannot_be_made() -> None:
    with pytest.raises(ValueError, match="does not fit 3 bits"):
        Field("wide", 3, 0, 8, "")
    with pytest.raises(ValueError, match="does not fit"):
        Field("below", 3, 0, 4, "", offset=1)


def test_a_condition_names_only_fields_before_it() -> None:
    for record, fields in RECORDS.items():
        for index, one in enumerate(fields):
            before = {other.name for other in fields[:index]}
            assert set(one.when) <= before, f"{record}.{one.name}"


def test_the_header_and_the_essentials_agree_on_the_fields_that_both_hold() -> None:
    shared = {one.name for one in RECORDS["essentials"]} - {"armed", "code"}
    for name in shared:
        assert by_name("essentials", name) is by_name("header", name)


def test_the_essentials_record_is_of_whole_bytes() -> None:
    # The design says about 18 bytes with their own checksum; 20 hold the pause as well.
    assert record_bits("essentials") % 8 == 0
    assert ESSENTIALS_BYTES == record_bits("essentials") // 8 + 2 == 20


def test_an_unknown_field_is_not_found() -> None:
    with pytest.raises(KeyError):
        by_name("header", "nothing")
    with pytest.raises(ValueError, match="no fixed offsets"):
        fixed_offsets("window")
