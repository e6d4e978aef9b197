"""The rules of the dive file's page on events, one test each. All numbers are worked by hand from these events:

splash 0; bottom 1000.4 early, 1100 nominal, 1200.6 late; release 10 000; surface 11 000.7 / 11 500 / 13 000.2;
end 20 000. Water trigger: nothing before 60 s. Clock error 0 unless a test says otherwise. Firing on REL1 at release.
"""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING, Any

import pytest

from schedgen.dive.times import When
from schedgen.plan.assemble import on_times
from schedgen.plan.model import Burst, Clip, Edge, Flash, Follow, Plan

if TYPE_CHECKING:
    Bench = Any


def spans(plan: Plan, output: str) -> list[tuple[int, int | None]]:
    return [(one.start_s, one.stop_s) for one in plan.outputs[output].on_times]


def notes_named(plan: Plan, name: str) -> list[str]:
    return [note.message for note in plan.notes if note.name == name]


# -- from, until, only


def test_from_takes_the_early_bound_and_until_the_late(bench: Bench) -> None:
    # from: floor(1000.4) = 1000; until: ceil(1200.6) + 600 = 1801
    plan = bench.run(bench.line("camera", "bottom", "bottom+600"))
    assert spans(plan, "OUT1") == [(1000, 1801)]


def test_only_is_the_time_certainly_between(bench: Bench) -> None:
    # only: bottom .. surface is ceil(1200.6) = 1201 to floor(11000.7) = 11000
    plan = bench.run(
        bench.line("camera", "splash", "surface"), bench.line("lights", with_="camera", only=("bottom", "surface"))
    )
    assert plan.outputs["PWM1"].windows[0].clip == Clip(1201, 11000, False, True)
    assert spans(plan, "PWM1") == [(1201, 11000)]


def test_an_event_minus_a_duration_is_earlier(bench: Bench) -> None:
    # bottom - 10 min: floor(1000.4 - 600) = 400
    plan = bench.run(bench.line("camera", "bottom-600", "bottom"))
    assert spans(plan, "OUT1") == [(400, 1201)]


def test_edges_written_on_the_release_move_and_others_do_not(bench: Bench) -> None:
    plan = bench.run(
        bench.line("camera", "bottom", "release-300"),
        bench.line("fan", "release", "surface"),
        bench.line("lights", "splash", "bottom"),
    )
    camera, fan = plan.outputs["OUT1"].windows[0], plan.outputs["PWM2"].windows[0]
    assert (camera.start_moves, camera.stop_moves) == (False, True)
    assert (fan.start_moves, fan.stop_moves) == (True, True)
    lights = plan.outputs["PWM1"].windows[0]
    assert (lights.start_moves, lights.stop_moves) == (False, False)
    # stored as planned absolute seconds: 10000 - 300; 10000 to ceil(13000.2)
    assert (camera.stop_s, fan.start_s, fan.stop_s) == (9700, 10000, 13001)


def test_an_instant_takes_the_uncertainty_of_the_start_and_the_clock(bench: Bench) -> None:
    # two hours after planned, planned +/- 600 s, clock 100 ppm:
    # from: (7200 - 600) x 0.9999 = 6599.34, down 6599; until: (7800 + 600) x 1.0001 = 8400.84, up 8401
    bench.plus_minus_s, bench.error = 600.0, 1e-4
    start, stop = bench.planned + timedelta(seconds=7200), bench.planned + timedelta(seconds=7800)
    plan = bench.run(bench.line("camera", When("instant", instant=start), When("instant", instant=stop)))
    assert spans(plan, "OUT1") == [(6599, 8401)]


def test_sunset_and_sunrise_are_instants(bench: Bench) -> None:
    # sunset found at planned + 3000 s, half an hour later is 4800; sunrise + 0 at 8000; planned +/- 60 s
    bench.plus_minus_s = 60.0
    bench.sun = {"sunset": bench.planned + timedelta(seconds=3000), "sunrise": bench.planned + timedelta(seconds=8000)}
    plan = bench.run(bench.line("camera", "sunset+1800", "sunrise"))
    assert spans(plan, "OUT1") == [(4740, 8060)]


def test_a_sun_that_does_not_set_is_outside_the_dive(bench: Bench) -> None:
    bench.sun = {"sunset": None}
    plan = bench.run(bench.line("camera", "sunset", "release"))
    assert "OUT1" not in plan.outputs
    assert "no sunset" in notes_named(plan, "window-outside-dive")[0]


