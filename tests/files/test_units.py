"""The table of units against pint, an independent library of units; what pint lacks by its definition."""

from __future__ import annotations

import pint
import pytest

from schedgen.files import units
from schedgen.files.units import DIMENSIONS, Dimension

PINT = {
    "degC": "degC", "°C": "degC", "degF": "degF", "°F": "degF", "K": "kelvin", "%": "percent", "ppm": "ppm",
    "ohm": "ohm", "byte": "byte", "bit/s": "bit/second", "byte/s": "byte/second", "d": "day", "h": "hour",
    "Ah": "ampere*hour",
    "mAh": "milliampere*hour", "Wh": "watt*hour", "mWh": "milliwatt*hour", "kWh": "kilowatt*hour", "kn": "knot",
    "t": "tonne", "lbf": "force_pound", "lb": "pound", "ft": "foot", "L": "liter", "mL": "milliliter",
    "kg/L": "kg/liter",
    "g/mL": "g/milliliter", "g/L": "g/liter", "km/h": "km/hour", "min": "minute", "psi": "psi",
    "ppm/K2": "ppm/kelvin**2", "ppm/degC2": "ppm/kelvin**2", "ppm/K²": "ppm/kelvin**2",
    "m/min": "m/minute", "dbar": "decibar", "bar": "bar", "mbar": "millibar", "dm3": "dm**3", "ft/s": "foot/second",
}  # fmt: skip
BASES = {"": "dimensionless", "1/K2": "1/kelvin**2", **PINT}


@pytest.fixture(scope="module")
def registry() -> pint.UnitRegistry:
    return pint.UnitRegistry()


def pints(symbol: str) -> str:
    if symbol in PINT:
        return PINT[symbol]
    plain = symbol.replace("²", "**2").replace("³", "**3").replace("Ω", "ohm").replace("\u2126", "ohm")
    if plain.endswith(("2", "3")) and "**" not in plain:
        plain = f"{plain[:-1]}**{plain[-1]}".replace("ft", "foot")
    if plain.endswith("B/s"):
        return plain.removesuffix("B/s") + "byte/second"
    if plain.endswith("B"):
        return plain.removesuffix("B") + "byte"
    return plain


@pytest.mark.parametrize("dimension", DIMENSIONS, ids=lambda dimension: dimension.name)
def test_each_unit_agrees_with_pint(dimension: Dimension, registry: pint.UnitRegistry) -> None:
    base = BASES.get(dimension.base, pints(dimension.base))
    if dimension.base == "m3":
        base = "m**3"
    for symbol, unit in dimension.units.items():
        for value in (1.0, 12.5):
            theirs = registry.Quantity(value, pints(symbol)).to(base).magnitude
            assert value * float(unit.scale) + float(unit.offset) == pytest.approx(theirs, rel=1e-9), symbol


def test_no_symbol_belongs_to_two_dimensions_but_percent() -> None:
    seen: dict[str, str] = {}
    for dimension in DIMENSIONS:
        for symbol in dimension.units:
            assert symbol == "%" or symbol not in seen, symbol
            seen[symbol] = dimension.name


def test_prefixes_are_decimal() -> None:
    assert units.DATA.units["GB"].scale == 10**9
    assert not any("i" in symbol for symbol in units.DATA.units)
