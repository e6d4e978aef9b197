"""`dive_settings.h`: the settings of one dive for somebody's own firmware. Pure: values in, text out."""

from __future__ import annotations

import zlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from schedgen.plan.model import Window
from schedgen.settings import c_text
from schedgen.settings.encode import Settings
from schedgen.settings.fields import CHANGE, CLIP, ENUMS, FOLLOWER, HEADER, LAYOUT_VERSION, WINDOW, Field
from schedgen.settings.meaning import DecodedDive
from schedgen.settings.values import change_values, clip_values, follower_values, header_values, window_values

_TEMPLATE = "dive_settings.h.j2"
_BYTES_A_LINE = 12
_NO_STOP = "DIVE_NO_STOP"

Row = Mapping[str, int | str]


@dataclass(frozen=True, slots=True)
class Labels:
    """Names that a block does not hold: of the dive, of its board, and of the load on each output."""

    dive: str = ""
    board: str = ""
    loads: Mapping[str, str] = field(default_factory=dict)


def dive_header(settings: Settings, labels: Labels) -> str:
    """The text of `dive_settings.h`, in ASCII. It needs no other file; every line ends with a line feed."""
    dive = settings.dive
    return c_text.fill(
        _TEMPLATE,
        version=LAYOUT_VERSION,
        texts=[
            ("DIVE_NAME", c_text.string(labels.dive), "name of the dive"),
            ("DIVE_CODE", c_text.string(settings.code), "dive code"),
            ("DIVE_BOARD", c_text.string(labels.board), "name of the board"),
        ],
        numbers=_numbers(settings),
        choices=c_text.enumerations("DIVE"),
        outputs=_outputs(dive.outputs, labels),
        tables=_tables(dive),
        combinations=[
            ", ".join(str(value) for value in ((*values, 0)[0], (*values, 0)[1], int(allowed)))
            for values, allowed in dive.combinations()
        ],
        block=_byte_lines(settings.block),
        crc=f"0x{zlib.crc32(settings.block):08X}UL",
    )


def _numbers(settings: Settings) -> list[tuple[str, str, str]]:
    values = header_values(settings.dive, settings.bytes_used)
    return [(f"DIVE_{c_text.macro(one)}", _cell(one, values), c_text.remark(one)) for one in HEADER]


def _outputs(names: Sequence[str], labels: Labels) -> list[tuple[int, str, str, str]]:
    """Number, macro name, name and load of each output; macro names made different where they would be alike."""
    rows: list[tuple[int, str, str, str]] = []
    taken: set[str] = set()
    for index, name in enumerate(names):
        macro = c_text.identifier(name)
        if macro in taken:
            macro = f"{macro}_{index}"
        taken.add(macro)
        rows.append((index, macro, c_text.string(name), c_text.string(labels.loads.get(name, ""))))
    return rows


def _tables(dive: DecodedDive) -> list[dict[str, object]]:
    followers = [follower_values(one, one.follow, dive.outputs, dive.clips) for one in dive.windows if one.follow]
    windows = [_window_row(one, dive.outputs) for one in dive.windows if not one.follow]
    changes = [change_values(one, dive.outputs) for one in dive.field_changes]
    return [
        _table("CLIPS", "spans that cut followers", CLIP, [clip_values(clip) for clip in dive.clips]),
        _table("WINDOWS", "windows", WINDOW, windows),
        _table("FOLLOWERS", "windows that follow every window of another output", FOLLOWER, followers),
        _table("CHANGES", "what the two buttons may change", CHANGE, changes),
    ]


def _table(name: str, doc: str, fields: Sequence[Field], rows: Sequence[Row]) -> dict[str, object]:
    return {
        "name": f"DIVE_{name}",
        "doc": doc,
        "columns": [(one.name, c_text.remark(one)) for one in fields],
        "rows": [", ".join(_cell(one, row) for one in fields) for row in rows],
    }


def _window_row(window: Window, outputs: Sequence[str]) -> dict[str, int | str]:
    """A window with the stop that an endless or a repeating one does not store."""
    row: dict[str, int | str] = {**window_values(window, outputs)}
    row["endless"] = int(window.stop_s is None)
    row["stop"] = _NO_STOP if window.stop_s is None else window.stop_s
    if window.burst is not None and window.stop_s is None:
        row["count"] = 0
    return row


def _cell(one: Field, row: Row) -> str:
    value = row.get(one.name, 100 if one.name == "level" else 0)
    if isinstance(value, str):
        return value
    if one.name in ENUMS:
        return c_text.choice("DIVE", one.name, ENUMS[one.name](value))
    return c_text.number(value, one.bits)


def _byte_lines(block: bytes) -> list[str]:
    lines = [block[index : index + _BYTES_A_LINE] for index in range(0, len(block), _BYTES_A_LINE)]
    return [", ".join(f"0x{byte:02X}" for byte in line) for line in lines]
