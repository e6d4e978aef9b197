"""A block as a schedule again: the same edges as the plan's, in words, and differences line by line."""

from __future__ import annotations

from dataclasses import replace

import pytest
from any_dive import plans
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from settings_dives import HOUR, OUTPUTS, counted_plan, counted_windows, make_plan, window

from schedgen.errors import BlockError
from schedgen.plan.assemble import on_times, with_edges
from schedgen.plan.changes import all_choices, apply_changes
from schedgen.plan.evaluate import level_at
from schedgen.plan.model import Burst, Edge, Flash, Follow, OutputPlan, Plan
from schedgen.settings import DecodedDive, decode, encode
from schedgen.settings.compare import Difference, differences
from schedgen.settings.meaning import combinations
from schedgen.settings.schedule import duration, edges, plan_of, schedule


def with_releases(plan: Plan) -> Plan:
    """The plan with outputs for its releases and the edges of all outputs, as the plan room makes them."""
    outputs = dict(plan.outputs)
    for firing in (plan.primary, plan.backup):
        if firing is not None:
            outputs[firing.output] = OutputPlan(firing.output, "release", "", "release", (), (), ())
    first_edge_s = 60 if plan.trigger == "water" else 0
    ordered = {name: outputs[name] for name in OUTPUTS if name in outputs}
    return with_edges(replace(plan, outputs=ordered, first_edge_s=first_edge_s))


def board_of(plan: Plan) -> DecodedDive:
    return decode(encode(plan, OUTPUTS, 1024).block, OUTPUTS)


def edges_of(plan: Plan) -> dict[str, tuple[Edge, ...]]:
    return {name: output.edges for name, output in plan.outputs.items()}


def not_too_many(plan: Plan) -> bool:
    """Every burst and every further try is an edge, so a dive of months would be slow and tell nothing more."""
    return plan.end_s < 30 * 86400 and sum(one.burst.count for one in plan.windows if one.burst and one.stop_s) < 500


@settings(deadline=None, max_examples=250)
@given(plans(most_windows=4).filter(not_too_many))
def test_a_decoded_block_has_the_edges_of_the_plan(plan: Plan) -> None:
    planned = with_releases(plan)
    assert edges_of(plan_of(board_of(plan))) == edges_of(planned)


@settings(deadline=None, max_examples=100)
@given(plans(most_windows=3).filter(not_too_many), st.integers(-20000, 20000))
def test_a_decoded_block_moves_and_cuts_at_the_first_firing_as_the_plan_does(plan: Plan, offset: int) -> None:
    planned = with_releases(plan)
    assume(planned.first_firing_s is not None)
    fired = max(0, (planned.first_firing_s or 0) + offset)
    board = plan_of(board_of(plan))
    for name, output in planned.outputs.items():
        if output.kind != "release":
            times = [replace(one, line=-1) for one in on_times(planned, name, fired)]
            assert [replace(one, line=-1) for one in on_times(board, name, fired)] == times
        for second in {0, 59, 60, fired - 1, fired, fired + 1, planned.end_s}:
            assert level_at(board, name, second, fired) == level_at(planned, name, second, fired)


@settings(deadline=None, max_examples=60)
@given(plans(most_windows=2).filter(not_too_many))
def test_a_decoded_block_shifts_as_the_plan_does(plan: Plan) -> None:
    planned, board = with_releases(plan), plan_of(board_of(plan))
    for choice in all_choices(plan.field_changes):
        edited = apply_changes(planned, choice)
        again = apply_changes(board, choice)
        if again.end_s == edited.end_s:  # `end` after a shift follows from the fall, which a block does not hold
            assert edges_of(again) == edges_of(edited)


def test_choices_are_counted_in_the_order_of_the_plan() -> None:
    changes = counted_plan().field_changes
    assert tuple(combinations(changes)) == all_choices(changes)
    assert combinations(()) == []


def test_the_edges_of_a_block_come_in_order_of_time() -> None:
    plan = make_plan([window("camera", "OUT1", 30, 90), window("lights", "OUT2", 60, 70)], backup=None)
    firing = plan.primary
    assert firing is not None
    found = edges(board_of(plan))
    # Nothing before the wet minute is over; then the windows, the three tries, and a further try every 6 h.
    assert found[:4] == (Edge(60, "OUT1", 100), Edge(60, "OUT2", 100), Edge(70, "OUT2", 0), Edge(90, "OUT1", 0))
    assert found[4:10] == tuple(
        Edge(9 * HOUR + number * 780 + part, "REL1", level)
        for number in range(3)
        for part, level in ((0, 100), (480, 0))
    )
    assert found[10] == Edge(firing.last_end_s + 6 * HOUR, "REL1", 100)


