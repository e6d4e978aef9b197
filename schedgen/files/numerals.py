"""Numbers, counts, positions and yes or no, read from text without any of YAML 1.1's surprises."""

from __future__ import annotations

import re
from decimal import Decimal
from fractions import Fraction
from typing import Literal

from schedgen.files.trouble import Misread, Trouble, shown

NUMBER = r"[-+]?(?:\d[\d_,']*(?:\.\d*)?|\.\d+)(?:[eE][-+]?\d+)?"
"""What is taken as an attempt at a number; `numeral` then says what is wrong with it."""

_GOOD = re.compile(r"[-+]?(?:0|[1-9]\d*)(?:\.\d+)?")
_LONGEST = 20

_POSITION = re.compile(
    r"(?P<sign>-?)\s*(?P<degrees>\d{1,3}(?:\.\d+)?)\s*(?:°|deg|d|\s)?\s*"
    r"(?:(?P<minutes>\d{1,2}(?:\.\d+)?)\s*(?:'|\u2032|\u2019|min|m|\s)?\s*)?"
    r"(?:(?P<seconds>\d{1,2}(?:\.\d+)?)\s*(?:\"|''|\u2033|\u201d|s)?\s*)?(?P<side>[NSEWnsew])?"
)
_SIDED = re.compile(r"(?P<side>[NSEWnsew])\s*(?P<rest>\d.*)")


def numeral(text: str, wanted: str, example: str, tail: str = "") -> Fraction:
    """The exact value of a plain decimal number. Raises `Misread` for every other spelling, each by name.

    `tail` is what stands behind the number (its unit), so that the message can show the whole value.
    """
    if _GOOD.fullmatch(text):
        if len(text) > _LONGEST:
            raise _misread(f"{shown(text, 30)} has more than {_LONGEST} digits.", wanted, example, "Round it.")
        return Fraction(text)
    mantissa, _, exponent = text.lower().partition("e")
    if exponent:
        plain = f"{Decimal(text.lower().replace(',', '.')):f}" if _tame(mantissa, exponent) else ""
        step = f"Write {plain}{tail}." if plain else "Write it without the exponent."
        raise _misread(f"{text} is written with an exponent; that form is not read.", wanted, example, step)
    if text.count(",") == 1 and "." not in text:
        fixed = text.replace(",", ".")
        step = f"Write {fixed}{tail}."
        if len(text.partition(",")[2]) == 3:
            step = f"Write {fixed}{tail}, or {text.replace(',', '')}{tail} if thousands were meant."
        raise _misread(f"{text} has a comma in it; the decimal sign is the point.", wanted, example, step)
    if re.search(r"[_,']", text):
        plain = re.sub(r"[_,']", "", text)
        raise _misread(f"{text} has separators in it.", wanted, example, f"Write {plain}{tail}.")
    if re.fullmatch(r"[-+]?0\d+(\.\d*)?", text):
        short = re.sub(r"^([-+]?)0+(?=\d)", r"\1", text).rstrip(".")
        raise _misread(
            f"{text} begins with a 0, which some programs read as a number to base 8.",
            wanted,
            example,
            f"Write {short}{tail}.",
        )
    step = "Write a digit on both sides of the point."
    raise _misread(f"{shown(text, 30)} is not a number.", wanted, example, step)


def count(text: str, wanted: str = "a whole number", example: str = "3") -> int:
    """A whole number, which may be negative. Raises `Misread`."""
    stripped = text.strip()
    if re.fullmatch(NUMBER, stripped):
        value = numeral(stripped, wanted, example)
        if "." in stripped:
            step = f"Write {int(value)}." if value.denominator == 1 else "Write it without a fraction."
            raise _misread(f"{stripped} is not a whole number.", wanted, example, step)
        return int(value)
    if stripped.strip("?") == "":
        message = "This still has to be filled in." if stripped else "There is no value."
        raise _misread(f"{message} {wanted[0].upper()}{wanted[1:]} is wanted.", wanted, example, "Write the number.")
    raise _misread(f"{shown(stripped)} is not {wanted}.", wanted, example, "Write digits only.")


def yes_or_no(text: str) -> bool:
    """True for `yes`, False for `no`. Raises `Misread` for all else, `on` and `true` too."""
    stripped = text.strip()
    if stripped in ("yes", "no"):
        return stripped == "yes"
    meant = {"on": "yes", "true": "yes", "y": "yes", "1": "yes", "off": "no", "false": "no", "n": "no", "0": "no"}
    if not stripped.strip("?"):
        message = "This still has to be filled in." if stripped else "There is no value."
        raise _misread(f"{message} Yes or no is wanted.", "yes or no", "yes", "Write yes or no.")
    word = meant.get(stripped.lower(), stripped.lower() if stripped.lower() in ("yes", "no") else "")
    step = f"Write {word}." if word else "Write yes or no."
    raise _misread(f"{shown(stripped)} is neither yes nor no.", "yes or no", "yes", step)


def refuse_sexagesimal(text: str, axis: Literal["latitude", "longitude"]) -> None:
    """Raises `Misread` with the decimal form when `text` is a position in degrees and minutes, or has N S E W."""
    stripped = text.strip()
    sided = _SIDED.fullmatch(stripped)
    candidate = f"{sided['rest']} {sided['side']}" if sided else stripped
    match = _POSITION.fullmatch(candidate)
    if match is None or (match["minutes"] is None and match["side"] is None and not re.search(r"[°d]", candidate)):
        return
    minutes, seconds = float(match["minutes"] or 0), float(match["seconds"] or 0)
    if minutes >= 60 or seconds >= 60:
        part = "minutes" if minutes >= 60 else "seconds"
        raise _misread(
            f"{shown(stripped)} has 60 {part} or more.", f"a {axis} in decimal degrees", _EXAMPLES[axis],
            f"Check the {part}, then write decimal degrees.",
        )  # fmt: skip
    value = float(match["degrees"]) + minutes / 60 + seconds / 3600
    side = (match["side"] or "").upper()
    if match["sign"] or side in ("S", "W"):
        value = -value
    wanted = f"a {axis} in decimal degrees"
    ways = "north positive, south negative" if axis == "latitude" else "east positive, west negative"
    if side and side not in ("NS" if axis == "latitude" else "EW"):
        raise _misread(
            f"{shown(stripped)} ends in {side}, which is not a {axis}.", wanted, _EXAMPLES[axis],
            "Check that latitude and longitude are not exchanged.",
        )  # fmt: skip
    decimal = f"{value:.6f}".rstrip("0").rstrip(".")
    raise _misread(
        f"{shown(stripped)} is not in decimal degrees; it is {decimal}.", f"{wanted}, {ways}", _EXAMPLES[axis],
        f"Write {decimal}.",
    )  # fmt: skip


_EXAMPLES = {"latitude": "57.31", "longitude": "-9.84"}


def _tame(mantissa: str, exponent: str) -> bool:
    return bool(re.fullmatch(r"[-+]?\d+([.,]\d+)?", mantissa)) and abs(int(exponent)) <= 9


def _misread(message: str, wanted: str, example: str, step: str) -> Misread:
    return Misread(Trouble(message, wanted, example, step))


def digits(value: float) -> str:
    """Six significant digits, without an exponent."""
    if value == 0:
        return "0"
    return f"{Decimal(f'{value:.6g}'):f}"
