"""Events as intervals: hand-worked for a package in a lake of fresh water, 4 degC, 300 m.

By hand, in water of 1000 kg/m3: weight 9.80665 x (62 - 1000 x (0.0515 + 16 / 7200)) = 81.18 N, sink speed
sqrt(2 x 81.18 / (1000 x 1.0 x 0.16)) = 1.0073 m/s, 297.8 s; lift 9.80665 x (51.5 - 46) = 53.94 N, rise speed
sqrt(2 x 53.94 / (1000 x 0.9 x 0.16)) = 0.8655 m/s, 346.6 s. Water that is 0.07 % denser half way down takes 0.37 N of
either: the fall 0.23 % slower, the rise 0.34 % faster; starting from rest costs tau ln 2, 0.8 s down.
"""

from __future__ import annotations

from datetime import timedelta
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from schedgen.dive.times import Planned, When
from schedgen.plan.assemble import on_times
from schedgen.plan.fall import fall_of
from schedgen.plan.model import Bounds, Firing

Whole = Any
E = 40.876e-6
"""Clock: 20 ppm + 0.036 x (25 - 4)^2 = 15.876 ppm + 5 ppm ageing."""


def test_the_clock_error_adds_tolerance_parabola_and_ageing(whole: Whole) -> None:
    assert whole.plan(whole.dive()).clock_tolerance == pytest.approx(E, rel=1e-9)


def test_the_sun_on_deck_warms_the_clock(whole: Whole) -> None:
    dive = whole.dive()
    dive.site.air = SimpleNamespace(temperature=whole.quantity(40.0), sun=True)
    # 40 + 15 = 55 degC is 30 K from the turnover: 20 + 0.036 x 900 + 5 = 57.4 ppm
    assert whole.plan(dive).clock_tolerance == pytest.approx(57.4e-6, rel=1e-9)


def test_with_a_water_trigger_splash_is_the_start(whole: Whole) -> None:
    plan = whole.plan(whole.dive())
    assert plan.events["splash"] == Bounds(0, 0, 0)
    assert plan.first_edge_s == 60


def test_the_way_down_and_up_agrees_with_the_hand_calculation(whole: Whole) -> None:
    plan = whole.plan(whole.dive())
    assert plan.true_events["bottom"].nominal == pytest.approx(297.8 * 1.0023 + 0.8, abs=0.5)
    rise = plan.true_events["surface"].nominal - plan.true_events["release"].nominal - plan.cut_s[1]
    assert rise == pytest.approx(346.6 * 0.9966 + 0.9, abs=0.7)


def test_deck_time_comes_before_the_splash(whole: Whole) -> None:
    dive = whole.dive()
    dive.start = SimpleNamespace(
        trigger="button", planned=Planned(whole.planned), deck_time=whole.quantity(3600.0, 1200.0, 9000.0)
    )
    plan = whole.plan(dive)
    # 1200 x (1 - 40.876e-6) = 1199.95, down; 9000 x (1 + 40.876e-6) = 9000.37, up
    assert plan.events["splash"] == Bounds(1199, 3600, 9001)
    assert plan.first_edge_s == 0
    fall = plan.fall.down_s[1]
    assert plan.true_events["bottom"].early == pytest.approx(1200 + fall)
    assert plan.true_events["bottom"].late == pytest.approx(9000 + fall)


def test_the_release_is_one_second_of_the_clock_and_an_interval_of_true_time(whole: Whole) -> None:
    dive = whole.dive()
    dive.release.primary.at = When("start", 100_000.0)
    dive.release.latest = When("start", 200_000.0)
    plan = whole.plan(dive)
    assert plan.events["release"] == Bounds(100_000, 100_000, 100_000)
    # 100 000 s x 40.876 ppm = 4.0876 s either way
    assert plan.true_events["release"].early == pytest.approx(99_995.9126, abs=1e-3)
    assert plan.true_events["release"].late == pytest.approx(100_004.0878, abs=1e-3)


def test_at_takes_the_late_bound_up(whole: Whole) -> None:
    plan = whole.plan(whole.dive())
    # bottom late 299.357 x (1 + 40.876e-6) = 299.37; + 7200 = 7499.37, up
    assert plan.primary == Firing("REL1", 7500, 120, 2, 60)


def test_not_before_goes_up_and_latest_down(whole: Whole) -> None:
    dive = whole.dive()
    dive.release.not_before = When("start", 3600.25)
    dive.release.latest = When("start", 20_000.75)
    plan = whole.plan(dive)
    assert (plan.interlocks.not_before_s, plan.interlocks.latest_s) == (3601, 20_000)