def test_a_schedule_says_everything_in_words() -> None:
    windows = [
        window("camera", "OUT1", 60, 3 * HOUR),
        window("beacon", "OUT2", 9 * HOUR, None, start_moves=True, flash=Flash(128, 6)),
        window("locator", "PWM2", 9 * HOUR, None, level=35, burst=Burst(300, 20, 9)),
        window("lights", "PWM1", None, None, level=70, follow=Follow("OUT1", 3, 7)),
        window("stop", "OUT3", None, None, follow=Follow("OUT1", 8, 0, "stop")),
    ]
    lines = [str(line) for line in schedule(board_of(make_plan(windows)), {"OUT1": "camera"})]
    assert lines == [
        "board type: 4D2E, layout version 1",
        "clock: starts when in the water for a minute",
        "release: REL1 at 9 h after start, 3 tries of 8 min, 5 min between",
        "backup release: REL2 at 14 h after start, 3 tries of 8 min, 5 min between",
        "not before: 3 h after start",
        "latest: 14 h after start",
        "water: needed before a release",
        "bottom: reached by 1 h 13 min after start",
        "surface: reached 51 min after the last try at the latest",
        "end: 3 d after start",
        "low voltage: 3 cells in series: shed below 3.10 V a cell, release below 2.95 V",
        "kept when shedding: OUT2, OUT4",
        "OUT1 camera: on from 1 min to 3 h",
        "OUT2: on from 9 h (moves with the release) until the pack is empty, flashes every 2 s for 0.09375 s",
        "PWM2: on at 35 % from 9 h until the pack is empty, every 5 min for 20 s",
        "OUT3: 1 s pulse, ends 8 s before each end of OUT1 camera",
        "PWM1: on at 70 % with OUT1 camera, 3 s before to 7 s after",
    ]


def test_durations_are_words_without_empty_ends() -> None:
    wanted = {0: "0 s", 59: "59 s", 60: "1 min", 3600: "1 h", 3661: "1 h 1 min 1 s", 86403: "1 d 0 h 0 min 3 s"}
    assert {seconds: duration(seconds) for seconds in wanted} == wanted


@settings(deadline=None, max_examples=100)
@given(plans(most_windows=3))
def test_a_block_does_not_differ_from_itself(plan: Plan) -> None:
    assert differences(board_of(plan), encode(plan, OUTPUTS, 1024).dive) == ()


def test_differences_are_told_line_by_line() -> None:
    windows = counted_windows()
    changed = [replace(windows[0], stop_s=2 * HOUR), *windows[1:7], *windows[8:]]
    held, wanted = board_of(make_plan(windows)), board_of(make_plan(changed))
    assert differences(held, wanted, {"OUT1": "camera"}) == (
        Difference("OUT1 camera", "on from 1 min to 3 h", "on from 1 min to 2 h"),
        Difference(
            "PWM1",
            "on at 70 % with OUT1 camera, 3 s before to 0 s after, only from 30 min to 9 h (moves with the release)",
            "",
        ),
    )
    assert [(one.what, one.wanted) for one in differences(wanted, held)] == [
        ("OUT1", "on from 1 min to 3 h"),
        ("PWM1", "on at 70 % with OUT1, 3 s before to 0 s after, only from 30 min to 9 h (moves with the release)"),
    ]


BLOCK = encode(counted_plan(), OUTPUTS).block


@pytest.mark.parametrize("byte", range(1, len(BLOCK)))
def test_whatever_bit_differs_is_told(byte: int) -> None:
    right = decode(BLOCK)
    for bit in range(8):
        data = bytearray(BLOCK)
        data[byte] ^= 1 << bit
        try:
            other = decode(bytes(data))
        except BlockError:
            continue
        assert differences(other, right) != ()


def test_windows_in_another_order_are_told_too() -> None:
    dive = board_of(make_plan([window("a", "OUT1", 60, 90), window("b", "OUT2", 60, 90)]))
    turned = replace(dive, windows=dive.windows[::-1])
    assert [one.what for one in differences(turned, dive)] == ["order"]
