"""Daylight at a position, without a network: sunrise, sunset, civil twilight, and how light an interval is.

Through `astral` (the equations of Meeus, Astronomical Algorithms, as the NOAA solar calculator uses them),
good to a minute below 66 degrees and to about three minutes near the polar circles. Instants are aware
datetimes in UTC. The refraction that astral adds to twilights (up to 30 s at 60 degrees) is left out, as in almanacs.
"""

from __future__ import annotations

import datetime as calendar
import math
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, timezone
from itertools import pairwise
from typing import Literal, TypeAlias

from schedgen.errors import OutOfRange
from schedgen.physics.bounds import within

CIVIL = 6.0
"""Degrees that the sun's centre is below the horizon at the end of civil twilight."""
SUNRISE = 0.8333
"""Degrees below the horizon at sunrise and sunset: 34' of refraction and 16' of the sun's radius."""
LONGEST_S = 366 * 86_400.0
NEAREST_POLE = 89.8
"""Degrees: nearer to a pole the sun is taken as here, where a day still has an hour angle."""

Light: TypeAlias = Literal["daylight", "darkness", "mixed"]
Sun: TypeAlias = Literal["rises and sets", "stays above", "stays below"]


@dataclass(frozen=True, slots=True)
class SunTimes:
    """Sun of one local day, UTC, None where it does not happen; `sun` and `twilight` say why.

    `sun` is about the horizon, `twilight` about 6 degrees below it ("stays above" is light all night).
    """

    civil_dawn: datetime | None
    sunrise: datetime | None
    noon: datetime
    sunset: datetime | None
    civil_dusk: datetime | None
    sun: Sun
    twilight: Sun


@dataclass(frozen=True, slots=True)
class DayLight:
    """How light an interval is. Daylight is civil dawn to civil dusk, darkness the rest.

    Shares of the interval: `light_share` between civil dawn and civil dusk, `sun_share` with the sun up.
    `changes` are the civil dawns (true) and dusks (false) inside it, UTC.
    """

    kind: Light
    light_share: float
    sun_share: float
    changes: tuple[tuple[datetime, bool], ...]


def _zone(longitude: float, utc_offset_h: float | None) -> timezone:
    """Return the zone whose calendar day is meant: the offset given, else mean solar time in whole minutes."""
    if utc_offset_h is None:
        return timezone(timedelta(minutes=round(longitude * 4)))
    within("offset from UTC", utc_offset_h, -14, 14, "h")
    return timezone(timedelta(hours=utc_offset_h))


def _east(longitude: float) -> float:
    """Return `longitude` in -180 .. 180 degrees."""
    within("longitude", longitude, -180, 360, "degrees")
    return longitude - 360.0 if longitude > 180.0 else longitude


def _equations(date: calendar.date, minutes: float) -> tuple[float, float]:
    """Return the sun's declination [radians] and the equation of time [min], `minutes` after 0 h UTC of `date`."""
    from astral.julian import julianday, julianday_to_juliancentury
    from astral.sun import eq_of_time, sun_declination

    century = julianday_to_juliancentury(julianday(date) + minutes / 1440.0)
    return math.radians(sun_declination(century)), float(eq_of_time(century))


def _after(date: calendar.date, minutes: float) -> datetime:
    return datetime(date.year, date.month, date.day, tzinfo=UTC) + timedelta(minutes=minutes)


def _noon(east: float, date: calendar.date) -> datetime:
    """Return the solar noon of the solar day whose mean noon falls on `date` UTC."""
    minutes = 720.0 - 4.0 * east
    return _after(date, minutes - _equations(date, minutes)[1])


