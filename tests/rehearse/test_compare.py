"""Comparing edges: what is missed, extra, late, or of the wrong length is found, and nothing else."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.firmware.rehearse.compare import Expected, compare_output, expected_edges
from schedgen.firmware.rehearse.energy import on_times_of, pulses_of
from schedgen.plan.model import Flash, OnTime

STEADY = (OnTime(100, 200), OnTime(300, 301), OnTime(400, None, 60))
PATTERN = (OnTime(100, 160, 100, Flash(128, 6)), OnTime(160, 200, 100))


def seen(on_times: tuple[OnTime, ...], until: float, off: float = 0.4) -> list[tuple[float, int]]:
    return [(edge.at_s + off, edge.level) for edge in expected_edges(on_times, until)]


def test_a_pattern_is_counted_edge_by_edge_and_joins_what_follows() -> None:
    edges = expected_edges(PATTERN, 1000.0)
    assert len(edges) == 2 * 30 + 2
    assert edges[1] == Expected(100 + 6 / 64, 0, follows=True)
    assert edges[-2:] == [Expected(160.0, 100), Expected(200.0, 0)]


@pytest.mark.parametrize("on_times", [STEADY, PATTERN])
def test_what_comes_as_planned_agrees(on_times: tuple[OnTime, ...]) -> None:
    found = compare_output("OUT1", expected_edges(on_times, 900.0), seen(on_times, 900.0), 0.0)
    assert found.agrees
    assert found.expected == found.seen
    assert found.worst_error_s == pytest.approx(0.4)
    assert found.worst_length_s == pytest.approx(0.0, abs=1e-9)


@given(number=st.integers(0, 61), on_times=st.sampled_from([STEADY, PATTERN]))
@settings(deadline=None, max_examples=80)
def test_one_edge_less_is_missed(number: int, on_times: tuple[OnTime, ...]) -> None:
    happened = seen(on_times, 900.0)
    del happened[number % len(happened)]
    found = compare_output("OUT1", expected_edges(on_times, 900.0), happened, 0.0)
    assert found.missed
    assert not found.agrees


@given(at=st.floats(1, 890), level=st.sampled_from([0, 100]), on_times=st.sampled_from([STEADY, PATTERN]))
@settings(deadline=None, max_examples=80)
def test_one_edge_more_is_extra(at: float, level: int, on_times: tuple[OnTime, ...]) -> None:
    happened = sorted([*seen(on_times, 900.0), (at, level)])
    assert not compare_output("OUT1", expected_edges(on_times, 900.0), happened, 0.0).agrees


def test_an_edge_later_than_a_second_and_the_clock_is_late() -> None:
    planned = expected_edges(STEADY, 900.0)
    assert compare_output("OUT1", planned, seen(STEADY, 900.0, 1.009), 0.0001).agrees
    assert compare_output("OUT1", planned, seen(STEADY, 900.0, 1.2), 0.0001).late == 5


def test_a_flash_too_long_by_more_than_twenty_milliseconds_is_late() -> None:
    planned = expected_edges(PATTERN, 900.0)
    for error, late in ((0.015, 0), (0.025, 2)):
        happened = seen(PATTERN, 900.0)
        happened[9] = (happened[9][0] + error, happened[9][1])
        assert compare_output("OUT1", planned, happened, 0.0).late == late


def test_edges_of_an_output_that_the_plan_never_uses_are_extra() -> None:
    assert compare_output("OUT1", [], [(5.0, 100), (6.0, 0)], 0.0).extra == 2


def test_pulses_and_patterns_are_put_together_again() -> None:
    happened = seen(PATTERN[:1], 900.0, 0.2)
    assert len(pulses_of(happened, 900.0)) == 30
    assert on_times_of(happened, 900.0) == (OnTime(100, 160, 100, Flash(128, 6)),)
    assert on_times_of(seen(STEADY, 900.0), 500.0) == (OnTime(100, 200), OnTime(300, 301), OnTime(400, 500, 60))
