"""What a time in the dive file means on the controller's clock: an interval, and whether it moves with the release."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime

from schedgen.dive.times import When
from schedgen.files.quantity import write_duration

MOVING = frozenset({"release", "surface", "end"})
"""Events that move with a shifted release and with an early first firing."""

SunFinder = Callable[[str], "datetime | None"]
"""Gives the first sunset or sunrise after the planned start, None where there is none."""


@dataclass(frozen=True, slots=True)
class Moment:
    """A time on the controller's clock in (not yet whole) seconds, and whether it moves with the release."""

    early: float
    nominal: float
    late: float
    moves: bool = False

    def later(self, seconds: float) -> Moment:
        """The moment `seconds` later."""
        return Moment(self.early + seconds, self.nominal + seconds, self.late + seconds, self.moves)

    @property
    def floor_early(self) -> int:
        """Early bound, down to a whole second: `from`."""
        return down(self.early)

    @property
    def ceil_late(self) -> int:
        """Late bound, up to a whole second: `until`, `at`, `not_before`."""
        return up(self.late)


class UnknownTimeError(ValueError):
    """An event that is not known yet, or a sunset that does not come."""


def down(seconds: float) -> int:
    """Whole seconds, rounded down; what is a millionth below a whole second counts as it."""
    return math.floor(seconds + 1e-6)


def up(seconds: float) -> int:
    """Whole seconds, rounded up; what is a millionth above a whole second counts as it."""
    return math.ceil(seconds - 1e-6)


def said(second: float) -> str:
    """An elapsed second in words: `9 h 32 min 5 s after start`, or before it."""
    return f"{write_duration(abs(round(second)))} {'before' if second < 0 else 'after'} start"


def on_clock(early: float, nominal: float, late: float, error: float) -> Moment:
    """The true seconds after start as the controller's clock may read them: early runs slow, late runs fast.

    A true duration d reads d (1 - e) .. d (1 + e) with the largest relative error e. Before start it is the
    other way round.
    """
    return Moment(
        early * (1 - error if early >= 0 else 1 + error),
        nominal,
        late * (1 + error if late >= 0 else 1 - error),
    )


@dataclass(frozen=True, slots=True)
class Clockwork:
    """What instants need: when the start is planned, how surely, the clock's error and where the sun stands."""

    planned: datetime
    plus_minus_s: float
    error: float
    sun: SunFinder

    def instant(self, instant: datetime) -> Moment:
        """The instant on the controller's clock, given that the start may be early or late."""
        after = (instant - self.planned).total_seconds()
        return on_clock(after - self.plus_minus_s, after, after + self.plus_minus_s, self.error)


def resolve(when: When, events: Mapping[str, Moment], clock: Clockwork) -> Moment:
    """`when` as a moment. Raises UnknownTimeError for an event not in `events`, or a sun that does not rise or set."""
    if when.base == "instant":
        if when.instant is None:
            raise UnknownTimeError("an instant without a date")
        return clock.instant(when.instant).later(when.offset_s)
    if when.base in ("sunset", "sunrise"):
        found = clock.sun(when.base)
        if found is None:
            raise UnknownTimeError(f"there is no {when.base} at this place within three days of the planned start")
        return clock.instant(found).later(when.offset_s)
    if when.base not in events:
        raise UnknownTimeError(f"`{when.base}` cannot be used here, because it depends on this very time")
    return events[when.base].later(when.offset_s)