def _transits(latitude: float, east: float, date: calendar.date, depression: float, rising: bool) -> datetime | None:
    """Return when the sun passes `depression` degrees below the horizon in the solar day about `_noon`, or None.

    The hour angle of the height, put in again until it stands still. (The function of `astral` counts within the UTC
    day, and so loses a crossing where it moves over midnight.)
    """
    place = math.radians(max(-NEAREST_POLE, min(NEAREST_POLE, latitude)))
    minutes = 720.0 - 4.0 * east
    for _ in range(4):
        declination, equation = _equations(date, minutes)
        above = math.sin(-math.radians(depression)) - math.sin(place) * math.sin(declination)
        cosine = above / (math.cos(place) * math.cos(declination))
        if not -1.0 <= cosine <= 1.0:
            return None
        hours = math.degrees(math.acos(cosine))
        minutes = 720.0 - 4.0 * (east + (hours if rising else -hours)) - equation
    return _after(date, minutes)


def crossings(
    latitude: float, longitude: float, date: calendar.date, depression: float, utc_offset_h: float | None = None
) -> tuple[datetime | None, datetime | None]:
    """Return when the sun's centre rises and sinks through `depression` degrees below the horizon, UTC.

    Both belong to the local calendar day `date` of `utc_offset_h` [h] (left out: mean solar time of the place).
    None where it does not happen that day. `depression` 0.8333 is sunrise and sunset, 6 civil twilight.
    Raises OutOfRange for a position off the globe. Source: NOAA solar calculator, in the table of the tests.

    >>> rise, sink = crossings(60.3913, 5.3221, calendar.date(2025, 3, 20), SUNRISE, 1.0)
    >>> rise.isoformat()[:16], sink.isoformat()[:16]
    ('2025-03-20T05:39', '2025-03-20T17:53')
    """
    within("latitude", latitude, -90, 90, "degrees")
    east = _east(longitude)
    zone = _zone(east, utc_offset_h)
    found: list[datetime | None] = []
    for rising in (True, False):
        days = (_transits(latitude, east, date + timedelta(days=k), depression, rising) for k in (0, -1, 1))
        found.append(next((day for day in days if day is not None and day.astimezone(zone).date() == date), None))
    return found[0], found[1]


def elevation(latitude: float, longitude: float, instant: datetime) -> float:
    """Return the height of the sun's centre above the horizon [degrees], refraction left out.

    `instant` must be aware. Source: NREL/TP-560-34302, table A5 (from memory): zenith 50.1116 degrees with
    refraction (here 50.13 without); the equations of `astral` are good to about 0.02 degrees.

    >>> round(90 - elevation(39.742476, -105.1786, datetime(2003, 10, 17, 19, 30, 30, tzinfo=UTC)), 1)
    50.1
    """
    from astral import Observer
    from astral.sun import elevation as height

    if instant.tzinfo is None:
        raise OutOfRange("the instant has no offset from UTC; one is needed")
    within("latitude", latitude, -90, 90, "degrees")
    return float(height(Observer(latitude, _east(longitude)), instant.astimezone(UTC), False))


def sun_times(latitude: float, longitude: float, date: calendar.date, utc_offset_h: float | None = None) -> SunTimes:
    """Return the sun's times of the local day `date`, UTC; arguments, errors and source as `crossings`.

    >>> night = sun_times(69.6492, 18.9553, calendar.date(2025, 12, 21), 1.0)
    >>> night.sun, night.sunrise, night.civil_dawn.isoformat()[:16]
    ('stays below', None, '2025-12-21T08:31')
    """
    sunrise, sunset = crossings(latitude, longitude, date, SUNRISE, utc_offset_h)
    dawn, dusk = crossings(latitude, longitude, date, CIVIL, utc_offset_h)
    east = _east(longitude)
    zone = _zone(east, utc_offset_h)
    noons = [_noon(east, date + timedelta(days=k)) for k in (0, -1, 1)]
    noon = next((instant for instant in noons if instant.astimezone(zone).date() == date), noons[0])
    height = elevation(latitude, east, noon)

    def course(first: datetime | None, second: datetime | None, depression: float) -> Sun:
        if first is not None or second is not None:
            return "rises and sets"
        return "stays above" if height > -depression else "stays below"

    return SunTimes(
        civil_dawn=dawn,
        sunrise=sunrise,
        noon=noon,
        sunset=sunset,
        civil_dusk=dusk,
        sun=course(sunrise, sunset, SUNRISE),
        twilight=course(dawn, dusk, CIVIL),
    )


