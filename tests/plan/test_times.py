"""Times on the controller's clock: rounding, clock error, instants, and where the sun stands."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

import pytest

from schedgen.dive.times import When
from schedgen.plan.clock import sun_finder
from schedgen.plan.times import Clockwork, Moment, UnknownTimeError, down, on_clock, resolve, up

PLANNED = datetime(2027, 3, 20, 3, 0, tzinfo=UTC)


def test_whole_seconds_stay_what_they_are() -> None:
    # 0.1 + 0.2 and the like must not push a whole second up or down
    assert (down(3.0), up(3.0), down(0.1 * 30), up(0.1 * 30)) == (3, 3, 3, 3)
    assert (down(3.2), up(3.2), down(-0.5), up(-0.5)) == (3, 4, -1, 0)


def test_a_true_duration_reads_shorter_on_a_slow_clock_and_longer_on_a_fast_one() -> None:
    # 10 000 s on a clock of 100 ppm: 9 999 .. 10 001
    assert on_clock(10_000, 10_000, 10_000, 1e-4) == Moment(9_999.0, 10_000, 10_001.0)


def test_before_the_start_the_bounds_change_places() -> None:
    assert on_clock(-10_000, -10_000, -10_000, 1e-4) == Moment(-10_001.0, -10_000, -9_999.0)


def test_an_event_plus_a_duration_is_counted_on_the_controllers_clock() -> None:
    clock = Clockwork(PLANNED, 0.0, 1e-4, lambda which: None)
    bottom = Moment(100.0, 110.0, 120.0)
    assert resolve(When("bottom", 10_000.0), {"bottom": bottom}, clock) == Moment(10_100.0, 10_110.0, 10_120.0)


def test_an_unknown_event_is_refused() -> None:
    clock = Clockwork(PLANNED, 0.0, 1e-4, lambda which: None)
    with pytest.raises(UnknownTimeError, match="`surface` cannot be used here"):
        resolve(When("surface"), {}, clock)


def test_the_first_sunset_after_the_planned_start_counts() -> None:
    # equator, 20 March, longitude 0: the sun is up for 12 h 7 min (refraction and its own radius) around 12:07.5 UTC,
    # the equation of time being -7.5 min; common knowledge, to two minutes
    noon = datetime(2027, 3, 20, 12, 7, 30, tzinfo=UTC)
    sunrise, sunset = (sun_finder(0.0, 0.0, PLANNED)(which) for which in ("sunrise", "sunset"))
    assert sunrise is not None
    assert sunset is not None
    half = timedelta(hours=6, minutes=3, seconds=30)
    assert abs(sunrise - (noon - half)) < timedelta(minutes=2)
    assert abs(sunset - (noon + half)) < timedelta(minutes=2)
    # planned after today's sunset: tomorrow's
    late = sun_finder(0.0, 0.0, sunset + timedelta(minutes=1))("sunset")
    assert late is not None
    assert timedelta(hours=23, minutes=50) < late - sunset < timedelta(hours=24, minutes=10)


def test_in_the_polar_night_there_is_no_sunrise() -> None:
    assert sun_finder(80.0, 15.0, datetime(2027, 12, 20, tzinfo=UTC))("sunrise") is None
