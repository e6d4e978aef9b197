"""Durations, instants and numbers in the words that every report uses."""

from __future__ import annotations

from datetime import datetime, timedelta


def duration(seconds: float, exact: bool = False) -> str:
    """`9 h 42 min`; with `exact` also the seconds: `9 h 42 min 10 s`. Below a minute always seconds.

    Seconds are dropped, not rounded, so that a printed time never lies after the real one.
    """
    sign = "-" if seconds < 0 else ""
    whole = int(abs(seconds))
    hours, rest = divmod(whole, 3600)
    minutes, secs = divmod(rest, 60)
    parts = []
    if hours:
        parts.append(f"{hours} h")
    if hours or minutes:
        parts.append(f"{minutes:02d} min" if hours else f"{minutes} min")
    if exact or not parts:
        parts.append(f"{secs:02d} s" if parts else f"{secs} s")
    return sign + " ".join(parts)


def hours(value: float | None) -> str:
    """`61.2 h`, `126 h`, or `not known`."""
    if value is None:
        return "not known"
    return f"{value:.0f} h" if abs(value) >= 100 else f"{value:.1f} h"


def at(planned: datetime, seconds: float) -> datetime:
    """The instant `seconds` after the planned start, in the planned start's own offset."""
    return planned + timedelta(seconds=seconds)


def offset(instant: datetime) -> str:
    """`UTC` or `UTC+01:00`."""
    text = instant.strftime("%z")
    return "UTC" if text in ("+0000", "") else f"UTC{text[:3]}:{text[3:5]}"


def local(instant: datetime, reference: datetime | None = None) -> str:
    """`18:31`, or `20 Apr 18:31` on another day than `reference`."""
    if reference is not None and instant.date() == reference.date():
        return instant.strftime("%H:%M")
    return f"{instant.day:d} {instant.strftime('%b %H:%M')}"


def moment(instant: datetime) -> str:
    """`19 Apr 17:31:05`, in the instant's own offset."""
    return f"{instant.day:2d} {instant.strftime('%b %H:%M:%S')}"


def count(number: int, one: str, many: str = "") -> str:
    """`1 finding`, `2 findings`."""
    return f"{number} {one if number == 1 else many or one + 's'}"
