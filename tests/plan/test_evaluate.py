"""Two ways to the same schedule: second by second as the firmware does it, and by intervals as the Plan lists it."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from schedgen.plan.assemble import on_times
from schedgen.plan.evaluate import level_at, outputs_at
from schedgen.plan.model import (
    Bounds,
    Burst,
    Clip,
    Fall,
    Firing,
    Flash,
    Follow,
    Interlocks,
    OnTime,
    OutputPlan,
    Plan,
    Window,
)

LAST = 260
LEADERS, FOLLOWERS = ("A", "B"), ("F", "G")


@st.composite
def leading(draw: Any, output: str, may_be_endless: bool) -> Window:
    """A window with its own times: plain, bursts or flash; now and then without a stop."""
    start = draw(st.integers(0, 170))
    stop: int | None = start + draw(st.integers(1, 120))
    moves, stop_moves = draw(st.booleans()), draw(st.booleans())
    level = draw(st.sampled_from((None, 40, 70)))
    kind = draw(st.sampled_from(("plain", "burst", "flash")))
    endless = may_be_endless and draw(st.integers(0, 3)) == 0
    burst = flash = None
    if kind == "burst":
        every = draw(st.integers(2, 40))
        on = draw(st.integers(1, every - 1))
        count = 10_000 if endless else draw(st.integers(1, 6))
        burst, stop = Burst(every, on, count), start + (count - 1) * every + on
    elif kind == "flash":
        flash = Flash(100, draw(st.integers(1, 99)))
    if endless:
        stop, stop_moves = None, False
    return Window("load", output, start, stop, level, moves, stop_moves, burst=burst, flash=flash)


@st.composite
def following(draw: Any, output: str) -> Window:
    """A follower of A or B, or the pulse that stops a recording."""
    leader = draw(st.sampled_from(LEADERS))
    if draw(st.integers(0, 2)) == 0:
        return Window("load", output, None, None, 100, follow=Follow(leader, draw(st.integers(0, 12)), 0, "stop"))
    follow = Follow(leader, draw(st.integers(0, 30)), draw(st.integers(0, 30)))
    clip = None
    if draw(st.booleans()):
        start = draw(st.integers(0, 200))
        clip = Clip(start, start + draw(st.integers(1, 150)), draw(st.booleans()), draw(st.booleans()))
    return Window("load", output, None, None, draw(st.sampled_from((None, 30, 90))), follow=follow, clip=clip)


@st.composite
def plans(draw: Any) -> Plan:
    outputs: dict[str, OutputPlan] = {}
    for output in LEADERS:
        windows = [draw(leading(output, index == 0)) for index in range(draw(st.integers(0, 3)))]
        outputs[output] = OutputPlan(output, "level", "load", "other", tuple(windows), (), ())
    for output in FOLLOWERS:
        windows = [draw(following(output)) for _ in range(draw(st.integers(0, 2)))]
        outputs[output] = OutputPlan(output, "level", "load", "other", tuple(windows), (), ())
    for output in ("R", "S"):
        outputs[output] = OutputPlan(output, "release", "release", "release", (), (), ())
    at, latest = draw(st.integers(70, 170)), 150
    end = draw(st.integers(180, 220))
    which = draw(st.sampled_from(("primary", "backup", "both", "none")))
    fire, tries, pause = draw(st.integers(1, 20)), draw(st.integers(1, 3)), draw(st.integers(0, 20))
    primary = Firing("R", at, fire, tries, pause) if which in ("primary", "both") else None
    backup = Firing("S", latest, fire, tries, pause) if which in ("backup", "both") else None
    zero = Bounds(0, 0, 0)
    events = dict.fromkeys(("start", "splash", "bottom", "surface"), zero)
    events |= {"release": Bounds(at, at, at), "end": Bounds(end, end, end)}
    return Plan(
        name="", board="", board_type=0, trigger="water", planned=None, planned_plus_minus_s=0,  # type: ignore[arg-type]
        clock_tolerance=0, events=events, true_events={}, first_edge_s=draw(st.sampled_from((0, 60))), outputs=outputs,
        primary=primary, backup=backup, interlocks=Interlocks(0, latest, False, 3.1, 2.9, 3, ()), field_changes=(),
        fall=Fall(*[(0.0, 0.0, 0.0)] * 8),
    )  # fmt: skip


def level_in(times: tuple[OnTime, ...], t: int) -> int:
    """Level that a list of on-times gives at second t; the tail of bursts without end is taken burst by burst."""
    for one in times:
        if one.start_s <= t and (one.stop_s is None or t < one.stop_s):
            tail = one.flash is not None and one.flash.every_64 != 100
            if tail and one.flash and (t - one.start_s) * 64 % one.flash.every_64 >= one.flash.on_64:
                return 0
            return one.level
    return 0


def assert_same(plan: Plan, first_firing: int | None) -> None:
    for output in plan.outputs:
        times = on_times(plan, output, first_firing)
        for t in range(LAST):
            expected = level_in(times, t)
            assert level_at(plan, output, t, first_firing) == expected, (output, t, first_firing, times)


@settings(deadline=None, max_examples=700, suppress_health_check=list(HealthCheck))
@given(plans())
def test_every_second_agrees_with_the_listed_on_times(plan: Plan) -> None:
    assert_same(plan, None)


@settings(deadline=None, max_examples=700, suppress_health_check=list(HealthCheck))
@given(plans(), st.integers(60, LAST))  # never before the wet minute
def test_every_second_agrees_when_the_first_firing_comes_early_or_late(plan: Plan, first_firing: int) -> None:
    assert_same(plan, first_firing)


@settings(deadline=None, max_examples=200, suppress_health_check=list(HealthCheck))
@given(plans())
def test_on_times_are_in_order_and_never_touch_with_one_level(plan: Plan) -> None:
    for output in plan.outputs:
        times = on_times(plan, output)
        for one, following_one in pairwise(times):
            assert one.stop_s is not None
            assert one.start_s < one.stop_s <= following_one.start_s
            if one.stop_s == following_one.start_s:
                assert (one.level, one.flash) != (following_one.level, following_one.flash)


@settings(deadline=None, max_examples=200, suppress_health_check=list(HealthCheck))
@given(st.integers(1, 600), st.integers(1, 4), st.integers(0, 600), st.integers(0, 100_000), st.data())
def test_tries_every_six_hours_agree_with_the_list(fire: int, tries: int, pause: int, end: int, data: Any) -> None:
    firing = Firing("R", 1000, fire, tries, pause)
    plan = bare_plan(firing, firing.last_end_s + end)
    spans = firing.all_tries(plan.end_s)
    near = [second + step for span in spans for second in span for step in (-1, 0, 1)]
    for t in (*near, data.draw(st.integers(0, plan.end_s + 10))):
        assert level_at(plan, "R", t) == (100 if any(a <= t < b for a, b in spans) else 0)


def bare_plan(firing: Firing, end: int, windows: tuple[Window, ...] = ()) -> Plan:
    """A plan of one lamp on output A and a release on R."""
    events = {"release": Bounds(firing.at_s, firing.at_s, firing.at_s), "end": Bounds(end, end, end)}
    outputs = {
        "A": OutputPlan("A", "level", "lamp", "other", windows, (), ()),
        "R": OutputPlan("R", "release", "release", "release", (), (), ()),
    }
    return Plan(
        name="", board="", board_type=0, trigger="water", planned=None, planned_plus_minus_s=0,  # type: ignore[arg-type]
        clock_tolerance=0, events=events, true_events={}, first_edge_s=60, outputs=outputs, primary=firing, backup=None,
        interlocks=Interlocks(0, end, False, 3.1, 2.9, 3, ()), field_changes=(), fall=Fall(*[(0.0, 0.0, 0.0)] * 8),
    )  # fmt: skip


FIRING = Firing("R", 10_000, 480, 3, 300)


def test_tries_by_hand() -> None:
    # tries 10000-10480, 10780-11260, 11560-12040, then 12040 + 21600 = 33640-34120; end at 50000
    plan = bare_plan(FIRING, 50_000)
    on = [t for t in (9_999, 10_000, 10_479, 10_480, 10_780, 12_039, 12_040, 33_639, 33_640, 34_119, 34_120) if
          level_at(plan, "R", t)]  # fmt: skip
    assert on == [10_000, 10_479, 10_780, 12_039, 33_640, 34_119]


def test_a_burst_by_hand() -> None:
    # from 1000: 60 s every 300 s, three times: 1000, 1300, 1600
    window = Window("lamp", "A", 1000, 1660, 70, burst=Burst(300, 60, 3))
    plan = bare_plan(FIRING, 50_000, (window,))
    seconds = (999, 1000, 1059, 1060, 1299, 1300, 1359, 1360, 1659, 1660, 1900)
    assert [level_at(plan, "A", t) for t in seconds] == [0, 70, 70, 0, 0, 70, 70, 0, 70, 0, 0]


def test_outputs_at_gives_every_used_output() -> None:
    plan = bare_plan(FIRING, 50_000, (Window("lamp", "A", 9_000, 11_000, 70),))
    assert outputs_at(plan, 9_500) == {"A": 70, "R": 0}
    # cut at the first firing at 10 000
    assert outputs_at(plan, 10_000) == {"A": 0, "R": 100}