def test_nothing_is_on_before_the_wet_minute_is_over(bench: Bench) -> None:
    plan = bench.run(bench.line("camera", "splash", "bottom"))
    assert spans(plan, "OUT1") == [(60, 1201)]
    assert "moved to 1 min" in notes_named(plan, "")[0]


def test_nothing_starts_before_zero(bench: Bench) -> None:
    bench.first_edge_s = 0
    plan = bench.run(bench.line("camera", "splash-100", "bottom"))
    assert spans(plan, "OUT1") == [(0, 1201)]
    assert "moved to 0 s" in notes_named(plan, "")[0]


# -- followers


def test_with_follows_every_window_with_lead_and_trail(bench: Bench) -> None:
    # 2000 - 30, 2100 + 40; 3000 - 30, 3100 + 40
    plan = bench.run(
        bench.line("camera", "start+2000", "start+2100"),
        bench.line("camera", "start+3000", "start+3100"),
        bench.line("lights", with_="camera", lead=30, trail=40),
    )
    assert spans(plan, "PWM1") == [(1970, 2140), (2970, 3140)]
    assert plan.outputs["PWM1"].windows[0].follow == Follow("OUT1", 30, 40)


def test_with_follows_every_burst(bench: Bench) -> None:
    # bursts 2000-2060, 2300-2360, 2600-2660 (2900-2960 would pass 2950), each 10 s earlier and 20 s longer
    plan = bench.run(
        bench.line("camera", "start+2000", "start+2950", every=300, for_=60),
        bench.line("fan", with_="camera", lead=10, trail=20),
    )
    assert spans(plan, "PWM2") == [(1990, 2080), (2290, 2380), (2590, 2680)]


def test_gaps_closed_by_lead_and_trail_merge(bench: Bench) -> None:
    # bursts of 60 s every 100 s leave 40 s; 15 s lead + 25 s trail close them exactly: 2000 - 15 to 2260 + 25
    plan = bench.run(
        bench.line("camera", "start+2000", "start+2260", every=100, for_=60),
        bench.line("fan", with_="camera", lead=15, trail=25),
    )
    assert spans(plan, "PWM2") == [(1985, 2285)]


def test_only_cuts_after_merging(bench: Bench) -> None:
    # as above, cut to 2070 .. 2280: the gap 2060 .. 2085 was closed before the cut, so it is on from 2070
    plan = bench.run(
        bench.line("camera", "start+2000", "start+2260", every=100, for_=60),
        bench.line("fan", with_="camera", lead=15, trail=25, only=("start+2070", "start+2280")),
    )
    assert spans(plan, "PWM2") == [(2070, 2280)]


def test_a_lead_never_starts_before_the_first_edge(bench: Bench) -> None:
    plan = bench.run(bench.line("camera", "splash", "bottom"), bench.line("lights", with_="camera", lead=30))
    assert spans(plan, "PWM1") == [(60, 1201)]
    assert "`lead` begins 30 s after start; moved to 1 min" in notes_named(plan, "")


def test_a_follower_with_nothing_to_follow_is_empty(bench: Bench) -> None:
    plan = bench.run(bench.line("lights", with_="camera"))
    assert "PWM1" not in plan.outputs
    assert "camera has no window" in notes_named(plan, "window-empty")[0]


def test_only_the_wrong_way_round_is_empty(bench: Bench) -> None:
    # surely begun at 1201, surely not ended until 1000: bottom .. bottom leaves nothing
    plan = bench.run(
        bench.line("camera", "splash", "release"), bench.line("lights", with_="camera", only=("bottom", "bottom"))
    )
    assert "20 min 1 s" in notes_named(plan, "window-empty")[0]
    assert "16 min 40 s" in notes_named(plan, "window-empty")[0]


# -- bursts and flashes


def test_burst_k_starts_at_from_plus_k_every_and_only_whole_ones_are_kept(bench: Bench) -> None:
    # from 2000, until 4000, 600 s every 900 s: 2000, 2900 (ends 3500); 3800 would end 4400
    plan = bench.run(bench.line("camera", "start+2000", "start+4000", every=900, for_=600))
    window = plan.outputs["OUT1"].windows[0]
    assert window.burst == Burst(900, 600, 2, 2)
    assert (window.start_s, window.stop_s) == (2000, 3500)
    assert spans(plan, "OUT1") == [(2000, 2600), (2900, 3500)]


def test_a_burst_that_ends_exactly_by_until_is_kept(bench: Bench) -> None:
    plan = bench.run(bench.line("camera", "start+2000", "start+3500", every=900, for_=600))
    assert spans(plan, "OUT1") == [(2000, 2600), (2900, 3500)]


