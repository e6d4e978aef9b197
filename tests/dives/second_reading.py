"""Reads dives, boards and cells for the second way of working their numbers out: plain YAML and a few lines of our own.

Nothing here comes from the program. An interval is a triple (low, nominal, high) in base units.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import Any

import yaml

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
Triple = tuple[float, float, float]
UNITS = {
    "": 1.0, "m": 1.0, "cm": 1e-2, "mm": 1e-3, "m2": 1.0, "L": 1e-3, "kg": 1.0, "g": 1e-3, "kg/m3": 1.0, "m/s": 1.0,
    "s": 1.0, "ms": 1e-3, "min": 60.0, "h": 3600.0, "d": 86400.0, "W": 1.0, "V": 1.0, "mV": 1e-3, "A": 1.0,
    "mA": 1e-3, "uA": 1e-6, "ohm": 1.0, "kohm": 1e3, "Mohm": 1e6, "Ah": 1.0, "degC": 1.0, "K": 1.0, "%": 1e-2,
    "ppm": 1e-6, "ppm/K2": 1e-6, "Mbit/s": 1e6, "GB": 1e9, "MB/s": 1e6, "kHz": 1e3, "B": 1.0,
}  # fmt: skip
TERM = re.compile(r"([+-]?[\d.]+)\s*([^\d\s+][^\s]*)?")


def amount(text: str) -> float:
    """`2 h 30 min` or `4.1 degC` in base units."""
    return sum(float(value) * UNITS[unit or ""] for value, unit in TERM.findall(text.strip()))


def triple(value: Any) -> Triple:
    """`7.4 W ± 5 %`, `20 min .. 2 h`, `about 1.1 W`, `16 kg` as (low, nominal, high)."""
    text = str(value)
    if ".." in text:
        low, high = (amount(part) for part in text.split(".."))
        return low, (low + high) / 2, high
    if text.startswith("about "):
        middle = amount(text[6:])
        return middle * 0.7, middle, middle * 1.3
    head, _, half = text.partition("±")
    middle = amount(head)
    if not half:
        return middle, middle, middle
    width = amount(half)
    if half.strip().endswith("%") and not head.strip().endswith("%"):
        width *= abs(middle)
    return middle - width, middle, middle + width


def plain(path: Path) -> Any:
    """A YAML file with every scalar as text."""
    return yaml.load(path.read_text(encoding="utf-8"), Loader=yaml.BaseLoader)


def dive_file(name: str) -> Any:
    return plain(HERE / f"{name}.yaml")


def board_file(name: str) -> Any:
    return plain(ROOT / "boards" / f"{name}.yaml")


def cell_file(name: str) -> Any:
    return plain(ROOT / "boards" / "cells" / f"{name}.yaml")
