"""The refusal of values outside a validity range: one place that names the bound, the unit and the next step."""

from __future__ import annotations

from typing import TypeAlias

import numpy as np
from numpy.typing import NDArray

from schedgen.errors import OutOfRange

Array: TypeAlias = NDArray[np.float64]
Flags: TypeAlias = NDArray[np.bool_]
Numbers: TypeAlias = float | Array
"""A number or an array of numbers; functions that take it return a numpy scalar for plain numbers."""


def plain(value: float) -> str:
    """Return `value` in at most six digits, without an exponent where that reads well.

    >>> plain(1026.0), plain(0.1 + 0.2)
    ('1026', '0.3')
    """
    return f"{float(value):.6g}"


def within(
    name: str,
    value: Numbers,
    low: float,
    high: float,
    unit: str = "",
    because: str = "",
    next_step: str = "",
) -> None:
    """Raise `OutOfRange` unless every `value` lies in `low` .. `high` (both included); not-a-number never does.

    The message reads "NAME is VALUE UNIT; it must lie in LOW .. HIGH UNIT (because)"; a bound at infinity is
    left out: "it must be at least LOW UNIT".

    >>> within("depth", -5, 0, 11000, "m")
    Traceback (most recent call last):
    schedgen.errors.OutOfRange: depth is -5 m; it must lie in 0 .. 11000 m
    """
    if isinstance(value, (int, float)):
        if low <= value <= high:
            return
        worst = float(value)
    else:
        values = np.asarray(value, dtype=float)
        bad = ~((values >= low) & (values <= high))
        if not bad.any():
            return
        worst = float(values[bad].flat[0])
    gap = f" {unit}" if unit else ""
    if high == np.inf:
        bound = f"be at least {plain(low)}{gap}"
    elif low == -np.inf:
        bound = f"be at most {plain(high)}{gap}"
    else:
        bound = f"lie in {plain(low)} .. {plain(high)}{gap}"
    reason = f" ({because})" if because else ""
    raise OutOfRange(f"{name} is {plain(worst)}{gap}; it must {bound}{reason}", next_step)


def above(name: str, value: Numbers, low: float, unit: str = "", because: str = "", next_step: str = "") -> None:
    """Raise `OutOfRange` unless every `value` is finite and greater than `low`.

    >>> above("mass", 0, 0, "kg")
    Traceback (most recent call last):
    schedgen.errors.OutOfRange: mass is 0 kg; it must be above 0 kg
    """
    values = np.asarray(value, dtype=float)
    bad = ~((values > low) & np.isfinite(values))
    if not bad.any():
        return
    gap = f" {unit}" if unit else ""
    reason = f" ({because})" if because else ""
    worst = plain(float(values[bad].flat[0]))
    raise OutOfRange(f"{name} is {worst}{gap}; it must be above {plain(low)}{gap}{reason}", next_step)
