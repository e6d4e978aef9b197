"""Field changes: what the plan becomes for each combination that the two buttons may choose."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from schedgen.plan import apply_changes, combinations, level_at
from schedgen.plan.changes import unchanged
from schedgen.plan.model import Bounds, ChooseLevel, Plan, ShiftRelease

Whole = Any


def shift(whole: Whole, first: int, last: int, step: float = 1800.0) -> SimpleNamespace:
    return SimpleNamespace(shift="release", step=whole.quantity(step), from_=first, to=last, level=None, values=None)


def levels(whole: Whole, *shares: float) -> SimpleNamespace:
    values = [whole.quantity(share) for share in shares]
    return SimpleNamespace(shift=None, step=None, from_=None, to=None, level="lights", values=values)


@pytest.fixture
def plan(whole: Whole) -> Plan:
    """Release at 7500 (bottom late 299.4 + 7200); not before 3600, latest 20 000; two tries end at 7800."""
    schedule = [
        whole.line("camera", "start+1000", "release-300"),
        whole.line("lights", with_="camera", level=0.7, only=("start", "surface")),
        whole.line("lights", "release+100", "release+200", level=0.2),
        whole.line("beacon", "release", "end"),
        whole.line("fan", "start+6000", "start+12000"),
    ]
    changes = [shift(whole, -3, 7), levels(whole, 0.7, 0.45)]
    found: Plan = whole.plan(whole.dive(schedule=schedule, field_changes=changes))
    return found


def test_combinations_come_with_the_first_change_slowest(plan: Plan) -> None:
    assert plan.field_changes == (ShiftRelease(1800, -3, 7), ChooseLevel("PWM1", (70, 45)))
    found = combinations(plan)
    assert len(found) == 22
    assert found[:3] == ((-3, 70), (-3, 45), (-2, 70))
    assert found[-1] == (7, 45)
    assert unchanged(plan) == (0, 70)


def test_combinations_past_not_before_or_latest_are_not_allowed(plan: Plan) -> None:
    # at 7500 - 3 x 1800 = 2100 and 7500 - 2 x 1800 = 3900: not before 3600 forbids only the first step.
    # last end 7800 + 6 x 1800 = 18 600, + 7 x 1800 = 20 400: latest 20 000 forbids only the last step.
    allowed = dict(zip(combinations(plan), plan.allowed_changes, strict=True))
    assert {steps for (steps, _), yes in allowed.items() if not yes} == {-3, 7}


def test_no_field_changes_need_no_flags(whole: Whole) -> None:
    plan = whole.plan(whole.dive())
    assert (combinations(plan), plan.allowed_changes) == ((), ())


def test_a_shift_moves_the_firing_and_what_hangs_on_the_release(plan: Plan) -> None:
    later = apply_changes(plan, (2, 70))
    assert later.primary is not None
    assert later.primary.at_s == 7500 + 3600
    assert later.events["release"] == Bounds(11_100, 11_100, 11_100)
    for name in ("surface", "end"):
        before, after = plan.events[name], later.events[name]
        assert (after.early, after.late) == (before.early + 3600, before.late + 3600)
    assert later.events["bottom"] == plan.events["bottom"]
    assert later.interlocks == plan.interlocks


def test_a_shift_moves_edges_written_on_the_release_only(plan: Plan) -> None:
    times = {
        name: [(one.start_s, one.stop_s) for one in output.on_times]
        for name, output in apply_changes(plan, (2, 70)).outputs.items()
    }
    # camera from 1000 until 7200 + 3600; beacon from 7500 + 3600; lights follow, and 7600 .. 7700 moves to 11 200
    assert times["OUT1"] == [(1000, 10_800)]
    assert times["OUT2"] == [(11_100, None)]
    assert times["PWM1"] == [(1000, 10_800), (11_200, 11_300)]


def test_a_window_is_cut_at_the_shifted_firing(plan: Plan) -> None:
    # the fan runs 6000 .. 12 000: cut at 7500, or at 11 100 two steps later; its own edges stay
    cut = [(one.start_s, one.stop_s) for one in plan.outputs["PWM2"].on_times]
    later = [(one.start_s, one.stop_s) for one in apply_changes(plan, (2, 70)).outputs["PWM2"].on_times]
    assert (cut, later) == ([(6000, 7500)], [(6000, 11_100)])


def test_a_level_takes_the_place_of_the_first_value_only(plan: Plan) -> None:
    dim = apply_changes(plan, (0, 45)).outputs["PWM1"]
    assert [(one.start_s, one.level) for one in dim.on_times] == [(1000, 45), (7600, 20)]


def test_the_unchanged_choice_changes_nothing(plan: Plan) -> None:
    same = apply_changes(plan, unchanged(plan))
    assert same == replace(plan, field_changes=(), allowed_changes=())


def test_a_choice_that_is_not_offered_is_refused(plan: Plan) -> None:
    with pytest.raises(ValueError, match="not one of"):
        apply_changes(plan, (8, 70))
    with pytest.raises(ValueError, match="1 values for 2"):
        apply_changes(plan, (0,))


def test_true_times_move_with_the_clock_error(plan: Plan) -> None:
    # 3600 s of the controller's clock are 3600 / (1 +/- 40.876e-6) true seconds: 3599.853 and 3600.147
    later = apply_changes(plan, (2, 70))
    assert later.true_events["release"].early - plan.true_events["release"].early == pytest.approx(3599.853, abs=1e-3)
    assert later.true_events["surface"].late - plan.true_events["surface"].late == pytest.approx(3600.147, abs=1e-3)


@settings(deadline=None, max_examples=40, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(steps=st.integers(-2, 6), t=st.integers(0, 30_000))
def test_a_shifted_plan_agrees_with_the_reference_second_by_second(plan: Plan, steps: int, t: int) -> None:
    later = apply_changes(plan, (steps, 70))
    for name, output in later.outputs.items():
        listed = [o.level for o in output.on_times if o.start_s <= t and (o.stop_s is None or t < o.stop_s)]
        assert level_at(later, name, t) == (listed[0] if listed else 0)
