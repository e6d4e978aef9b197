"""Daylight of an interval: day, night, both, polar, and across midnight and the date line."""

import datetime as calendar
from datetime import UTC, datetime, timedelta, timezone

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.physics import daylight

BERGEN = (60.3913, 5.3221)
TROMSO = (69.6492, 18.9553)


def at(day: int, hour: float, month: int = 3) -> datetime:
    return datetime(2025, month, day, tzinfo=UTC) + timedelta(hours=hour)


def test_day_night_and_both() -> None:
    """Civil dawn 04:57:48 and dusk 18:35:57 UTC on 2025-03-20 (published table)."""
    assert daylight.light_between(*BERGEN, at(20, 6), at(20, 17)).kind == "daylight"
    assert daylight.light_between(*BERGEN, at(20, 20), at(21, 3)).kind == "darkness"
    both = daylight.light_between(*BERGEN, at(20, 17), at(20, 20))
    assert both.kind == "mixed"
    assert both.light_share == pytest.approx((35 * 60 + 57 + 3600) / (3 * 3600), abs=0.005)
    ((change, dawn),) = both.changes
    assert not dawn
    assert abs((change - at(20, 18 + 35.95 / 60)).total_seconds()) < 60


def test_twilight_is_light_with_the_sun_down() -> None:
    dusk = daylight.light_between(*BERGEN, at(20, 18), at(20, 18.5))
    assert dusk.kind == "daylight"
    assert dusk.sun_share == 0.0


def test_polar_day_and_night() -> None:
    assert daylight.light_between(*TROMSO, at(20, 0, 6), at(24, 0, 6)).kind == "daylight"
    assert daylight.light_between(78.2232, 15.6267, at(20, 0, 12), at(24, 0, 12)).kind == "darkness"
    winter = daylight.light_between(*TROMSO, at(21, 0, 12), at(22, 0, 12))
    assert winter.kind == "mixed"  # civil twilight at noon, no sun
    assert winter.sun_share == 0.0


def test_offset_of_the_instants_does_not_matter() -> None:
    east = timezone(timedelta(hours=11))
    here = daylight.light_between(-33.87, 151.21, at(20, 0), at(20, 6))
    there = daylight.light_between(-33.87, 151.21, at(20, 0).astimezone(east), at(20, 6).astimezone(east))
    assert here == there


def test_longitudes_past_180_are_the_same_place() -> None:
    assert daylight.light_between(-18.14, 181.5, at(1, 0), at(2, 0)) == daylight.light_between(
        -18.14, -178.5, at(1, 0), at(2, 0)
    )


def test_an_instant_is_light_or_dark() -> None:
    assert daylight.light_between(*BERGEN, at(20, 12), at(20, 12)).kind == "daylight"
    assert daylight.light_between(*BERGEN, at(20, 0), at(20, 0)).kind == "darkness"


@settings(deadline=None, max_examples=100)
@given(
    st.floats(-89, 89),
    st.floats(-180, 180),
    st.integers(0, 364),
    st.floats(0, 24),
    st.floats(0.5, 60),
)
def test_shares_agree_with_the_height_of_the_sun(
    latitude: float, longitude: float, day: int, hour: float, length: float
) -> None:
    """Second way: the height of the sun sampled every few minutes. Near the poles the sun grazes the limit, and the
    minutes of the crossings (good to 3 min) weigh: 5 % of the interval, 10 min at least."""
    begin = datetime(2027, 1, 1, tzinfo=UTC) + timedelta(days=day, hours=hour)
    found = daylight.light_between(latitude, longitude, begin, begin + timedelta(hours=length))
    count = 200
    heights = [
        daylight.elevation(latitude, longitude, begin + timedelta(hours=length * (k + 0.5) / count))
        for k in range(count)
    ]
    allowed = max(0.05, 10.0 / (length * 60.0))
    assert sum(h > -daylight.CIVIL for h in heights) / count == pytest.approx(found.light_share, abs=allowed)
    assert sum(h > -daylight.SUNRISE for h in heights) / count == pytest.approx(found.sun_share, abs=allowed)


def test_sunset_after_midnight_belongs_to_the_day_it_falls_on() -> None:
    """At midsummer the sun sets in Reykjavik a few minutes after midnight and rises about 03:00 (from memory)."""
    times = daylight.sun_times(64.15, -21.94, calendar.date(2027, 6, 21), 0.0)
    assert times.sunset is not None
    assert times.sunrise is not None
    assert (times.sunset.date(), times.sunset.hour) == (calendar.date(2027, 6, 21), 0)
    assert 2 <= times.sunrise.hour <= 3


@pytest.mark.parametrize("longitude", [-179.0, -61.0, 0.0, 58.5, 63.0, 121.5, 180.0])
def test_no_sunrise_is_lost_where_it_moves_over_midnight_utc(longitude: float) -> None:
    """One sunrise and one sunset a day, 365 of each, whatever the UTC clock says meanwhile."""
    begin = datetime(2027, 1, 1, tzinfo=UTC) - timedelta(hours=longitude / 15.0)
    suns = [
        daylight.light_between(54.5, longitude, begin + timedelta(days=k), begin + timedelta(days=k + 1))
        for k in range(365)
    ]
    assert [len(found.changes) for found in suns] == [2] * 365
    assert all(0.25 < found.sun_share < 0.75 for found in suns)
    days = [calendar.date(2027, 1, 1) + timedelta(days=k) for k in range(365)]
    times = [daylight.sun_times(54.5, longitude, day) for day in days]
    assert all(found.sunrise is not None and found.sunset is not None for found in times)


def test_sunset_belongs_to_the_local_day() -> None:
    """Trap: on the UTC date the sunset of Honolulu on 21 December local is the 22nd."""
    times = daylight.sun_times(21.3069, -157.8583, calendar.date(2025, 12, 21), -10.0)
    assert times.sunset is not None
    assert times.sunset.date() == calendar.date(2025, 12, 22)
    assert times.civil_dawn is not None
    assert times.sunrise is not None
    assert times.civil_dusk is not None
    assert times.civil_dawn < times.sunrise < times.noon < times.sunset < times.civil_dusk


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: daylight.light_between(95.0, 0.0, at(1, 0), at(1, 1)), "latitude is 95 degrees"),
        (lambda: daylight.light_between(0.0, 400.0, at(1, 0), at(1, 1)), "longitude is 400 degrees"),
        (lambda: daylight.light_between(0.0, 0.0, at(1, 1), at(1, 0)), "length of the interval is -3600 s"),
        (lambda: daylight.light_between(0.0, 0.0, datetime(2025, 3, 1), at(1, 1)), "no offset from UTC"),
        (lambda: daylight.sun_times(0.0, 0.0, calendar.date(2025, 3, 1), 20.0), "offset from UTC is 20 h"),
        (lambda: daylight.drift_radius(9.0, 60.0), r"current is 9 m/s; it must lie in 0 \.\. 3 m/s"),
        (lambda: daylight.drift_radius(0.2, -60.0), "waiting is -60 s"),
    ],
)
def test_nonsense_is_refused_with_the_bound(call: object, words: str) -> None:
    assert callable(call)
    with pytest.raises(OutOfRange, match=words):
        call()
