"""Times as the user writes them: an event plus or minus a duration, or an instant (ISO 8601 with an offset)."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, cast

from schedgen.files.quantity import parse_duration
from schedgen.files.trouble import Misread, Trouble, did_you_mean, listing, shown

EventName = Literal["start", "splash", "bottom", "release", "surface", "end"]
EVENTS: tuple[EventName, ...] = ("start", "splash", "bottom", "release", "surface", "end")
Base = Literal["start", "splash", "bottom", "release", "surface", "end", "sunset", "sunrise", "instant"]
_BASES: tuple[Base, ...] = (*EVENTS, "sunset", "sunrise")

_EXPECTED = (
    "an event (start, splash, bottom, release, surface, end), sunset or sunrise, plus or minus a duration; "
    "or an instant"
)
_EXAMPLE = "bottom + 40 min"
_INSTANT_EXAMPLE = "2027-04-19T06:40:00+01:00"
_INSTANT = re.compile(
    r"(?P<date>\d{4}-\d{2}-\d{2})(?:[Tt ]\s*(?P<time>\d{2}:\d{2}(?::\d{2})?)(?:\.(?P<fraction>\d{1,6}))?"
    r"\s*(?P<offset>[Zz]|[+-]\d{2}:?\d{2}|[+-]\d{2})?)?"
)
_LOOKS_DATED = re.compile(r"\d{1,4}[-/.]\d{1,2}[-/.]\d{1,4}")
_EVENT = re.compile(r"(?P<base>[A-Za-z_][A-Za-z_ ]*?)\s*(?:(?P<sign>[-+])\s*(?P<rest>.*))?")
_DASHES = str.maketrans(dict.fromkeys("\u2212\u2013\u2014\u2010\u2011\ufe63\uff0d", "-"))
LONGEST_S = 8_000_000
"""Elapsed time is kept in 24 bits of seconds, one of them a sign on the way; the rest is room to reckon with."""
_YEARS = (2000, 2099)


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


def parse_when(text: str) -> When:
    """`text` as a time of the dive. Raises `Misread`."""
    stripped = text.strip()
    _refuse_empty(stripped, _EXPECTED, _EXAMPLE)
    if stripped.translate(_DASHES) != stripped:
        raise _misread(f"{shown(stripped)} has a typographic dash in it.", f"Write {stripped.translate(_DASHES)}.")
    if _LOOKS_DATED.match(stripped):
        return When("instant", 0.0, parse_instant(stripped), stripped)
    if re.fullmatch(r"\d{1,2}:\d{2}(:\d{2})?( ?[ap]m)?", stripped, re.IGNORECASE):
        raise _misread(
            f"{shown(stripped)} has no date and no offset.", f"Write the whole instant, such as {_INSTANT_EXAMPLE}."
        )
    match = _EVENT.fullmatch(stripped)
    if match is None:
        raise _misread(f"{shown(stripped)} is not a time of the dive.", f"Begin with {listing(list(_BASES))}.")
    base = match["base"]
    if base not in _BASES:
        raise _misread(f"There is no event {shown(base)}. {did_you_mean(base, _BASES)}".strip(), _first_words())
    offset = 0.0
    if match["sign"]:
        offset = _offset(stripped, match["rest"]) * (1 if match["sign"] == "+" else -1)
    if abs(offset) > LONGEST_S:
        raise _misread(
            f"{shown(stripped)} is more than the controller can count: {LONGEST_S} s, about 92 days.",
            "Write a shorter duration.",
        )
    return When(cast(Base, base), offset, None, stripped)


def parse_between(text: str) -> Between:
    """`A .. B` as two times. Raises `Misread`."""
    stripped = text.strip()
    _refuse_empty(stripped, "two times of the dive with two dots between", "splash .. surface")
    ends = re.split(r"\s*\.\.\s*", stripped)
    if len(ends) != 2 or not all(ends):
        raise Misread(
            Trouble(
                f"{shown(stripped)} is not a span of time.", "two times of the dive with two dots between",
                "splash .. surface", "Write from .. until.",
            )
        )  # fmt: skip
    return Between(parse_when(ends[0]), parse_when(ends[1]), stripped)


def parse_planned(text: str) -> Planned:
    """An instant, or an instant `±` a duration. Raises `Misread`."""
    stripped = text.strip()
    _refuse_empty(stripped, "an instant: ISO 8601 with an offset or Z", _INSTANT_EXAMPLE)
    parts = re.split(r"\s*(?:±|\+\s*/\s*-)\s*", stripped)
    if len(parts) > 2:
        raise _misread(f"{shown(stripped)} has more than one tolerance.", "Leave one.", instant=True)
    half = 0.0
    if len(parts) == 2:
        half = parse_duration(parts[1])
        if half < 0:
            raise _misread(
                f"{shown(stripped)}: the tolerance is negative.", "Write it without the minus.", instant=True
            )
    return Planned(parse_instant(parts[0]), half, stripped)


def parse_instant(text: str) -> datetime:
    """ISO 8601 date and time with an offset or `Z`, as an aware datetime. Raises `Misread`."""
    stripped = text.strip()
    match = _INSTANT.fullmatch(stripped)
    if match is None:
        raise _misread(f"{shown(stripped)} is not an instant.", f"Write it as in {_INSTANT_EXAMPLE}.", instant=True)
    if match["time"] is None:
        raise _misread(
            f"{shown(stripped)} has no time of day.",
            f"Add it with its offset: {stripped}T06:40:00+01:00.",
            instant=True,
        )
    offset = match["offset"] or ""
    fraction = f".{match['fraction']:0<6}" if match["fraction"] else ""
    plain = f"{match['date']}T{match['time']}{fraction}"
    try:
        naive = datetime.fromisoformat(plain)
        instant = datetime.fromisoformat(plain + offset.upper())
    except ValueError:
        raise _misread(
            f"There is no such date, time or offset as {shown(stripped)}.",
            "Check month, day, hour and offset.",
            instant=True,
        ) from None
    if not _YEARS[0] <= naive.year <= _YEARS[1]:
        raise _misread(
            f"The year of {shown(stripped)} must lie in {_YEARS[0]} .. {_YEARS[1]}.", "Check the year.", instant=True
        )
    if not offset:
        here = naive.astimezone().isoformat()
        raise _misread(
            f"{shown(stripped)} has no offset from UTC; with the offset of this computer it is {here}.",
            f"Write {here} if that is meant, or {plain}Z for UTC.", instant=True,
        )  # fmt: skip
    return instant


def _offset(text: str, rest: str) -> float:
    if re.search(r"±|\+\s*/\s*-|\.\.|\babout\b", rest):
        raise _misread(f"{shown(text)}: the duration must be exact.", "Leave the tolerance out.")
    if not rest:
        raise _misread(f"{shown(text)} ends after its sign.", "Write the duration, or leave the sign out.")
    if re.fullmatch(r"\d+(\.\d+)?", rest):
        raise _misread(f"{shown(text)}: {rest} has no unit.", f"Write {rest} min, {rest} h or {rest} s.")
    if re.fullmatch(r"\d+:\d+(:\d+)?", rest):
        from schedgen.files.quantity import parse
        from schedgen.files.units import DURATION

        parse(rest, DURATION)
    return parse_duration(rest)


def _refuse_empty(text: str, expected: str, example: str) -> None:
    if not text.strip("? "):
        message = "This still has to be filled in." if text else "There is no value."
        raise Misread(Trouble(message, expected, example, "Write the time after the colon."))


def _first_words() -> str:
    return f"Begin with {listing(list(_BASES))}."


def _misread(message: str, step: str, instant: bool = False) -> Misread:
    if instant:
        return Misread(Trouble(message, "an instant: ISO 8601 with an offset or Z", _INSTANT_EXAMPLE, step))
    return Misread(Trouble(message, _EXPECTED, _EXAMPLE, step))
