"""Field types for the models of dive, board and cell files: text in, checked value out, JSON Schema beside it.

Use them as annotations (`power: Power`), or with bounds of your own::

    depth: Annotated[Quantity, Of(LENGTH, above=0, most=11_000)]

Bounds are in base units and hold for the whole interval; a value outside gives a message with the bound.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable
from typing import Annotated, Any, Literal

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic_core import CoreSchema, core_schema

from schedgen.files import units
from schedgen.files.complaints import Hint
from schedgen.files.numerals import count, refuse_sexagesimal, yes_or_no
from schedgen.files.quantity import Quantity, base_unit, parse, write_value
from schedgen.files.trouble import Misread, Trouble, shown
from schedgen.files.units import Dimension

_UNSIGNED = r"(?:0|[1-9][0-9]*)(?:\.[0-9]+)?"


class Reads(Hint):
    """Annotation of a field whose text is read by a function of ours; values already read pass through."""

    def __init__(
        self,
        read: Callable[[str], Any],
        kind: type | tuple[type, ...],
        expected: str,
        example: str,
        schema: dict[str, Any] | None = None,
    ) -> None:
        super().__init__(expected, example)
        self._read = read
        self._kind = kind
        self._schema = schema or {"type": "string"}

    def take(self, value: Any) -> Any:
        """`value` read and checked. Raises `Misread`."""
        if isinstance(value, str):
            return self._read(value)
        if isinstance(value, self._kind) and (self._kind is bool or not isinstance(value, bool)):
            return value
        got = "a list" if isinstance(value, list) else "a mapping" if isinstance(value, dict) else repr(value)
        raise Misread(
            Trouble(f"One value is wanted here, not {got}.", self.expected, self.example, "Write it after the colon.")
        )

    def __get_pydantic_core_schema__(self, source: Any, handler: GetCoreSchemaHandler) -> CoreSchema:
        """Pydantic reads the field with `take`."""
        return core_schema.no_info_plain_validator_function(self.take)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> dict[str, Any]:
        """What editors are told about the text."""
        return {**self._schema, "description": self.expected, "examples": [self.example]}


class Of(Reads):
    """Annotation of a `Quantity`: its dimension and bounds (base units; `above` and `below` exclude the bound)."""

    def __init__(
        self,
        dimension: Dimension,
        *,
        above: float | None = None,
        least: float | None = None,
        most: float | None = None,
        below: float | None = None,
        exact: bool = False,
        because: str = "",
        example: str = "",
    ) -> None:
        self.dimension = dimension
        self.bounds = (above, least, most, below)
        self._exact = exact
        self._because = because
        expected = f"{dimension.name}{self._bounds_text()}"
        super().__init__(self._parse, Quantity, expected, example or dimension.example, _schema_of(dimension))

    def _parse(self, text: str) -> Quantity:
        value = parse(text, self.dimension)
        self._check(value, text.strip())
        return value

    def _check(self, value: Quantity, text: str) -> None:
        above, least, most, below = self.bounds
        for bad, bound, word in (
            (above is not None and value.low <= above, above, "above"),
            (least is not None and value.low < least, least, "at least"),
            (most is not None and value.high > most, most, "at most"),
            (below is not None and value.high >= below, below, "below"),
        ):
            if bad and bound is not None:
                reach = "" if value.low == value.high else f" (it reaches from {_ends(value)})"
                reason = f" ({self._because})" if self._because else ""
                limit = write_value(bound, value.unit)
                raise Misread(
                    Trouble(
                        f"{shown(text)} must be {word} {limit}{reason}{reach}.",
                        self.expected,
                        self.example,
                        f"Write a value {word} {limit}.",
                    )
                )
        if self._exact and value.low != value.high:
            raise Misread(
                Trouble(
                    f"{shown(text)} must be one exact value here.",
                    self.expected,
                    self.example,
                    "Leave the tolerance out.",
                )
            )

    def _bounds_text(self) -> str:
        unit = base_unit(self.dimension)
        words = ("above", "at least", "at most", "below")
        parts = [
            f"{word} {write_value(bound, unit)}"
            for word, bound in zip(words, self.bounds, strict=True)
            if bound is not None
        ]
        return f", {' and '.join(parts)}" if parts else ""


def _ends(value: Quantity) -> str:
    return f"{write_value(value.low, value.unit)} to {write_value(value.high, value.unit)}"


def _schema_of(dimension: Dimension) -> dict[str, Any]:
    if not dimension.units:
        form = rf"-?{_UNSIGNED}"
        return {
            "anyOf": [
                {"type": "number"},
                {"type": "string", "pattern": rf"^(about )?{form}( *(±|\+/-) *{_UNSIGNED} ?%?| *\.\. *{form})?$"},
            ]
        }
    symbols = "|".join(re.escape(unit).replace(r"\-", "-") for unit in dimension.units)
    one = rf"-? ?{_UNSIGNED} ?({symbols})"
    if dimension.compound:
        one += rf"( ?{_UNSIGNED} ?({symbols}))*"
    percent = "" if dimension is units.SHARE else "|%"
    half = rf"{_UNSIGNED} ?({symbols}{percent})( ?{_UNSIGNED} ?({symbols}))*"
    return {"type": "string", "pattern": rf"^(about )?{one}( *(±|\+/-) *{half}| *\.\. *{one})?$"}


Duration = Annotated[Quantity, Of(units.DURATION, least=0)]
Power = Annotated[Quantity, Of(units.POWER, least=0)]
Voltage = Annotated[Quantity, Of(units.VOLTAGE, above=0)]
Current = Annotated[Quantity, Of(units.CURRENT, least=0)]
Resistance = Annotated[Quantity, Of(units.RESISTANCE, least=0)]
Charge = Annotated[Quantity, Of(units.CHARGE, above=0)]
Energy = Annotated[Quantity, Of(units.ENERGY, least=0)]
Temperature = Annotated[Quantity, Of(units.TEMPERATURE, least=-273.15)]
Pressure = Annotated[Quantity, Of(units.PRESSURE, least=0)]
Length = Annotated[Quantity, Of(units.LENGTH, least=0)]
SignedLength = Annotated[Quantity, Of(units.LENGTH)]
Area = Annotated[Quantity, Of(units.AREA, above=0)]
Volume = Annotated[Quantity, Of(units.VOLUME, above=0)]
Mass = Annotated[Quantity, Of(units.MASS, above=0)]
SignedMass = Annotated[Quantity, Of(units.MASS)]
Density = Annotated[Quantity, Of(units.DENSITY, above=0)]
Speed = Annotated[Quantity, Of(units.SPEED, least=0)]
Force = Annotated[Quantity, Of(units.FORCE, least=0)]
Frequency = Annotated[Quantity, Of(units.FREQUENCY, above=0)]
Rate = Annotated[Quantity, Of(units.RATE, above=0)]
Data = Annotated[Quantity, Of(units.DATA, above=0)]
ByteRate = Annotated[Quantity, Of(units.BYTE_RATE, above=0)]
Share = Annotated[Quantity, Of(units.SHARE, least=0, most=1)]
TinyShare = Annotated[Quantity, Of(units.TINY_SHARE, least=0, most=1)]
Curvature = Annotated[Quantity, Of(units.CURVATURE)]
Number = Annotated[Quantity, Of(units.NUMBER)]


class Whole(Reads):
    """Annotation of an `int` with bounds, both included."""

    def __init__(self, least: int | None = None, most: int | None = None, example: str = "") -> None:
        self._least = least
        self._most = most
        parts = [f"at least {least}" if least is not None else "", f"at most {most}" if most is not None else ""]
        expected = ", ".join(["a whole number", " and ".join(part for part in parts if part)]).rstrip(", ")
        schema = {"anyOf": [{"type": "integer"}, {"type": "string", "pattern": r"^-?(0|[1-9][0-9]*)$"}]}
        super().__init__(self._count, int, expected, example or str(least if least is not None else 3), schema)

    def _count(self, text: str) -> int:
        value = count(text, example=self.example)
        for bad, bound, word in (
            (self._least is not None and value < self._least, self._least, "at least"),
            (self._most is not None and value > self._most, self._most, "at most"),
        ):
            if bad:
                raise Misread(
                    Trouble(
                        f"{value} must be {word} {bound}.",
                        self.expected,
                        self.example,
                        f"Write a number {word} {bound}.",
                    )
                )
        return value


Count = Annotated[int, Whole(1, 1000)]
Integer = Annotated[int, Whole()]

YesNo = Annotated[
    bool, Reads(yes_or_no, bool, "yes or no", "yes", {"anyOf": [{"enum": ["yes", "no"]}, {"type": "boolean"}]})
]


def _filled(text: str) -> str:
    stripped = text.strip()
    if stripped.strip("?"):
        return stripped
    message = "This still has to be filled in." if stripped else "There is no text."
    raise Misread(Trouble(message, "a text", "Gannet Hole", "Write the text after the colon."))


_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_-]{0,31}")


def read_name(text: str) -> str:
    """A name: a letter, then letters, digits, `-` and `_`, at most 32 in all. Raises `Misread`."""
    if _NAME.fullmatch(text):
        return text
    if not text.strip("? "):
        raise Misread(Trouble("A name is missing here.", _NAME_EXPECTED, "camera", "Write the name."))
    plain = "".join(one for one in unicodedata.normalize("NFKD", text.strip()) if not unicodedata.combining(one))
    fixed = re.sub(r"[^A-Za-z0-9_-]+", "-", plain)[:32].strip("-")
    step = f"Write {fixed}." if _NAME.fullmatch(fixed) else "Begin with a letter."
    raise Misread(Trouble(f"{shown(text)} cannot be a name.", _NAME_EXPECTED, "camera", step))


_NAME_EXPECTED = "a letter, then letters, digits, - and _, at most 32 in all"

Text = Annotated[str, Reads(_filled, str, "a text", "Gannet Hole")]
Name = Annotated[
    str, Reads(read_name, str, _NAME_EXPECTED, "camera", {"type": "string", "pattern": f"^{_NAME.pattern}$"})
]


class Position(Of):
    """Annotation of latitude or longitude in decimal degrees; degrees and minutes get their decimal form shown."""

    def __init__(self, axis: Literal["latitude", "longitude"]) -> None:
        self._axis: Literal["latitude", "longitude"] = axis
        limit = 90 if axis == "latitude" else 180
        super().__init__(
            units.NUMBER, least=-limit, most=limit, because="degrees, north and east positive",
            example="57.31" if axis == "latitude" else "-9.84",
        )  # fmt: skip

    def _parse(self, text: str) -> Quantity:
        refuse_sexagesimal(text, self._axis)
        value = super()._parse(text)
        if value.guessed:
            raise Misread(
                Trouble(
                    f"{shown(text)}: a guess of +/- 30 % makes no sense for a position.",
                    self.expected,
                    self.example,
                    "Write the position, or position +/- degrees.",
                )
            )
        return value


Latitude = Annotated[Quantity, Position("latitude")]
Longitude = Annotated[Quantity, Position("longitude")]
