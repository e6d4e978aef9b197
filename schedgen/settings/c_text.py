"""Bits of C99: literals, names, and templates filled in. Line ends are LF everywhere."""

from __future__ import annotations

import re
from enum import IntEnum

from schedgen.settings.fields import ENUMS, Field

SUFFIXES = {"": "", "s": "_S", "mV": "_MV", "%": "_PERCENT", "byte": "_BYTES", "1/64 s": "_64THS"}
"""What a macro's name ends with, for each unit of the table."""


def number(value: int, bits: int) -> str:
    """An unsigned constant that is the same on a 16-bit int (8-bit parts) and on a desk computer."""
    return f"{value}UL" if bits > 16 else f"{value}U"


def string(text: str) -> str:
    """A C string literal of the UTF-8 bytes; anything but plain ASCII is an octal escape, and so is `?` (trigraphs)."""
    kept = set(range(0x20, 0x7F)) - set(b'"\\?')
    return '"' + "".join(chr(byte) if byte in kept else f"\\{byte:03o}" for byte in text.encode("utf-8")) + '"'


def identifier(text: str) -> str:
    """`text` as the rest of a macro's name: capitals, digits and underscores."""
    return re.sub(r"[^A-Z0-9]+", "_", text.upper()).strip("_") or "X"


def macro(one: Field) -> str:
    """The name of a field with its unit, in capitals."""
    return one.name.upper() + SUFFIXES[one.unit]


def remark(one: Field) -> str:
    """Meaning, unit, range and scale of a field, in one line for a comment."""
    unit = {"": "", "1/64 s": " x 1/64 s"}.get(one.unit, f" {one.unit}")
    steps = f" in steps of {one.scale}{unit}" if one.scale != 1 else ""
    words = "".join(f", {int(value)} {value.name.lower()}" for value in ENUMS.get(one.name, ()))
    return f"{one.doc}; {one.low} to {one.high}{unit}{steps}{words}"


def enumerations(prefix: str) -> list[tuple[str, int]]:
    """Names and numbers of all choices, each name beginning with `prefix`."""
    return [(f"{prefix}_{word.upper()}_{one.name}", int(one)) for word, choice in ENUMS.items() for one in choice]


def choice(prefix: str, word: str, one: IntEnum) -> str:
    """The name that `enumerations` gives one choice."""
    return f"{prefix}_{word.upper()}_{one.name}"


def fill(template: str, **values: object) -> str:
    """The text of a template of `firmware_templates/` with its values filled in. Raises UsageError."""
    from jinja2 import Environment, FileSystemLoader, StrictUndefined

    from schedgen.board.where import data_folder

    environment = Environment(
        loader=FileSystemLoader(data_folder("firmware_templates")),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
        newline_sequence="\n",
        autoescape=False,
    )
    return environment.get_template(template).render(**values)