def test_no_whole_burst_is_an_empty_window(bench: Bench) -> None:
    plan = bench.run(bench.line("camera", "start+2000", "start+2599", every=900, for_=600))
    assert "no whole burst of 10 min fits its 9 min 59 s" in notes_named(plan, "window-empty")[0]


def test_the_bursts_surely_on_the_bottom_are_counted(bench: Bench) -> None:
    # from 1000: the first, 1000, may come before the late bottom 1201; 2000 .. 9000 (ends 9600) lie surely between it
    # and the release at 10000: 8
    plan = bench.run(bench.line("camera", "bottom", "surface", every=1000, for_=600))
    burst = plan.outputs["OUT1"].windows[0].burst
    # until ceil(13000.2) = 13001: last start <= 12401, k = 11 (12000): 12 bursts
    assert burst == Burst(1000, 600, 12, 8)


def test_every_up_to_ten_seconds_is_one_flash_window(bench: Bench) -> None:
    # 2 s = 128/64; 100 ms = 6.4/64, nearest 6
    plan = bench.run(bench.line("beacon", "release", "end", every=2, for_=0.1))
    window = plan.outputs["OUT2"].windows[0]
    assert (window.flash, window.burst) == (Flash(128, 6), None)
    assert plan.outputs["OUT2"].edges == (Edge(10000, "OUT2", 100, Flash(128, 6)),)


@pytest.mark.parametrize(("every", "for_", "flash"), [(10, 2, True), (11, 2, False), (11, 2.5, True), (12.5, 2, True)])
def test_a_part_second_or_a_short_period_makes_a_flash(bench: Bench, every: float, for_: float, flash: bool) -> None:
    plan = bench.run(bench.line("camera", "start+2000", "start+3000", every=every, for_=for_))
    window = plan.outputs["OUT1"].windows[0]
    assert (window.flash is not None, window.burst is not None) == (flash, not flash)


def test_flash_steps_round_to_the_nearest_and_to_one_at_least(bench: Bench) -> None:
    # 5 ms = 0.32/64, at least 1; 1.0078125 s = 64.5/64, up to 65
    plan = bench.run(bench.line("beacon", "start+100", "start+200", every=1.0078125, for_=0.005))
    assert plan.outputs["OUT2"].windows[0].flash == Flash(65, 1)


def test_a_flash_that_rounding_changes_by_more_than_one_percent_is_noted(bench: Bench) -> None:
    # 100 ms becomes 93.75 ms (6.25 % less); 1 s of every 4 s is exact
    changed = bench.run(bench.line("beacon", "start+100", "start+200", every=2, for_=0.1))
    exact = bench.run(bench.line("beacon", "start+100", "start+200", every=4, for_=1))
    assert notes_named(changed, "") == ["100 ms becomes 93.75 ms, 6 steps of 1/64 s"]
    assert notes_named(exact, "") == []


def test_bursts_of_a_locator_go_on_until_the_pack_is_empty(bench: Bench) -> None:
    # from 19000 every 600 for 60 until end: 19000 and 19600 before the end at 20000; then from 20200 on without a stop
    plan = bench.run(bench.line("locator", "release+9000", "end", every=600, for_=60))
    times = plan.outputs["OUT4"].on_times
    assert [(one.start_s, one.stop_s) for one in times] == [(19000, 19060), (19600, 19660), (20200, None)]
    assert times[-1].flash == Flash(600 * 64, 60 * 64)
    assert plan.outputs["OUT4"].windows[0].stop_s is None


def test_slow_flashes_of_a_beacon_without_end_are_one_pattern(bench: Bench) -> None:
    # 60 s x 64 = 3840 steps fit the settings (8191 at most)
    plan = bench.run(bench.line("beacon", "release", "end", every=60, for_=5))
    assert plan.outputs["OUT2"].windows[0].flash == Flash(3840, 320)


# -- levels and overlaps


def test_a_level_is_a_whole_percent_full_by_default_and_none_on_a_switched_output(bench: Bench) -> None:
    plan = bench.run(
        bench.line("camera", "bottom", "release"), bench.line("lights", with_="camera", level=0.7),
        bench.line("fan", with_="camera"),
    )  # fmt: skip
    levels = {window.load: window.level for window in plan.windows}
    assert levels == {"camera": None, "lights": 70, "fan": 100}


