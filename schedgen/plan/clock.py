"""How far the controller's clock may be off over the dive, and where it needs the sun."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from schedgen.plan.times import SunFinder

if TYPE_CHECKING:
    from datetime import datetime

    from schedgen.board.model import Board
    from schedgen.dive.model import Dive

AGEING = 5e-6
"""Margin for a crystal's ageing since its tolerance was measured: from memory, +/- 3 ppm in the first year is usual
for tuning forks, +/- 1 ppm a year after it."""
SUN_ON_DECK_K = 15.0
"""A housing in the sun is this much warmer than the air; common practice, no source."""
SUN_DAYS = 3
"""Sunset and sunrise are looked for in this many days after the planned start."""


def temperatures(dive: Dive) -> tuple[float, float]:
    """Coldest and warmest that the board may be over the dive, degC: water, and air with the sun on deck."""
    rows = dive.site.water
    low = min(row.temperature.low for row in rows)
    high = max(row.temperature.high for row in rows)
    if dive.site.air is not None:
        low = min(low, dive.site.air.temperature.low)
        high = max(high, dive.site.air.temperature.high + (SUN_ON_DECK_K if dive.site.air.sun else 0.0))
    return low, high


def clock_error(board: Board, coldest: float, warmest: float) -> float:
    """Largest relative error of the board's clock between two temperatures [degC], as a fraction.

    `schedgen.physics.clock.error` (tolerance, parabola, what the clock has over temperature) and the ageing of a
    crystal. Raises OutOfRange outside -40 .. 85 degC.
    """
    from schedgen.physics.clock import error

    clock = board.clock
    turnover = None if clock.turnover is None else (clock.turnover.low, clock.turnover.high)
    curvature = None if clock.curvature is None else (clock.curvature.low, clock.curvature.high)
    over = None if clock.over_temperature is None else clock.over_temperature.high
    found = error(clock.kind, clock.tolerance.high, coldest, warmest, turnover, curvature, over)
    return found.largest + (0.0 if clock.kind == "rc" else AGEING)


def sun_finder(latitude: float, longitude: float, planned: datetime) -> SunFinder:
    """A function that gives the first sunset or sunrise after `planned`, None where none comes in three days."""

    def find(which: str) -> datetime | None:
        from schedgen.physics.daylight import SUNRISE, crossings

        for day in range(-1, SUN_DAYS + 1):
            date = (planned + timedelta(days=day)).date()
            found = crossings(latitude, longitude, date, SUNRISE)[0 if which == "sunrise" else 1]
            if found is not None and found > planned:
                return found
        return None

    return find
