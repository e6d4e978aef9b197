"""The units of the language: symbol to exact factor of the base unit, by dimension.

SI symbols with decimal prefixes, and the few others that `Quantities` in the user's manual lists. Factors
are exact rationals; their sources: SI Brochure 9th ed. (prefixes, min h d L t), international foot 0.3048 m and
pound 0.45359237 kg (agreement of 1959), standard gravity 9.80665 m/s2 (CGPM 1901) for lbf and psi,
international nautical mile 1852 m for kn. Held against pint in the tests.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from functools import cache

F = Fraction
_ONE = Fraction(1)
_PREFIXES = {"u": F(1, 10**6), "m": F(1, 1000), "": F(1), "k": F(1000), "M": F(10**6), "G": F(10**9), "T": F(10**12)}
_GRAVITY = F("9.80665")
_POUND = F("0.45359237")
_FOOT = F("0.3048")
_INCH = _FOOT / 12


@dataclass(frozen=True, slots=True)
class Unit:
    """`value x scale + offset` is the value in the base unit; a difference takes only the scale."""

    scale: Fraction
    offset: Fraction = Fraction(0)


@dataclass(frozen=True)
class Dimension:
    """One kind of quantity. `name` with its article, `base` the base unit, `example` a typical value."""

    name: str
    base: str
    units: Mapping[str, Unit]
    example: str
    likely: tuple[str, ...]
    """Spellings offered when the unit is missing."""
    other_names: Mapping[str, str] = field(default_factory=dict)
    """What people write instead, and the symbol that they mean."""
    compound: bool = False
    """`1 h 20 min` is one value."""


def _prefixed(symbol: str, prefixes: str, scale: Fraction = _ONE) -> dict[str, Unit]:
    return {prefix + symbol: Unit(scale * _PREFIXES[prefix]) for prefix in [p.strip() for p in prefixes.split(",")]}


def _units(**scales: Fraction) -> dict[str, Unit]:
    return {name: Unit(scale) for name, scale in scales.items()}


DURATION = Dimension(
    "a duration", "s",
    _prefixed("s", "u,m,") | _units(min=F(60), h=F(3600), d=F(86400)),
    "1 h 20 min", ("min", "h", "s"),
    {"sec": "s", "secs": "s", "second": "s", "seconds": "s", "mins": "min", "minute": "min", "minutes": "min",
     "hr": "h", "hrs": "h", "hour": "h", "hours": "h", "day": "d", "days": "d", "m": "min", "M": "min"},
    compound=True,
)  # fmt: skip
POWER = Dimension("a power", "W", _prefixed("W", "u,m,,k,M"), "7 W", ("W", "mW"), {"watt": "W", "watts": "W"})
VOLTAGE = Dimension("a voltage", "V", _prefixed("V", "u,m,,k"), "11.1 V", ("V", "mV"), {"volt": "V", "volts": "V"})
CURRENT = Dimension(
    "a current", "A", _prefixed("A", "u,m,,k"), "250 mA", ("A", "mA", "uA"),
    {"amp": "A", "amps": "A", "ampere": "A", "amperes": "A"},
)  # fmt: skip
RESISTANCE = Dimension(
    "a resistance", "ohm",
    _prefixed("ohm", "u,m,,k,M") | _prefixed("Ω", "u,m,,k,M") | _prefixed("\u2126", "u,m,,k,M"),
    "25 mohm", ("ohm", "mohm", "kohm"), {"ohms": "ohm", "k": "kohm", "R": "ohm"},
)  # fmt: skip
CHARGE = Dimension("a charge", "Ah", _prefixed("Ah", "m,"), "5 Ah", ("Ah", "mAh"), {"amp hours": "Ah"})
ENERGY = Dimension(
    "an energy", "Wh", _prefixed("Wh", "m,,k") | _prefixed("J", ",k,M", F(1, 3600)), "100 Wh", ("Wh", "kWh"),
    {"watt hours": "Wh"},
)  # fmt: skip
TEMPERATURE = Dimension(
    "a temperature", "degC",
    {"degC": Unit(F(1)), "°C": Unit(F(1)), "K": Unit(F(1), F("-273.15")),
     "degF": Unit(F(5, 9), F(-160, 9)), "°F": Unit(F(5, 9), F(-160, 9))},
    "4 degC", ("degC", "degF"),
    {"C": "degC", "F": "degF", "deg": "degC", "celsius": "degC", "degrees": "degC", "°": "degC", "fahrenheit": "degF",
     "deg C": "degC", "deg F": "degF", "kelvin": "K", "degK": "K", "℃": "degC"},
)  # fmt: skip
PRESSURE = Dimension(
    "a pressure", "dbar",
    {"dbar": Unit(F(1)), "bar": Unit(F(10)), "mbar": Unit(F(1, 100)), "psi": Unit(_POUND * _GRAVITY / _INCH**2 / 10**4)}
    | _prefixed("Pa", ",k,M", F(1, 10**4)) | {"hPa": Unit(F(1, 100))},
    "1500 dbar", ("dbar", "bar", "psi"), {"bars": "bar"},
)  # fmt: skip
LENGTH = Dimension(
    "a length", "m",
    _prefixed("m", "u,m,,k") | {"cm": Unit(F(1, 100)), "dm": Unit(F(1, 10)), "ft": Unit(_FOOT)},
    "320 m", ("m", "cm", "mm"),
    {"meter": "m", "meters": "m", "metre": "m", "metres": "m", "feet": "ft", "foot": "ft", "'": "ft"},
)  # fmt: skip
AREA = Dimension(
    "an area", "m2",
    {"m2": Unit(F(1)), "m²": Unit(F(1)), "cm2": Unit(F(1, 10**4)), "cm²": Unit(F(1, 10**4)),
     "mm2": Unit(F(1, 10**6)), "mm²": Unit(F(1, 10**6)), "dm2": Unit(F(1, 100)), "ft2": Unit(_FOOT**2)},
    "0.2 m2", ("m2", "cm2"), {"sqm": "m2", "m^2": "m2", "cm^2": "cm2", "sqft": "ft2"},
)  # fmt: skip
VOLUME = Dimension(
    "a volume", "m3",
    {"L": Unit(F(1, 1000)), "mL": Unit(F(1, 10**6)), "m3": Unit(F(1)), "m³": Unit(F(1)), "dm3": Unit(F(1, 1000)),
     "cm3": Unit(F(1, 10**6)), "cm³": Unit(F(1, 10**6)), "mm3": Unit(F(1, 10**9)), "ft3": Unit(_FOOT**3)},
    "48 L", ("L", "mL", "m3"),
    {"l": "L", "ml": "mL", "liter": "L", "liters": "L", "litre": "L", "litres": "L", "cc": "cm3", "m^3": "m3"},
)  # fmt: skip
MASS = Dimension(
    "a mass", "kg",
    {"kg": Unit(F(1)), "g": Unit(F(1, 1000)), "mg": Unit(F(1, 10**6)), "t": Unit(F(1000)), "lb": Unit(_POUND)},
    "42 kg", ("kg", "g", "lb"),
    {"kgs": "kg", "KG": "kg", "kilo": "kg", "kilos": "kg", "lbs": "lb", "pound": "lb", "pounds": "lb", "gram": "g",
     "grams": "g", "kilogram": "kg", "kilograms": "kg"},
)  # fmt: skip
DENSITY = Dimension(
    "a density", "kg/m3",
    {"kg/m3": Unit(F(1)), "kg/m³": Unit(F(1)), "g/cm3": Unit(F(1000)), "g/cm³": Unit(F(1000)), "kg/L": Unit(F(1000)),
     "g/mL": Unit(F(1000)), "g/L": Unit(F(1))},
    "7200 kg/m3", ("kg/m3", "g/cm3"), {"kg/m^3": "kg/m3", "g/cc": "g/cm3", "g/ml": "g/mL", "kg/l": "kg/L"},
)  # fmt: skip
SPEED = Dimension(
    "a speed", "m/s",
    {"m/s": Unit(F(1)), "cm/s": Unit(F(1, 100)), "mm/s": Unit(F(1, 1000)), "m/min": Unit(F(1, 60)),
     "km/h": Unit(F(1000, 3600)), "kn": Unit(F(1852, 3600)), "ft/s": Unit(_FOOT)},
    "0.3 m/s", ("m/s", "cm/s", "kn"), {"kt": "kn", "kts": "kn", "knot": "kn", "knots": "kn", "kmh": "km/h"},
)  # fmt: skip
FORCE = Dimension(
    "a force", "N", _prefixed("N", "m,,k") | {"lbf": Unit(_POUND * _GRAVITY)}, "40 N", ("N", "lbf"),
    {"newton": "N", "newtons": "N"},
)  # fmt: skip
FREQUENCY = Dimension(
    "a frequency", "Hz", _prefixed("Hz", "m,,k,M"), "1 kHz", ("Hz", "kHz"), {"hz": "Hz", "hertz": "Hz"}
)
RATE = Dimension(
    "a bit rate", "bit/s", _prefixed("bit/s", ",k,M,G"), "60 Mbit/s", ("Mbit/s", "kbit/s"),
    {"Mbps": "Mbit/s", "mbps": "Mbit/s", "kbps": "kbit/s", "Mb/s": "Mbit/s", "mbit/s": "Mbit/s", "Mbit": "Mbit/s"},
)  # fmt: skip
DATA = Dimension(
    "an amount of data", "byte", _prefixed("B", ",k,M,G,T"), "256 GB", ("GB", "MB", "TB"),
    {"G": "GB", "T": "TB", "gb": "GB", "tb": "TB", "gigabytes": "GB", "byte": "B", "bytes": "B"},
)  # fmt: skip
BYTE_RATE = Dimension(
    "a rate of bytes", "byte/s", _prefixed("B/s", ",k,M,G"), "30 MB/s", ("MB/s", "kB/s"),
    {"MBps": "MB/s", "mb/s": "MB/s", "KB/s": "kB/s"},
)  # fmt: skip
SHARE = Dimension("a share", "", {"%": Unit(F(1, 100))}, "80 %", ("%",), {"percent": "%", "per cent": "%", "pct": "%"})
TINY_SHARE = Dimension(
    "a share in ppm", "", {"ppm": Unit(F(1, 10**6)), "%": Unit(F(1, 100))}, "20 ppm", ("ppm", "%"), {"PPM": "ppm"}
)
CURVATURE = Dimension(
    "a curvature over temperature", "1/K2",
    {"ppm/K2": Unit(F(1, 10**6)), "ppm/degC2": Unit(F(1, 10**6)), "ppm/K²": Unit(F(1, 10**6))},
    "-0.034 ppm/K2", ("ppm/K2",),
)  # fmt: skip
NUMBER = Dimension("a bare number", "", {}, "1.2", ())

DIMENSIONS: tuple[Dimension, ...] = (
    DURATION, POWER, VOLTAGE, CURRENT, RESISTANCE, CHARGE, ENERGY, TEMPERATURE, PRESSURE, LENGTH, AREA, VOLUME, MASS,
    DENSITY, SPEED, FORCE, FREQUENCY, RATE, DATA, BYTE_RATE, SHARE, TINY_SHARE, CURVATURE,
)  # fmt: skip


@cache
def owners(symbol: str) -> tuple[Dimension, ...]:
    """The dimensions that know `symbol`."""
    return tuple(dimension for dimension in DIMENSIONS if symbol in dimension.units)


def canonical(symbol: str) -> str:
    """`symbol` with the two characters for micro written as `u`."""
    return symbol.replace("\u00b5", "u").replace("\u03bc", "u")
