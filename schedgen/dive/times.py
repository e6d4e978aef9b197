"""Times as the user writes them: an event plus or minus a duration, or an instant. CONTRACT STUB."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import Literal

EventName = Literal["start", "splash", "bottom", "release", "surface", "end"]
EVENTS: tuple[EventName, ...] = ("start", "splash", "bottom", "release", "surface", "end")
Base = Literal["start", "splash", "bottom", "release", "surface", "end", "sunset", "sunrise", "instant"]


@dataclass(frozen=True, slots=True)
class When:
    """`base` plus `offset_s`; for an instant, `instant` is set (aware) and `offset_s` is 0."""

    base: Base
    offset_s: float = 0.0
    instant: datetime | None = None
    text: str = ""


@dataclass(frozen=True, slots=True)
class Between:
    """`only: A .. B`."""

    begin: When
    until: When
    text: str = ""


@dataclass(frozen=True, slots=True)
class Planned:
    """An aware instant with a half-width in seconds (0 when none was written)."""

    instant: datetime
    plus_minus_s: float = 0.0
    text: str = ""