def test_the_highest_level_counts(bench: Bench) -> None:
    # 40 % from 2000 to 3000, 70 % from 2400 to 2600
    plan = bench.run(
        bench.line("lights", "start+2000", "start+3000", level=0.4),
        bench.line("lights", "start+2400", "start+2600", level=0.7),
    )
    assert plan.outputs["PWM1"].edges == (
        Edge(2000, "PWM1", 40), Edge(2400, "PWM1", 70), Edge(2600, "PWM1", 40), Edge(3000, "PWM1", 0)
    )  # fmt: skip


def test_nominal_times_that_overlap_are_a_window_overlap(bench: Bench) -> None:
    # nominal 1100 .. 2000 and 1900 .. 3000
    plan = bench.run(bench.line("camera", "bottom", "start+2000"), bench.line("camera", "start+1900", "start+3000"))
    found = next(note for note in plan.notes if note.name == "window-overlap")
    assert "from 31 min 40 s to 33 min 20 s" in found.message
    assert found.place.line == 11  # the second line


def test_overlap_from_uncertainty_alone_is_merged_and_noted(bench: Bench) -> None:
    # nominal 60 .. 1100 and 1100 .. 3000 only touch; compiled 60 .. 1201 and 1000 .. 3000 overlap
    plan = bench.run(bench.line("camera", "splash", "bottom"), bench.line("camera", "bottom", "start+3000"))
    assert notes_named(plan, "window-overlap") == []
    assert any("from 16 min 40 s to 20 min 1 s" in message for message in notes_named(plan, ""))
    assert spans(plan, "OUT1") == [(60, 3000)]


def test_bursts_of_two_lines_may_alternate(bench: Bench) -> None:
    # 2000-2100, 2400-2500 ... and 2200-2300, 2600-2700 ...: the spans overlap, the bursts never do
    plan = bench.run(
        bench.line("camera", "start+2000", "start+3000", every=400, for_=100),
        bench.line("camera", "start+2200", "start+3000", every=400, for_=100),
    )
    assert notes_named(plan, "window-overlap") == []
    assert spans(plan, "OUT1")[:3] == [(2000, 2100), (2200, 2300), (2400, 2500)]


# -- the first firing


def test_a_window_still_on_at_the_first_firing_is_cut_there(bench: Bench) -> None:
    plan = bench.run(bench.line("camera", "bottom", "start+12000"))
    assert spans(plan, "OUT1") == [(1000, 10000)]


def test_a_window_whose_stop_moves_is_not_cut(bench: Bench) -> None:
    plan = bench.run(bench.line("camera", "bottom", "surface"))
    assert spans(plan, "OUT1") == [(1000, 13001)]


def test_the_whole_span_of_a_repeating_window_ends_at_the_first_firing(bench: Bench) -> None:
    # 9000-9600, 9900-10500 is cut at 10000, 10800 and later never come
    plan = bench.run(bench.line("camera", "start+9000", "start+14000", every=900, for_=600))
    assert spans(plan, "OUT1") == [(9000, 9600), (9900, 10000)]


def test_a_leader_that_is_cut_takes_its_followers_with_it(bench: Bench) -> None:
    plan = bench.run(bench.line("camera", "bottom", "start+12000"), bench.line("fan", with_="camera", trail=240))
    assert spans(plan, "PWM2") == [(1000, 10000)]


def test_a_burst_that_the_firing_forestalls_gives_its_follower_no_lead(bench: Bench) -> None:
    # bursts at 9000 and 9995; the burst after the firing (10990) never comes, nor does its lead
    plan = bench.run(
        bench.line("camera", "start+9000", "start+12000", every=995, for_=100),
        bench.line("lights", with_="camera", lead=994),
    )
    assert spans(plan, "PWM1") == [(8006, 10000)]


def test_what_is_planned_after_the_release_is_not_cut(bench: Bench) -> None:
    plan = bench.run(bench.line("camera", "start+12000", "start+13000"))
    assert spans(plan, "OUT1") == [(12000, 13000)]


def test_moving_edges_run_from_an_early_first_firing(bench: Bench) -> None:
    # fired at 7000 instead of 10000: the beacon comes on at 7000, the camera (until release - 300) stops at 7000
    # because 6700 is past, and the window planned for 12000 after release + 2000 now runs from 9000
    plan = bench.run(
        bench.line("beacon", "release", "end"), bench.line("camera", "bottom", "release-300"),
        bench.line("fan", "release+2000", "release+2500"),
    )  # fmt: skip
    times = {output: [(o.start_s, o.stop_s) for o in on_times(plan, output, 7000)] for output in plan.outputs}
    assert times == {"OUT2": [(7000, None)], "OUT1": [(1000, 7000)], "PWM2": [(9000, 9500)]}


