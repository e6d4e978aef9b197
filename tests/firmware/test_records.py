"""The rows that the firmware reads records by say the same as the table of fields, and refuse what they cannot say."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import pytest

from schedgen.firmware.records import CHOOSES, NOT_ZERO, WIDTH, records_header, rows_of
from schedgen.settings.fields import RECORDS, Field, by_name

SORTS = ("clip", "window", "follower", "change")


def there(rows: list[int], raw: dict[int, int]) -> list[bool]:
    """Which fields a reader that goes by rows finds; `raw` by number of the field, 0 where it is missing."""
    found, chosen = [], 0
    for index in range(len(rows) // 2):
        how, absent = rows[2 * index : 2 * index + 2]
        present = not absent & chosen
        found.append(present)
        if how & CHOOSES:
            chosen = (chosen << (1 << (how & WIDTH)) | 1 << (raw.get(index, 0) if present else 0)) & 0xFF
    return found


@pytest.mark.parametrize("sort", SORTS)
def test_rows_find_the_fields_that_the_table_finds(sort: str) -> None:
    fields = RECORDS[sort]
    rows = rows_of(fields)
    choosers = [index for index, one in enumerate(fields) if any(one.name in other.when for other in fields)]
    for raws in product(*(range(1 << fields[index].bits) for index in choosers)):
        raw = dict(zip(choosers, raws, strict=True))
        values: dict[str, int] = {}
        expected = []
        for index, one in enumerate(fields):
            expected.append(one.present(values))
            if expected[-1]:
                values[one.name] = raw.get(index, 0) + one.offset
        assert there(rows, raw) == expected, raw


def test_rows_have_the_widths_of_the_table_and_say_what_may_not_be_zero() -> None:
    for sort in SORTS:
        rows = rows_of(RECORDS[sort])
        assert [row & WIDTH for row in rows[::2]] == [one.bits for one in RECORDS[sort]]
        assert [bool(row & NOT_ZERO) for row in rows[::2]] == [one.low > one.offset for one in RECORDS[sort]]
    assert "struct window {" in records_header()


@pytest.mark.parametrize(
    "field",
    [
        replace(by_name("window", "every"), high=60000),  # an upper end that nobody checks
        replace(by_name("follower", "lead"), low=5),
        Field("lamp", 7, 0, 127, "as wide as a level, and none"),
        Field("moment", 24, 0, (1 << 24) - 1, "as wide as a time, and none"),
    ],
    ids=lambda field: field.name,
)
def test_a_field_whose_range_the_firmware_would_not_check_is_refused(field: Field) -> None:
    with pytest.raises(ValueError, match=field.name):
        rows_of((replace(field, when={}),))
