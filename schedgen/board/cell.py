"""The pydantic model of a cell file: what a cell of the library is, each table with its source.

Tables hold bare numbers whose unit is in the key: `charge_percent`, `volts`, `milliohms` with a row for each
temperature. A table that does not fall with charge, and every other one that cannot be, is refused at its place.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cached_property
from itertools import pairwise
from typing import Annotated, Any, Literal

from pydantic import PlainValidator, WithJsonSchema, model_validator

from schedgen.board.model import Part
from schedgen.errors import OutOfRange
from schedgen.files.fields import (
    Charge,
    Current,
    Duration,
    Length,
    Mass,
    Name,
    Share,
    Temperature,
    Text,
    Voltage,
    Whole,
)
from schedgen.files.quantity import Quantity, parse
from schedgen.files.trouble import Misread, Trouble, shown
from schedgen.files.units import CURRENT, SHARE, TEMPERATURE
from schedgen.physics.cell import CellTables, Curves
from schedgen.physics.pack import HYSTERESIS_V, charge_from_rest

MOST_KNOTS = 1001


def _number(text: Any, where: tuple[str | int, ...]) -> float:
    try:
        value = float(text) if isinstance(text, (str, int, float)) and not isinstance(text, bool) else float("nan")
    except ValueError:
        value = float("nan")
    if not -1e9 < value < 1e9:
        raise Misread(
            Trouble(f"{shown(str(text))} is not a number.", "bare numbers; the unit is in the key", "[2.8, 3.4, 4.2]",
                    "Write a number.", where)
        )  # fmt: skip
    return value


def read_numbers(value: Any) -> tuple[float, ...]:
    """A list of bare numbers. Raises `Misread`."""
    if not isinstance(value, (list, tuple)) or not 2 <= len(value) <= MOST_KNOTS:
        raise Misread(
            Trouble("A list of numbers is wanted here.", f"2 to {MOST_KNOTS} bare numbers", "[0, 50, 100]",
                    "Write the numbers in square brackets.")
        )  # fmt: skip
    return tuple(_number(item, (index,)) for index, item in enumerate(value))


def _by_temperature(read: Callable[[Any, str], Any]) -> Callable[[Any], dict[float, Any]]:
    """A reader of mappings whose keys are temperatures; rows come back by rising temperature [degC]."""

    def rows(value: Any) -> dict[float, Any]:
        if not isinstance(value, Mapping) or not value:
            raise Misread(
                Trouble("Rows by temperature are wanted here.", "a mapping with a temperature as each key",
                        "{-20 degC: ..., 25 degC: ...}", "Write one row for each temperature.")
            )  # fmt: skip
        found: dict[float, Any] = {}
        for key, item in value.items():
            try:
                warmth = key if isinstance(key, float) else parse(key, TEMPERATURE).nominal
                found[warmth] = read(item, str(key))
            except Misread as error:
                raise Misread(*(_moved(trouble, str(key)) for trouble in error.troubles)) from None
        return dict(sorted(found.items()))

    return rows


def _moved(trouble: Trouble, key: str) -> Trouble:
    return Trouble(trouble.message, trouble.expected, trouble.example, trouble.next, (key, *trouble.where))


def _ohm_row(value: Any, _: str) -> tuple[float, ...]:
    row = read_numbers(value)
    for index, milliohm in enumerate(row):
        if not milliohm > 0.0:
            raise Misread(
                Trouble(f"A resistance of {milliohm:g} milliohm cannot be.", "above 0 milliohm", "24.5",
                        "Correct the number.", (index,))
            )  # fmt: skip
    return row


def _amp_row(value: Any, _: str) -> float:
    return value if isinstance(value, float) else parse(str(value), CURRENT).nominal


_Numbers = Annotated[
    tuple[float, ...],
    PlainValidator(read_numbers),
    WithJsonSchema({"type": "array", "items": {"type": "number"}, "minItems": 2}),
]
_Ohms = Annotated[
    dict[float, tuple[float, ...]],
    PlainValidator(_by_temperature(_ohm_row)),
    WithJsonSchema(
        {"type": "object", "additionalProperties": {"type": "array", "items": {"type": "number"}, "minItems": 2}}
    ),
]
_Amps = Annotated[
    dict[float, float],
    PlainValidator(_by_temperature(_amp_row)),
    WithJsonSchema({"type": "object", "additionalProperties": {"type": "string"}}),
]


def _check_charge(values: tuple[float, ...]) -> None:
    where = ("charge_percent",)
    if values[0] != 0.0 or values[-1] != 100.0:
        raise Misread(
            Trouble(f"The charges run from {values[0]:g} to {values[-1]:g} %.", "0 first and 100 last", "[0, 50, 100]",
                    "Let the table cover the whole charge.", where)
        )  # fmt: skip
    for index, (before, after) in enumerate(pairwise(values), 1):
        if not after > before:
            raise Misread(
                Trouble(f"The charges must rise: {after:g} stands after {before:g} %.", f"above {before:g}", "",
                        "Sort the table by charge.", (*where, index))
            )  # fmt: skip


def _check_length(count: int, wanted: int, where: tuple[str | int, ...]) -> None:
    if count != wanted:
        raise Misread(
            Trouble(f"There are {count} numbers here for {wanted} charges.", f"{wanted} numbers", "",
                    "Give each charge its number.", where)
        )  # fmt: skip


class OpenCircuit(Part):
    """Rested voltage over charge: `volts` rises strictly with `charge_percent` (it falls as the cell empties)."""

    source: Text
    charge_percent: _Numbers
    volts: _Numbers

    @model_validator(mode="after")
    def _checked(self) -> OpenCircuit:
        _check_charge(self.charge_percent)
        _check_length(len(self.volts), len(self.charge_percent), ("volts",))
        for index, (before, after) in enumerate(pairwise(self.volts), 1):
            if not after > before:
                raise Misread(
                    Trouble(
                        f"The open-circuit voltage does not fall with charge: {after:g} V at "
                        f"{self.charge_percent[index]:g} % but {before:g} V at {self.charge_percent[index - 1]:g} %.",
                        f"above {before:g} V", "", "Correct the number, or sort the table by charge.", ("volts", index),
                    )
                )  # fmt: skip
        return self


class Ohms(Part):
    """A resistance over charge, one row for each temperature."""

    source: Text
    charge_percent: _Numbers
    milliohms: _Ohms

    @model_validator(mode="after")
    def _checked(self) -> Ohms:
        _check_charge(self.charge_percent)
        for warmth, row in self.milliohms.items():
            _check_length(len(row), len(self.charge_percent), ("milliohms", f"{warmth:g} degC"))
        return self

    def ohms(self) -> list[list[float]]:
        """Rows by rising temperature [ohm]."""
        return [[value / 1000.0 for value in row] for row in self.milliohms.values()]


class Relaxation(Ohms):
    """The relaxation branch: its resistance, and the time constant that it keeps everywhere."""

    time_constant: Duration


class ColdShare(Part):
    """Share of the charge that the cold leaves within reach, beyond what the resistance tables take."""

    nominal: Share
    pessimistic: Share


def _read_cold(value: Any) -> Any:
    """Rows of cold shares by temperature [degC]."""

    def row(item: Any, _: str) -> ColdShare:
        if isinstance(item, ColdShare):
            return item
        if not isinstance(item, Mapping) or set(item) != {"nominal", "pessimistic"}:
            raise Misread(
                Trouble("Two shares are wanted here.", "the keys nominal and pessimistic",
                        "{nominal: 100 %, pessimistic: 80 %}", "Write both shares.")
            )  # fmt: skip
        shares: dict[str, Quantity] = {}
        for name, text in item.items():
            try:
                shares[name] = parse(str(text), SHARE)
            except Misread as error:
                raise Misread(*(_moved(trouble, name) for trouble in error.troubles)) from None
            if not 0.0 < shares[name].low <= shares[name].high <= 1.0:
                raise Misread(
                    Trouble(f"{shown(str(text))} cannot be.", "above 0 % and at most 100 %", "80 %", "", (name,))
                )
        if shares["pessimistic"].nominal > shares["nominal"].nominal:
            raise Misread(
                Trouble("The pessimistic share is above the nominal one.", f"at most {item['nominal']}", "",
                        "Exchange the two.", ("pessimistic",))
            )  # fmt: skip
        return ColdShare(**shares)

    return _by_temperature(row)(value)


_Cold = Annotated[
    dict[float, ColdShare],
    PlainValidator(_read_cold),
    WithJsonSchema({"type": "object", "additionalProperties": ColdShare.model_json_schema()}),
]


class ColdCapacity(Part):
    """Cold shares by temperature; between rows linear, outside them the last row."""

    source: Text
    rows: _Cold


class Cell(Part):
    """A cell, as a cell file describes it.

    `capacity` is what the label promises at 25 degC and C/5; `full` the charging voltage, `cut_off` the voltage at
    which it counts as empty, `nominal` the label's voltage. `self_discharge` is the share lost a month near 20 degC.
    """

    format: Annotated[int, Whole(1, 1)]
    cell: Name
    chemistry: Literal["nmc", "lfp"]
    size: Text
    notes: Text | None = None
    capacity: Charge
    nominal: Voltage
    cut_off: Voltage
    full: Voltage
    rated_current: Current
    rated_current_by_temperature: _Amps | None = None
    rated_temperature: Temperature
    mass: Mass
    diameter: Length
    length: Length
    resistance_spread: Share
    self_discharge: Share
    open_circuit: OpenCircuit
    resistance: Ohms
    relaxation: Relaxation
    cold_capacity: ColdCapacity

    @model_validator(mode="after")
    def _checked(self) -> Cell:
        if not self.cut_off.nominal < self.nominal.nominal < self.full.nominal:
            raise Misread(
                Trouble(f"The voltages do not rise: cut_off {self.cut_off.text}, nominal {self.nominal.text}, "
                        f"full {self.full.text}.", "cut_off below nominal below full", "", "Correct them.",
                        ("nominal",))
            )  # fmt: skip
        volts = self.open_circuit.volts
        if volts[-1] > self.full.nominal + 1e-9:
            raise Misread(
                Trouble(f"A full cell rests at {volts[-1]:g} V, above its charging voltage {self.full.text}.",
                        f"at most {self.full.text}", "", "Correct the last number, or full.",
                        ("open_circuit", "volts", len(volts) - 1))
            )  # fmt: skip
        if volts[-1] <= self.cut_off.nominal:
            raise Misread(
                Trouble(f"A full cell rests at {volts[-1]:g} V, which is not above cut_off.",
                        f"above {self.cut_off.text}", "", "Correct the last number, or cut_off.",
                        ("open_circuit", "volts", len(volts) - 1))
            )  # fmt: skip
        if (self.resistance.charge_percent, list(self.resistance.milliohms)) != (
            self.relaxation.charge_percent, list(self.relaxation.milliohms),
        ):  # fmt: skip
            raise Misread(
                Trouble("resistance and relaxation differ in their charges or temperatures.",
                        "the same charge_percent and the same temperatures in both", "", "Bring them to one grid.",
                        ("relaxation",))
            )  # fmt: skip
        if self.relaxation.time_constant.low <= 0.0:
            raise Misread(Trouble("A time constant of 0 s cannot be.", "above 0 s", "300 s", "",
                                  ("relaxation", "time_constant")))  # fmt: skip
        if self.resistance_spread.high > 0.5:
            raise Misread(Trouble(f"{self.resistance_spread.text} is too wide a spread.", "0 % to 50 %", "15 %", "",
                                  ("resistance_spread",)))  # fmt: skip
        try:
            _ = self.tables
        except OutOfRange as error:
            raise Misread(
                Trouble(f"The rows over temperature are too steep: {error.message}.", "rows that change smoothly", "",
                        "Correct the rows, or leave out one of two that lie close together.",
                        ("resistance", "milliohms"))
            ) from None  # fmt: skip
        return self

    @cached_property
    def tables(self) -> CellTables:
        """The tables on uniform grids, made once."""
        return CellTables(self._curves())

    def _curves(self) -> Curves:
        cold = self.cold_capacity.rows
        return Curves(
            [value / 100.0 for value in self.open_circuit.charge_percent], self.open_circuit.volts,
            [value / 100.0 for value in self.resistance.charge_percent], list(self.resistance.milliohms),
            self.resistance.ohms(), self.relaxation.ohms(), self.relaxation.time_constant.nominal, list(cold),
            [row.nominal.nominal for row in cold.values()], [row.pessimistic.nominal for row in cold.values()],
        )  # fmt: skip

    def rated_current_at(self, temperature_c: float) -> float:
        """Greatest discharge current [A] at a cell temperature [degC].

        Linear between the rows of the file, the last row outside them; `rated_current` where it has no rows.
        """
        rows = self.rated_current_by_temperature
        if not rows:
            return self.rated_current.low
        knots = list(rows.items())
        if temperature_c <= knots[0][0]:
            return knots[0][1]
        for (cold, low), (warm, high) in pairwise(knots):
            if temperature_c <= warm:
                return low + (high - low) * (temperature_c - cold) / (warm - cold)
        return knots[-1][1]

    def charge_from_rest(self, rest_voltage: Quantity, series: int, rested_s: float) -> Quantity:
        """Charge of a pack [share] from its rested voltage [V], with what the rest leaves uncertain.

        `rested_s` [s], at least 30 min. Raises `OutOfRange`. Source: `schedgen.physics.pack.charge_from_rest`; the
        voltage's dependence on the way there is 5 mV a cell for nmc, 10 mV for lfp (from memory).
        """
        volts = (rest_voltage.low, rest_voltage.nominal, rest_voltage.high)
        capacity, stray = self.capacity.nominal, HYSTERESIS_V[self.chemistry]
        low, nominal, high = charge_from_rest(self.tables, volts, series, rested_s, capacity, stray)
        return Quantity(low, nominal, high, "tolerance", rest_voltage.text)

    @property
    def energy_wh(self) -> float:
        """Label energy: capacity x nominal voltage [Wh]."""
        return self.capacity.nominal * self.nominal.nominal
