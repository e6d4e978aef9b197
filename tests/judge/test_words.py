"""How judging writes numbers and times."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone

import pytest

from schedgen.dive.times import When
from schedgen.judge.when import event_time, moved
from schedgen.judge.words import apart, number, number_up, span, span_down, span_up


@pytest.mark.parametrize(
    ("seconds", "text"),
    [
        (0, "0 s"),
        (45, "45 s"),
        (0.0884, "0.088 s"),
        (864000, "10 d"),
        (900000, "10 d 10 h"),
        (60, "1 min"),
        (95, "1 min 35 s"),
        (3600, "1 h"),
        (7800, "2 h 10 min"),
        (7829, "2 h 10 min"),
        (172800, "48 h"),
        (-90, "1 min 30 s"),
    ],
)
def test_a_duration_reads_as_the_dive_file_writes_one(seconds: float, text: str) -> None:
    assert span(seconds) == text


def test_rounding_up_and_down_never_crosses_the_value() -> None:
    assert span_up(121) == "3 min"
    assert span_up(119.2) == "2 min"
    assert span_up(45.1) == "46 s"
    assert span_down(179) == "2 min"
    assert span_down(45.9) == "45 s"


@pytest.mark.parametrize(
    ("value", "unit", "text"),
    [
        (12.345, "V", "12.3 V"),
        (1510, "m", "1510 m"),
        (0.0421, "A", "0.0421 A"),
        (0, "N", "0 N"),
        (-5.27, "N", "-5.27 N"),
    ],
)
def test_numbers_have_no_exponents(value: float, unit: str, text: str) -> None:
    assert number(value, unit) == text


def test_a_time_moves_to_what_is_enough_in_whole_minutes() -> None:
    assert moved(When("bottom", 9 * 3600.0), 610) == "bottom + 9 h 11 min"
    assert moved(When("release", -300.0), -10) == "release - 6 min"
    assert moved(When("splash", 0.0), 45) == "splash + 45 s"
    assert moved(When("bottom", 120.0), -120) == "bottom"


def test_an_instant_keeps_its_offset_when_moved() -> None:
    zone = timezone(timedelta(hours=1))
    when = When("instant", instant=datetime(2027, 4, 19, 22, 0, tzinfo=zone))
    assert moved(when, 61) == "2027-04-19T22:01:01+01:00"
    assert moved(when, 121) == "2027-04-19T22:03:00+01:00"


def test_an_event_alone_has_no_offset() -> None:
    assert event_time("splash", 0) == "splash"


def test_a_value_and_its_bound_never_read_alike() -> None:
    assert apart(2.4433, 2.44, "A") == ("2.443 A", "2.440 A")
    assert apart(8.1, 8.4, "V") == ("8.10 V", "8.40 V")


def test_an_amount_that_is_advised_is_rounded_up() -> None:
    assert number_up(3.52, "A") == "3.6 A"
    assert number_up(3.5, "A") == "3.5 A"
    assert number_up(0.0512, "L") == "0.052 L"
    assert number_up(123.0, "W") == "130 W"