def test_surface_is_from_the_shortest_cut_to_the_end_of_the_last_try(whole: Whole) -> None:
    plan = whole.plan(whole.dive())
    rise = plan.fall.up_s[1]
    # nothing is known of the wire: it may part at once, or in the last try, which ends 2 x 120 + 60 = 300 s after 7500
    assert plan.events["surface"].early == int(7500 + rise * (1 - E))
    assert plan.events["surface"].late == int(7800 + rise * (1 + E)) + 1
    assert plan.true_events["surface"].early == pytest.approx(7500 / (1 + E) + rise)
    assert plan.true_events["surface"].late == pytest.approx(7800 / (1 - E) + rise)


def test_end_is_late_surface_plus_the_wait(whole: Whole) -> None:
    plan = whole.plan(whole.dive())
    late = 7800 + plan.fall.up_s[2] * (1 + E)
    # 36 000 s x (1 + 40.876e-6) = 36 001.4715 s
    assert plan.events["end"] == Bounds(*[int(late + 36_001.4715) + 1] * 3)


def test_a_measured_time_wins(whole: Whole) -> None:
    dive = whole.dive()
    dive.release.primary.tested = SimpleNamespace(
        parts_in=whole.quantity(60.0, 30.0, 150.0), salinity=whole.quantity(0.0), temperature=whole.quantity(4.0)
    )
    plan = whole.plan(dive)
    # shortest 30 s, nominal 60 s; late is still the end of the last try, 300 s
    assert plan.cut_s == pytest.approx((30, 60, 300))


def test_pauses_count_when_one_try_is_not_enough(whole: Whole) -> None:
    dive = whole.dive()
    dive.release.primary.tested = SimpleNamespace(
        parts_in=whole.quantity(150.0, 130.0, 170.0), salinity=whole.quantity(0.0), temperature=whole.quantity(4.0)
    )
    # 150 s of power are 120 + 60 pause + 30; 130 s are 120 + 60 + 10
    assert whole.plan(dive).cut_s == pytest.approx((190, 210, 300))


def test_a_dissolving_link_parts_by_itself_after_the_splash(whole: Whole) -> None:
    dive = whole.dive()
    dive.release.primary = SimpleNamespace(kind="dissolving link", parts_after=whole.quantity(50_000, 40_000, 60_000))
    dive.release.latest = When("start", 70_000.0)
    plan = whole.plan(dive)
    assert plan.primary is None
    # 40 000 x 40.876 ppm = 1.6; 60 000 x = 2.5
    assert plan.events["release"] == Bounds(39_998, 50_000, 60_003)
    assert plan.true_events["surface"].late == pytest.approx(60_000 + plan.fall.up_s[2])
    assert plan.first_firing_s is None


def test_what_runs_from_a_link_moves_only_when_a_backup_is_fired(whole: Whole) -> None:
    dive = whole.dive(schedule=[whole.line("beacon", "release", "end")])
    fired = SimpleNamespace(**{**vars(dive.release.primary), "wired_to": "REL2", "at": None})
    dive.release.primary = SimpleNamespace(kind="dissolving link", parts_after=whole.quantity(50_000, 40_000, 60_000))
    dive.release.latest = When("start", 70_000.0)
    alone = whole.plan(dive)
    dive.release.backup = fired
    backed = whole.plan(dive)
    assert [plan.outputs["OUT2"].windows[0].start_moves for plan in (alone, backed)] == [False, True]
    # fired at 30 000, the beacon does not wait for 39 998
    assert [(one.start_s, one.stop_s) for one in on_times(backed, "OUT2", 30_000)] == [(30_000, None)]


def test_a_wired_backup_fires_at_latest_and_surfaces_later(whole: Whole) -> None:
    dive = whole.dive()
    dive.release.backup = SimpleNamespace(**{**vars(dive.release.primary), "wired_to": "REL2", "at": None, "tries": 1})
    plan = whole.plan(dive)
    assert plan.backup == Firing("REL2", 20_000, 120, 1, 60)
    assert plan.backup_surface is not None
    # 20 120 / (1 - e) = 20 120.82 + the rise
    assert plan.backup_surface.late == pytest.approx(20_120.82 + plan.fall.up_s[2], abs=0.01)
    assert [(o.start_s, o.stop_s) for o in plan.outputs["REL2"].on_times][:2] == [(20_000, 20_120), (41_720, 41_840)]


def test_after_the_last_try_one_further_try_every_six_hours_until_end(whole: Whole) -> None:
    plan = whole.plan(whole.dive())
    # 7500-7620, 7680-7800; then 7800 + 21 600 = 29 400; the next, 51 000, is past the end at 44 148
    spans = [(one.start_s, one.stop_s) for one in plan.outputs["REL1"].on_times]
    assert spans == [(7500, 7620), (7680, 7800), (29_400, 29_520)]


