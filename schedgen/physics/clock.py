"""How wrong the controller's clock may be: crystal, RC oscillator and temperature-compensated clock.

An error is the relative deviation e of the frequency: a true duration d reads d (1 + e) on the clock, so a
negative error is a clock that is late. Fractions everywhere (20 ppm is 2e-5), seconds, degC.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.physics.bounds import Array, Numbers, plain, within

Kind: TypeAlias = Literal["crystal", "temperature-compensated", "rc"]
Pair: TypeAlias = float | tuple[float, float]
"""One value, or the low and high end of an interval."""

DAY_S = 86_400.0
COLDEST_C, HOTTEST_C = -40.0, 85.0
"""Industrial range: data sheets of such clocks stop there."""
TURNOVER_C = (20.0, 30.0)
"""Turnover of a tuning-fork crystal, 25 +/- 5 degC: usual data-sheet tolerance."""
CURVATURE = (-0.042e-6, -0.030e-6)
"""Parabola of a tuning-fork crystal, -0.036 +/- 0.006 ppm/K2: the spread over clock-module manuals."""
WORST_RC = 0.5
"""An RC oscillator worse than +/- 50 % is taken for a typing error (low-power ones: 10 % to several tens)."""


@dataclass(frozen=True, slots=True)
class ErrorRange:
    """The relative error of a clock lies between `low` and `high` (fractions, clock over true, minus 1)."""

    low: float
    high: float

    @property
    def largest(self) -> float:
        """The larger of the two sizes, the symmetric bound."""
        return max(abs(self.low), abs(self.high))


def crystal_deviation(temperature_c: Numbers, turnover_c: Numbers = 25.0, curvature: Numbers = -0.034e-6) -> Array:
    """Return df/f = B (T - T0)^2 [fraction] of a tuning-fork crystal at `temperature_c` [degC].

    `turnover_c` T0 [degC], `curvature` B [1/K2], negative. Valid for -40 .. 85 degC.
    Source: manuals of clock modules with a 32.768 kHz crystal (B = -0.034 +/- 0.006 ppm/K2, T0 = 25 degC).
    Worked number: 2 degC is -17.986 ppm, over 24 h the clock loses 1.554 s.

    >>> e = crystal_deviation(2.0)
    >>> round(float(e) * 1e6, 3), round(float(reading_error(e, 86400.0)), 4)
    (-17.986, -1.554)
    """
    within("clock temperature", temperature_c, COLDEST_C, HOTTEST_C, "degC", "industrial range")
    within("curvature", curvature, -1e-6, 0.0, "1/K2", "a tuning fork has about -0.034e-6")
    return np.asarray(np.asarray(curvature) * (np.asarray(temperature_c) - turnover_c) ** 2)[()]


def reading_error(error: Numbers, duration_s: Numbers) -> Array:
    """Return by how much [s] a clock with relative `error` is ahead after a true `duration_s` [s].

    Source: the definition; 20 ppm are 1.728 s a day (usual initial tolerance of a crystal).

    >>> round(float(reading_error(20e-6, 86400.0)), 3)
    1.728
    """
    return np.asarray(np.asarray(error) * duration_s)[()]


def true_time(elapsed_s: float, error: ErrorRange) -> tuple[float, float]:
    """Return the earliest and latest true time [s] at which the clock reads `elapsed_s` [s]: x / (1 + e).

    Source: the definition of the error.

    >>> early, late = true_time(86400.0, ErrorRange(-20e-6, 20e-6))
    >>> round(early - 86400, 3), round(late - 86400, 3)
    (-1.728, 1.728)
    """
    return elapsed_s / (1.0 + error.high), elapsed_s / (1.0 + error.low)


def clock_time(true_s: float, error: ErrorRange) -> tuple[float, float]:
    """Return the least and most that the clock reads [s] after a true time `true_s` [s]: d (1 + e).

    Source: the definition of the error.

    >>> least, most = clock_time(86400.0, ErrorRange(-20e-6, 20e-6))
    >>> round(least - 86400, 3), round(most - 86400, 3)
    (-1.728, 1.728)
    """
    return true_s * (1.0 + error.low), true_s * (1.0 + error.high)


def _ends(value: Pair) -> tuple[float, float]:
    return (value[0], value[1]) if isinstance(value, tuple) else (value, value)


def _parabola(low_c: float, high_c: float, turnover_c: Pair, curvature: Pair) -> tuple[float, float]:
    """Return the most negative and the least negative deviation over the temperatures and both intervals."""
    turnover_low, turnover_high = _ends(turnover_c)
    steepest, flattest = sorted(_ends(curvature))
    farthest = max(abs(high_c - turnover_low), abs(turnover_high - low_c))
    nearest = max(0.0, low_c - turnover_high, turnover_low - high_c)
    within("curvature", np.asarray((steepest, flattest)), -1e-6, 0.0, "1/K2", "a tuning fork has about -0.034e-6")
    return steepest * farthest**2, flattest * nearest**2


def error(
    kind: Kind,
    tolerance: float,
    low_c: float,
    high_c: float,
    turnover_c: Pair | None = None,
    curvature: Pair | None = None,
    over_temperature: float | None = None,
) -> ErrorRange:
    """Return the range of the relative error of a clock used between `low_c` and `high_c` [degC].

    `tolerance` is the half-width at the turnover [fraction]. A crystal adds its parabola over `turnover_c`
    [degC] and `curvature` [1/K2] (left out: 20 .. 30 degC, -0.042 .. -0.030 ppm/K2). A temperature-compensated or RC
    clock adds `over_temperature` [fraction], half-width over its temperatures (left out: 0, the tolerance then
    holds over temperature). Raises OutOfRange outside -40 .. 85 degC or for an unlikely tolerance.
    Source: sum of worst cases. Worked: tolerance 20 ppm, B = -0.04 ppm/K2, T0 = 30 degC at 2 degC: -51.36 ppm, and
    -4.4375 s in 24 h.

    >>> e = error("crystal", 20e-6, 2.0, 2.0, 30.0, -0.04e-6)
    >>> round(e.low * 1e6, 2), round(e.low * 86400, 6)
    (-51.36, -4.437504)
    """
    within("clock temperature", np.asarray((low_c, high_c)), COLDEST_C, HOTTEST_C, "degC", "industrial range")
    if low_c > high_c:
        raise OutOfRange(f"the lowest clock temperature {plain(low_c)} degC is above the highest {plain(high_c)} degC")
    most = WORST_RC if kind == "rc" else 1e-3
    within("clock tolerance", tolerance, 0.0, most, "", f"as a fraction; {plain(most * 1e6)} ppm for this kind")
    extra = over_temperature or 0.0
    within("clock error over temperature", extra, 0.0, most, "", "as a fraction")
    slowest, fastest = 0.0, 0.0
    if kind == "crystal":
        slowest, fastest = _parabola(
            low_c,
            high_c,
            TURNOVER_C if turnover_c is None else turnover_c,
            CURVATURE if curvature is None else curvature,
        )
    return ErrorRange(slowest - tolerance - extra, fastest + tolerance + extra)