def test_moving_edges_do_not_wait_for_a_late_first_firing(bench: Bench) -> None:
    # fired at 11000: the beacon is on from the planned 10000; the fixed window is on until the command
    plan = bench.run(bench.line("beacon", "release", "end"), bench.line("camera", "bottom", "start+12000"))
    times = {output: [(o.start_s, o.stop_s) for o in on_times(plan, output, 11000)] for output in plan.outputs}
    assert times == {"OUT2": [(10000, None)], "OUT1": [(1000, 11000)]}


# -- the end of the dive


def test_beacon_and_locator_until_end_go_on(bench: Bench) -> None:
    plan = bench.run(bench.line("beacon", "release", "end"), bench.line("locator", "bottom", "end"))
    assert spans(plan, "OUT2") == [(10000, None)]
    assert spans(plan, "OUT4") == [(1000, None)]


def test_a_beacon_that_stops_before_end_stops(bench: Bench) -> None:
    plan = bench.run(bench.line("beacon", "release", "end-3600"))
    assert spans(plan, "OUT2") == [(10000, 16400)]


def test_nothing_else_passes_end(bench: Bench) -> None:
    plan = bench.run(bench.line("fan", "release", "end+600"))
    assert spans(plan, "PWM2") == [(10000, 20000)]
    assert "5 h 43 min 20 s" in notes_named(plan, "window-outside-dive")[0]


def test_a_follower_of_an_endless_beacon_is_off_at_end(bench: Bench) -> None:
    plan = bench.run(bench.line("beacon", "release", "end"), bench.line("fan", with_="beacon", trail=60))
    assert spans(plan, "PWM2") == [(10000, 20000)]


# -- what cannot be


def test_edges_in_the_wrong_order_are_outside_the_dive(bench: Bench) -> None:
    # nominal until 1100 before nominal from 3000; compiled 3000 .. 1201 leaves nothing
    plan = bench.run(bench.line("camera", "start+3000", "bottom"))
    assert "18 min 20 s after start, and `from` 50 min" in notes_named(plan, "window-outside-dive")[0]
    assert len(notes_named(plan, "window-empty")) == 1


def test_bounds_that_close_a_window_make_it_empty(bench: Bench) -> None:
    # the wet minute moves 10 .. 50 s to 60 .. 50 s
    plan = bench.run(bench.line("camera", "start+10", "start+50"))
    assert len(notes_named(plan, "window-empty")) == 1
    assert "OUT1" not in plan.outputs


# -- the pulse that ends a recording


def camera_with_stop(bench: Bench, close_s: float) -> None:
    rule = type("Rule", (), {"kind": "output", "output": "OUT3"})()
    bench.loads["camera"] = bench.load("OUT1", "camera", stop=rule, close_before_off=bench.quantity(close_s))


def test_a_recording_ends_with_a_pulse_inside_the_window(bench: Bench) -> None:
    # off at 3000, 8 s to close: the pulse of 1 s is 2991 .. 2992
    camera_with_stop(bench, 8)
    plan = bench.run(bench.line("camera", "start+2000", "start+3000"))
    assert spans(plan, "OUT3") == [(2991, 2992)]
    assert plan.outputs["OUT3"].windows[0].follow == Follow("OUT1", 8, 0, "stop")


def test_each_burst_ends_with_its_pulse(bench: Bench) -> None:
    camera_with_stop(bench, 8)
    plan = bench.run(bench.line("camera", "start+2000", "start+2950", every=300, for_=60))
    assert spans(plan, "OUT3") == [(2051, 2052), (2351, 2352), (2651, 2652)]


def test_windows_that_join_are_one_recording(bench: Bench) -> None:
    camera_with_stop(bench, 8)
    plan = bench.run(bench.line("camera", "start+2000", "start+3000"), bench.line("camera", "start+3000", "start+4000"))
    assert spans(plan, "OUT3") == [(3991, 3992)]


def test_a_recording_that_the_release_cuts_is_stopped_in_time(bench: Bench) -> None:
    camera_with_stop(bench, 8)
    plan = bench.run(bench.line("camera", "bottom", "start+12000"))
    assert spans(plan, "OUT3") == [(9991, 9992)]


def test_a_window_too_short_for_the_pulse_gets_none(bench: Bench) -> None:
    # 9 s of closing and pulse do not fit 8 s
    camera_with_stop(bench, 8)
    plan = bench.run(bench.line("camera", "start+2000", "start+2008"))
    assert spans(plan, "OUT3") == []
