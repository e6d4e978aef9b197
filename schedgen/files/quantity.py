"""Quantities as the user writes them: a value with a unit, exact, with a tolerance, a range or a guess."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Literal

from schedgen.files.mistakes import know_unit, misread, no_number, no_unit, refuse_traps
from schedgen.files.numerals import NUMBER, digits, numeral
from schedgen.files.trouble import shown
from schedgen.files.units import DURATION, SHARE, TEMPERATURE, TINY_SHARE, Dimension, canonical

Form = Literal["exact", "tolerance", "range", "guess"]

_WRITTEN_AS = {
    "m3": ("L", 1e3),
    "byte": ("GB", 1e-9),
    "byte/s": ("MB/s", 1e-6),
    "bit/s": ("Mbit/s", 1e-6),
    "1/K2": ("ppm/K2", 1e6),
}
"""Base units that nobody writes, the usual unit and how many of it make one."""

GUESS = Fraction(3, 10)
"""`about` is this share of the value either way."""

_PLUS_MINUS = re.compile(r"\s*(?:±|\+\s*/\s*[-\u2212])\s*")
_RANGE = re.compile(r"\s*(?<!\.)\.\.(?!\.)\s*")
_PART = re.compile(rf"\s*(?P<number>{NUMBER})\s*(?P<unit>[^\s\d+\-.,±][^\s]*?(?=\s|\d+\s*(?:ms|us|s|min|h|d)\b|$))?")


@dataclass(frozen=True, slots=True)
class Quantity:
    """A value as an interval in the base unit of its dimension.

    Base units: s, W, V, A, ohm, Ah, Wh, degC, dbar, m, m2, m3, kg, kg/m3, m/s, N, Hz, bit/s, byte,
    a share as a fraction (98 % is 0.98), ppm as a fraction (20 ppm is 2e-5), bare numbers as themselves.
    """

    low: float
    nominal: float
    high: float
    form: Form = "exact"
    text: str = ""
    unit: str = field(default="", compare=False)
    """The base unit; "%" or "ppm" for shares (which are fractions all the same), empty for bare numbers."""

    @property
    def guessed(self) -> bool:
        """True for `about ...`, which counts as +/- 30 %."""
        return self.form == "guess"

    def written(self) -> str:
        """Short text that reads back as the same interval (to 6 digits): `7.03 W .. 7.77 W`, `1 h 20 min`."""
        if self.form == "guess":
            return f"about {write_value(self.nominal, self.unit)}"
        if self.low == self.high:
            return write_value(self.nominal, self.unit)
        return f"{write_value(self.low, self.unit)} .. {write_value(self.high, self.unit)}"

    def __str__(self) -> str:
        """As the user wrote it, else `written()`."""
        return self.text or self.written()


def write_value(value: float, unit: str) -> str:
    """`value` of base unit `unit` as the language writes it: `12.5 W`, `98 %`, `1 h 20 min`, `51.5 L`."""
    if unit == "%":
        return f"{digits(value * 100)} %"
    if unit == "ppm":
        return f"{digits(value * 1e6)} ppm"
    if unit == "s":
        return write_duration(value)
    if unit in _WRITTEN_AS:
        usual, factor = _WRITTEN_AS[unit]
        return f"{digits(value * factor)} {usual}"
    return f"{digits(value)} {unit}".rstrip()


def base_unit(dimension: Dimension) -> str:
    """The base unit as `Quantity.unit` has it: "%" and "ppm" for shares, whose values are fractions."""
    return {SHARE.name: "%", TINY_SHARE.name: "ppm"}.get(dimension.name, dimension.base)


def write_duration(seconds: float) -> str:
    """Seconds as `2 d 3 h 20 min 5 s`, parts of zero left out; `0 s` for nothing; thousandths kept."""
    sign = "-" if seconds < 0 else ""
    thousandths = round(abs(seconds) * 1000)
    whole, rest = divmod(thousandths, 1000)
    parts = []
    for unit, size in (("d", 86400), ("h", 3600), ("min", 60)):
        count, whole = divmod(whole, size)
        if count:
            parts.append(f"{count} {unit}")
    if whole or rest or not parts:
        parts.append(f"{digits(whole + rest / 1000)} s")
    return sign + " ".join(parts)


def parse(text: str, dimension: Dimension) -> Quantity:
    """`text` as a quantity of `dimension`, in base units.

    Raises `Misread` with one trouble that says what was read, what is expected, an example and what to write.
    """
    stripped = text.strip()
    if not stripped:
        raise misread(f"There is no value; {dimension.name} is wanted.", dimension, "Write the value after the colon.")
    refuse_traps(stripped, dimension)
    guess, rest = _about(stripped)
    pieces = _PLUS_MINUS.split(rest)
    ends = _RANGE.split(rest)
    if len(pieces) + len(ends) + guess > 3:
        raise misread(
            f"{shown(stripped)} mixes two forms.", dimension, "Choose one: a tolerance, a range, or about."
        )  # fmt: skip
    if guess:
        return _guess(stripped, rest, dimension)
    if len(pieces) == 2:
        return _tolerance(stripped, pieces[0], pieces[1], dimension)
    if len(ends) == 2:
        return _range(stripped, ends[0], ends[1], dimension)
    value = _value(rest, dimension)[0]
    return _quantity(value, value, value, "exact", stripped, dimension)


def parse_duration(text: str) -> float:
    """Exact seconds of a plain duration such as `1 h 20 min`. Raises `Misread`."""
    return float(_value(text.strip(), DURATION)[0])


def _quantity(
    low: Fraction, nominal: Fraction, high: Fraction, form: Form, text: str, dimension: Dimension
) -> Quantity:
    unit = base_unit(dimension)
    return Quantity(float(low), float(nominal), float(high), form, text, unit)


def _about(text: str) -> tuple[bool, str]:
    head, _, rest = text.partition(" ")
    return (True, rest.strip()) if head.lower() == "about" else (False, text)


def _guess(text: str, rest: str, dimension: Dimension) -> Quantity:
    value, _ = _value(rest, dimension)
    if dimension is TEMPERATURE:
        low, high = digits(float(value) - 3), digits(float(value) + 3)
        raise misread(
            f"{shown(text)}: a guess of +/- 30 % makes no sense for a temperature.", dimension,
            f"Write the range that you are sure of, such as {low} degC .. {high} degC.",
        )  # fmt: skip
    if value == 0:
        raise misread(f"{shown(text)}: 30 % of nothing is nothing.", dimension, "Write the range, or the value alone.")
    spread = abs(value) * GUESS
    if dimension is SHARE and value + spread > 1:
        low = digits(float(value - spread) * 100)
        raise misread(
            f"{shown(text)}: +/- 30 % of it reaches {digits(float(value + spread) * 100)} %, which is above 100 %.",
            dimension, f"Write a range, such as {low} % .. 100 %.",
        )  # fmt: skip
    return _quantity(value - spread, value, value + spread, "guess", text, dimension)


def _tolerance(text: str, left: str, right: str, dimension: Dimension) -> Quantity:
    value, unit = _value(left, dimension)
    half = _half_width(text, value, unit, right, dimension)
    if half < 0:
        raise misread(
            f"{shown(text)}: the tolerance is negative.", dimension, "Write the half-width of the interval, above 0."
        )
    return _quantity(value - half, value, value + half, "tolerance", text, dimension)


def _half_width(text: str, value: Fraction, unit: str, right: str, dimension: Dimension) -> Fraction:
    percent = re.fullmatch(rf"({NUMBER})\s*%", right.strip())
    if percent and unit != "%":
        share = numeral(percent[1], dimension.name, dimension.example) / 100
        if dimension is TEMPERATURE:
            raise misread(
                f"{shown(text)}: a tolerance in % makes no sense for a temperature.", dimension,
                "Write it in degrees, such as +/- 0.5 degC.",
            )  # fmt: skip
        return abs(value) * share
    if not dimension.units:
        return numeral(right.strip(), dimension.name, dimension.example)
    return _value(right, dimension, difference=True)[0]


def _range(text: str, left: str, right: str, dimension: Dimension) -> Quantity:
    _refuse_shared_unit(text, left, right, dimension)
    low, _ = _value(left, dimension)
    high, _ = _value(right, dimension)
    if low > high:
        raise misread(
            f"{shown(text)}: the range runs backwards.", dimension, f"Write {right.strip()} .. {left.strip()}."
        )
    return _quantity(low, (low + high) / 2, high, "range", text, dimension)


def _refuse_shared_unit(text: str, left: str, right: str, dimension: Dimension) -> None:
    """`60 .. 80 %`: the message shows the unit on both ends."""
    if dimension.units and re.fullmatch(NUMBER, left.strip()):
        found = re.fullmatch(rf"\s*{NUMBER}\s*(\D+)", right)
        if found and canonical(found[1].strip()) in dimension.units:
            raise misread(
                f"{shown(text)}: the first value has no unit.", dimension,
                f"Write {left.strip()} {found[1].strip()} .. {right.strip()}.",
            )  # fmt: skip


def _value(text: str, dimension: Dimension, difference: bool = False) -> tuple[Fraction, str]:
    """One value (several parts only where the dimension is compound), in base units, and its last unit."""
    if not dimension.units:
        return _bare(text, dimension), ""
    bare = text.strip()
    sign, body = (-1, bare[1:]) if bare.startswith("-") else (1, bare)
    parts = _parts(body, bare, sign, dimension)
    total = Fraction(0)
    for index, (number, symbol) in enumerate(parts):
        unit = dimension.units[symbol]
        total += sign * number * unit.scale
        if index and (not dimension.compound or unit.scale >= dimension.units[parts[index - 1][1]].scale):
            step = (
                "Write the largest unit first, each once." if dimension.compound else "Write one number and one unit."
            )
            raise misread(f"{shown(bare)} is not one value.", dimension, step)
    last = parts[-1][1]
    return total if difference else total + dimension.units[last].offset, last


def _parts(body: str, text: str, sign: int, dimension: Dimension) -> list[tuple[Fraction, str]]:
    """The pairs of number and unit symbol in `body`, one at least."""
    found: list[tuple[Fraction, str]] = []
    position = 0
    while position < len(body):
        match = _PART.match(body, position)
        if match is None or (match["number"][0] in "+-" and (found or sign < 0)):
            raise no_number(text, dimension)
        symbol = match["unit"]
        number = numeral(match["number"], dimension.name, dimension.example, f" {symbol}" if symbol else "")
        if symbol is None:
            raise no_unit(text, match["number"], body, match.end(), dimension)
        know_unit(symbol, match["number"], text, dimension)
        found.append((number, canonical(symbol)))
        position = match.end()
    if not found:
        raise no_number(text, dimension)
    return found


def _bare(text: str, dimension: Dimension) -> Fraction:
    match = re.fullmatch(rf"({NUMBER})\s*(\S.*)?", text.strip())
    if match is None:
        raise no_number(text, dimension)
    value = numeral(match[1], dimension.name, dimension.example)
    if match[2]:
        raise misread(
            f"{shown(text.strip())}: {dimension.name} is wanted here, without {shown(match[2])}.", dimension,
            f"Write {match[1]}.",
        )  # fmt: skip
    return value
