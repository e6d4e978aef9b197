"""Times of the dive: events, instants, spans; and what is refused."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.dive.times import EVENTS, When, parse_between, parse_instant, parse_planned, parse_when
from schedgen.files.trouble import Misread

CEST = timezone(timedelta(hours=2))


def said(read: Callable[[str], Any], text: str) -> str:
    with pytest.raises(Misread) as caught:
        read(text)
    found = caught.value.troubles[0]
    assert found.expected
    assert found.example
    return f"{found.message} {found.next}"


@pytest.mark.parametrize("event", [*EVENTS, "sunset", "sunrise"])
def test_events_alone_and_with_a_duration(event: str) -> None:
    assert parse_when(event) == When(event, 0.0, None, event)  # type: ignore[arg-type]
    assert parse_when(f"{event} - 10 min").offset_s == -600
    assert parse_when(f"{event}+1 h 30 min").offset_s == 5400


def test_instants() -> None:
    when = parse_when("2027-04-19T22:00:00+02:00")
    assert when.base == "instant"
    assert when.instant == datetime(2027, 4, 19, 20, tzinfo=UTC)
    assert parse_instant("2027-04-19T20:00Z") == when.instant
    assert parse_instant("2027-04-19 22:00:00 +02:00") == when.instant
    assert parse_instant("2027-04-19T22:00:00.5+0200") == datetime(2027, 4, 19, 22, 0, 0, 500000, CEST)


@pytest.fixture
def _in_summer_time() -> Iterator[None]:
    if not hasattr(time, "tzset"):
        pytest.skip("this system cannot change its zone for a test")
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("TZ", "CET-1CEST,M3.5.0,M10.5.0/3")
        time.tzset()
        yield
    time.tzset()


@pytest.mark.usefixtures("_in_summer_time")
def test_an_instant_without_an_offset_is_shown_with_this_computers() -> None:
    text = said(parse_instant, "2027-05-11T07:15:00")
    assert "2027-05-11T07:15:00+02:00" in text
    assert "2027-05-11T07:15:00Z for UTC" in text
    assert "2027-01-11T07:15:00+01:00" in said(parse_when, "2027-01-11T07:15:00")


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("2027-04-19", "no time of day"),
        ("2027-02-30T06:00:00Z", "no such date"),
        ("2027-13-01T06:00:00Z", "no such date"),
        ("2027-04-19T25:00:00Z", "no such date"),
        ("2027-04-19T06:00:00+25:00", "no such date"),
        ("19.04.2027 06:40", "not an instant"),
        ("4/19/2027", "not an instant"),
        ("1027-04-19T06:00:00Z", "2000 .. 2099"),
        ("06:40", "no date"),
        ("bottm + 1 h", 'Did you mean "bottom"'),
        ("touchdown", "no event"),
        ("bottom + 10", "10 min, 10 h or 10 s"),
        ("bottom + 1:30", "1 h 30 min"),
        ("bottom + 5 m", "m is the metre"),
        ("bottom +", "ends after its sign"),
        ("bottom + about 1 h", "must be exact"),
        ("bottom + 1 h ± 5 min", "must be exact"),
        ("bottom – 10 min", "Write bottom - 10 min."),
        ("bottom + 1 h .. 2 h", "must be exact"),
        ("bottom 10 min", "is not a time of the dive"),
        ("+ 10 min", "is not a time of the dive"),
        ("", "no value"),
        ("?", "filled in"),
        ("Bottom", 'Did you mean "bottom"'),
    ],
)
def test_what_is_not_a_time_is_refused_by_name(text: str, word: str) -> None:
    assert word.lower() in said(parse_when, text).lower()


def test_planned_takes_a_tolerance() -> None:
    planned = parse_planned("2027-05-11T07:15:00+01:00 ± 45 min")
    assert planned.plus_minus_s == 2700
    assert planned.instant.utcoffset() == timedelta(hours=1)
    assert parse_planned("2027-05-11T07:15:00Z +/- 1 h").plus_minus_s == 3600
    assert parse_planned("2027-05-11T07:15:00Z").plus_minus_s == 0
    assert "negative" in said(parse_planned, "2027-05-11T07:15:00Z ± -1 h")
    assert "no unit" in said(parse_planned, "2027-05-11T07:15:00Z ± 45")
    assert "more than one" in said(parse_planned, "2027-05-11T07:15:00Z ± 1 h ± 1 h")


def test_spans() -> None:
    span = parse_between("splash + 10 min .. surface")
    assert (span.begin.base, span.begin.offset_s, span.until.base) == ("splash", 600, "surface")
    for text in ("splash", "splash ..", "a .. b .. c", "splash to surface"):
        assert said(parse_between, text)


@settings(max_examples=400, deadline=None)
@given(st.text(alphabet="startbomend +-0123456789:TZ.hmin±–", max_size=30))
def test_no_text_breaks_the_times(text: str) -> None:
    for read in (parse_when, parse_between, parse_planned):
        try:
            read(text)
        except Misread as error:
            assert error.troubles  # noqa: PT017  # any other exception fails the test
