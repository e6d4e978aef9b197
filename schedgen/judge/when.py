"""Times of the dive file, moved: what a fix tells the user to write instead."""

from __future__ import annotations

import math
from datetime import timedelta
from typing import TYPE_CHECKING

from schedgen.judge.words import span

if TYPE_CHECKING:
    from schedgen.dive.times import When


def event_time(event: str, offset_s: float) -> str:
    """`bottom + 9 h`, `release - 5 min` or the bare event."""
    if abs(offset_s) < 0.5:
        return event
    return f"{event} {'+' if offset_s > 0 else '-'} {span(offset_s)}"


def _tidy(offset_s: float, later: bool) -> float:
    """The offset on a whole minute where it is at least 2 min, rounded away from the fault; else on a whole second."""
    unit = 60 if abs(offset_s) >= 120 else 1
    return unit * (math.ceil(offset_s / unit - 1e-9) if later else math.floor(offset_s / unit + 1e-9))


def moved(when: When, by_s: float) -> str:
    """`when` moved by `by_s` seconds (negative: earlier) as the user would write it, rounded so that it is enough."""
    later = by_s > 0
    if when.instant is not None:
        return (when.instant + timedelta(seconds=_tidy(by_s, later))).isoformat()
    return event_time(when.base, _tidy(when.offset_s + by_s, later))


def later(when: When, planned_s: float, by_s: float) -> str:
    """What to write so that `when`, which the plan has at `planned_s` after start, comes `by_s` seconds later.

    A time that the plan had to take as 0 (it lies before the start, or is not known) has no distance to its event
    that could be added to; the fix then counts from the start.
    """
    return moved(when, by_s) if planned_s > 0 else event_time("start", _tidy(by_s, True))