def test_an_instant_may_order_the_release(whole: Whole) -> None:
    dive = whole.dive()
    dive.start.planned = Planned(whole.planned, 600.0)
    dive.release.primary.at = When("instant", instant=whole.planned + timedelta(hours=3))
    # (10 800 + 600) x (1 + 40.876e-6) = 11 400.47, up
    plan = whole.plan(dive)
    assert plan.primary is not None
    assert plan.primary.at_s == 11_401


def test_weighing_in_the_water_of_the_site_gives_the_weight_that_the_scale_showed(whole: Whole) -> None:
    dive = whole.dive()
    for row in dive.site.water:
        row.temperature = whole.quantity(18.0)
    dive.site.depth = whole.quantity(2.0)
    dive.vehicle.volume = None
    dive.vehicle.weighed_in_water = SimpleNamespace(
        without_ballast=whole.quantity(-5.5, -5.8, -5.2), with_ballast=whole.quantity(8.3, 8.0, 8.6),
        salinity=whole.quantity(0.0), temperature=whole.quantity(18.0),
    )  # fmt: skip
    fall, _, _ = fall_of(dive)
    # 8.3 kg x 9.8072 m/s2 (46 N): 81.40 N; lift 5.5 kg: 53.94 N; each +/- 0.3 kg = 2.94 N
    assert fall.net_weight_n == pytest.approx((78.46, 81.40, 84.34), abs=0.05)
    assert fall.net_lift_n == pytest.approx((51.00, 53.94, 56.88), abs=0.05)


def test_a_corner_that_never_sinks_keeps_numbers_and_is_noted(whole: Whole) -> None:
    dive = whole.dive()
    dive.vehicle.ballast.mass = whole.quantity(16.0, 4.0, 28.0)
    plan = whole.plan(dive)
    # 4 kg of iron in water pull 3.4 kg, less than the 5.5 kg of lift: crawls, 300 m / 0.05 m/s
    assert plan.fall.down_s[2] == pytest.approx(6000.0)
    assert plan.fall.net_weight_n[0] < 0
    assert any("never sinks" in note.message for note in plan.notes)


def uncertain(whole: Whole) -> SimpleNamespace:
    dive = whole.dive()
    dive.vehicle.mass = whole.quantity(46.0, 45.8, 46.2)
    dive.vehicle.volume = whole.quantity(0.0515, 0.0513, 0.0517)
    dive.vehicle.frontal_area = whole.quantity(0.16, 0.15, 0.17)
    dive.vehicle.ballast.mass = whole.quantity(16.0, 15.9, 16.1)
    dive.vehicle.drag_coefficient.down = whole.quantity(1.0, 0.8, 1.2)
    dive.vehicle.drag_coefficient.up = whole.quantity(0.9, 0.7, 1.1)
    dive.site.depth = whole.quantity(300.0, 290.0, 310.0)
    for row in dive.site.water:
        row.salinity = whole.quantity(5.0, 3.0, 7.0)
        row.temperature = whole.quantity(6.0, 4.0, 8.0)
    return dive


@settings(deadline=None, max_examples=60, suppress_health_check=list(HealthCheck))
@given(share=st.lists(st.floats(0, 1), min_size=9, max_size=9))
def test_nothing_inside_the_tolerances_is_faster_or_slower_than_the_corners(whole: Whole, share: list[float]) -> None:
    wide, _, _ = fall_of(uncertain(whole))
    dive = uncertain(whole)
    vehicle = dive.vehicle
    places = [
        (vehicle, "mass"), (vehicle, "volume"), (vehicle, "frontal_area"), (vehicle.ballast, "mass"),
        (vehicle.drag_coefficient, "down"), (vehicle.drag_coefficient, "up"), (dive.site, "depth"),
    ]  # fmt: skip
    places += [(row, "salinity") for row in dive.site.water]
    for (owner, name), s in zip(places, share, strict=True):
        interval = getattr(owner, name)
        setattr(owner, name, whole.quantity(interval.low + s * (interval.high - interval.low)))
    one, _, _ = fall_of(dive)
    assert wide.down_s[0] - 1e-6 <= one.down_s[1] <= wide.down_s[2] + 1e-6
    assert wide.up_s[0] - 1e-6 <= one.up_s[1] <= wide.up_s[2] + 1e-6
    assert wide.net_lift_n[0] - 1e-6 <= one.net_lift_n[1] <= wide.net_lift_n[2] + 1e-6
    assert wide.net_weight_n[0] - 1e-6 <= one.net_weight_n[1] <= wide.net_weight_n[2] + 1e-6