def _pieces(latitude: float, east: float, begin: datetime, until: datetime, depression: float) -> list[datetime]:
    """Return the instants between which the sun stays on one side of `depression`, ends included, sorted.

    Noons and midnights are among them, so that no piece is longer than half a day.
    """
    cuts = {begin, until}
    day = begin.date() - timedelta(days=1)
    while day <= until.date() + timedelta(days=1):
        solar_noon = _noon(east, day)
        candidates = [solar_noon, solar_noon + timedelta(hours=12)]
        candidates += [_transits(latitude, east, day, depression, rising) or begin for rising in (True, False)]
        cuts.update(instant for instant in candidates if begin < instant < until)
        day += timedelta(days=1)
    return sorted(cuts)


def _lit(
    latitude: float, east: float, begin: datetime, until: datetime, depression: float
) -> list[tuple[datetime, datetime, bool]]:
    """Return (from, to, above `depression`) for the pieces of the interval, neighbours alike merged."""
    merged: list[tuple[datetime, datetime, bool]] = []
    for first, last in pairwise(_pieces(latitude, east, begin, until, depression)):
        up = elevation(latitude, east, first + (last - first) / 2) > -depression
        if merged and merged[-1][2] == up:
            merged[-1] = (merged[-1][0], last, up)
        else:
            merged.append((first, last, up))
    return merged


def light_between(latitude: float, longitude: float, begin: datetime, until: datetime) -> DayLight:
    """Return how light the interval from `begin` to `until` (aware) is at a position.

    Daylight here runs from civil dawn to civil dusk, when things on the water can be told apart without lamps.
    Raises OutOfRange for instants with no offset, an interval that runs backwards or is longer than a year.
    Source: civil twilight as almanacs define it; the times as `crossings`.

    >>> light_between(60.39, 5.32, datetime(2025, 3, 20, 8, tzinfo=UTC), datetime(2025, 3, 20, 15, tzinfo=UTC)).kind
    'daylight'
    """
    if begin.tzinfo is None or until.tzinfo is None:
        raise OutOfRange("an instant has no offset from UTC; one is needed")
    within("latitude", latitude, -90, 90, "degrees")
    east = _east(longitude)
    start, stop = begin.astimezone(UTC), until.astimezone(UTC)
    length = (stop - start).total_seconds()
    within("length of the interval", length, 0.0, LONGEST_S, "s")
    if length == 0.0:
        height = elevation(latitude, east, start)
        light, sun = float(height > -CIVIL), float(height > -SUNRISE)
        return DayLight("daylight" if light else "darkness", light, sun, ())
    pieces = _lit(latitude, east, start, stop, CIVIL)
    light = sum((b - a).total_seconds() for a, b, up in pieces if up) / length
    sun = sum((b - a).total_seconds() for a, b, up in _lit(latitude, east, start, stop, SUNRISE) if up) / length
    kind: Light = "mixed" if len(pieces) > 1 else ("daylight" if pieces[0][2] else "darkness")
    return DayLight(kind, light, sun, tuple((a, up) for a, _, up in pieces[1:]))


def drift_radius(current: float, waiting_s: float) -> float:
    """Return how far [m] a package drifts in `waiting_s` [s] on a surface current [m/s]: a straight line at most.

    Wind on what stands out is not in it. Range 0 .. 3 m/s. Source: arithmetic. 0.2 m/s over 48 h is 34.6 km.

    >>> round(drift_radius(0.2, 48 * 3600) / 1000, 2)
    34.56
    """
    within("current", current, 0.0, 3.0, "m/s", "surface drift; 3 m/s is a strong tidal stream")
    within("waiting", waiting_s, 0.0, float("inf"), "s")
    return current * waiting_s
