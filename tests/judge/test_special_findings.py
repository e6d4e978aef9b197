"""Findings that no small edit of a file brings: other boards, other figures of a simulation; and what is left open."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest

from schedgen.board.model import Board
from schedgen.judge.names import names
from schedgen.judge.subject import Subject

from .conftest import on_board, with_case, with_worst
from .test_findings import BACKUP, BASE, FAN, LIGHTS, PAIRS, TESTED, button, lake, parallel, trip

ALONE = ((BACKUP, ""),)


def release_output(**values: str) -> Callable[[Board], Board]:
    """The board with a changed REL1."""

    def alter(board: Board) -> Board:
        outputs = dict(board.outputs)
        outputs["REL1"] = outputs["REL1"].model_copy(update=values)
        return board.model_copy(update={"outputs": outputs})

    return alter


@pytest.mark.parametrize("values", [{"pull": "none"}, {"pull": "up"}, {"active": "low"}])
def test_a_release_output_is_pulled_to_where_it_is_off(values: dict[str, str], judged: Callable) -> None:
    found = judged(change=on_board(release_output(**values))).one("release-output-floats")
    assert found.final
    assert "REL1" in found.message
    assert not judged(change=on_board(release_output(active="low", pull="up"))).has("release-output-floats")
    assert not judged().has("release-output-floats")


def test_without_a_water_contact_a_postponed_drop_may_fire_on_deck(judged: Callable) -> None:
    edits = button("20 min .. 30 min")
    bare = on_board(lambda board: board.model_copy(update={"water_contact": None}))
    assert "no water contact" in judged(*edits, change=bare).one("postponed-drop").message
    assert not judged(*edits).has("postponed-drop")
    assert not judged(change=bare).has("postponed-drop")  # the water trigger itself needs the contact


def test_without_a_water_contact_fresh_water_matters_to_no_trigger(judged: Callable) -> None:
    bare = on_board(lambda board: board.model_copy(update={"water_contact": None}))
    assert judged(*lake(1.9)).has("trigger-in-fresh-water")
    assert not judged(*lake(1.9), change=bare).has("trigger-in-fresh-water")


def test_a_cell_gives_no_more_than_it_is_rated_for_at_its_temperature(judged: Callable) -> None:
    # nmc-21700-5000: 2.5 A at 0 degC and 5 A at 10 degC, so 3.75 A at 5 degC; of five cells that differ by +/- 15 %
    # the best takes (1/0.85) / (1/0.85 + 4/1.15) = 0.2527 of all, 1.2635 times the mean: 3.75 A at a mean of 2.968 A
    found = judged(change=with_worst(peak_cell_current_a=2.97, peak_cell_current_c=5.0)).one("cell-overcurrent")
    assert found.final
    assert "rated 3.750 A" in found.message
    assert "raise parallel from 5 to 6" in found.fix
    assert not judged(change=with_worst(peak_cell_current_a=2.965, peak_cell_current_c=5.0)).has("cell-overcurrent")


@pytest.mark.parametrize(
    ("bad", "good", "bound"),
    [((-20.1, 15.0), (-20.0, 15.0), "-20 degC"), ((0.0, 60.1), (0.0, 60.0), "60 degC")],
)
def test_cells_stay_within_their_rated_temperatures(
    bad: tuple[float, float], good: tuple[float, float], bound: str, judged: Callable
) -> None:
    assert f"bound {bound}" in judged(change=with_worst(cell_temperature_c=bad)).one("cell-too-cold").message
    assert not judged(change=with_worst(cell_temperature_c=good)).has("cell-too-cold")


def test_a_trip_before_the_release_cannot_be_accepted_without_an_independent_backup(judged: Callable) -> None:
    assert judged(*trip("2.44 A"), *ALONE).one("protection-trip").final
    assert not judged(*trip("2.44 A")).one("protection-trip").final


def test_a_trip_after_the_release_can_be_accepted(judged: Callable) -> None:
    late = with_worst(peak_current_a=25.0, peak_current_at_s=100_000.0)
    found = judged(*ALONE, change=late).one("protection-trip")
    assert (found.severity, found.final) == ("stop", False)


def test_a_fuse_trips_like_a_protection(judged: Callable) -> None:
    fuse = (("protection: {", "fuse: 2 A\n  protection: {"),)
    found = judged(*fuse).one("protection-trip")
    assert "fuse" in found.message
    assert found.severity == "stop"


def test_a_sag_that_stops_the_release_cannot_be_accepted_without_an_independent_backup(judged: Callable) -> None:
    assert judged(*parallel(1), *ALONE).one("voltage-too-low").final
    assert not judged(*parallel(1)).one("voltage-too-low").final


def test_a_sag_after_the_release_can_be_accepted_though_nothing_backs_it_up(judged: Callable) -> None:
    assert not judged(*parallel(2), *ALONE).one("voltage-too-low").final


def test_a_motor_works_down_to_four_fifths_of_the_voltage_it_was_measured_at(judged: Callable) -> None:
    motor = (("kind: burn wire", "kind: motor"), ("    wire: {metal: steel, diameter: 0.6 mm, exposed: 4 mm}\n", ""))
    key = {"release primary": 8.87}  # 0.8 x 11.1 V is 8.88 V
    assert "motor" in judged(*motor, change=with_worst(lowest_firing_voltage=key)).one("voltage-too-low").message
    key = {"release primary": 8.89}
    assert not judged(*motor, change=with_worst(lowest_firing_voltage=key)).has("voltage-too-low")


def test_a_rail_that_drops_out_names_the_load_on_it(judged: Callable) -> None:
    # rail five of the halyard: 5 V and 0.6 V of dropout
    found = judged(change=with_worst(lowest_output_v={"OUT1": 5.59})).one("voltage-too-low@camera")
    assert "rail five needs 5.60 V" in found.message
    assert not judged(change=with_worst(lowest_output_v={"OUT1": 5.61})).has("voltage-too-low")


def test_an_empty_pack_is_too_low_a_voltage_even_where_no_limit_was_crossed(judged: Callable) -> None:
    found = judged(change=with_worst(empty_at_s=150_000.0)).one("voltage-too-low")
    assert "empty" in found.message
    assert not found.final


def test_low_voltage_that_asks_for_the_release_too_early_is_named(judged: Callable) -> None:
    found = judged(change=with_worst(release_below_at_s=20_000.0)).one("early-release")
    assert "release_below" in found.message
    assert not judged(change=with_worst(release_below_at_s=40_000.0)).has("early-release")


@pytest.mark.parametrize("case", ["string-lost", "stuck:fan"])
def test_a_fault_case_says_what_is_not_covered(case: str, judged: Callable) -> None:
    name = "string-loss" if case == "string-lost" else "load-stuck-on@fan"
    short = judged(change=with_case(case, endurance_after_surface_h=47.9)).one(name)
    assert "not covered: beacon" in short.message
    assert not judged(change=with_case(case, endurance_after_surface_h=48.1)).has(name)
    both = judged(change=with_case(case, endurance_after_surface_h=0.0, empty_at_s=20_000.0)).one(name)
    assert "not covered: release and beacon" in both.message


def test_one_single_string_has_nothing_to_lose_a_string_from(judged: Callable) -> None:
    assert "one single string" in judged(*parallel(1)).one("string-loss").message


def test_rails_and_power_banks_have_limits_too(judged: Callable) -> None:
    over = judged(change=with_worst(peak_rail_a={"five": 4.1, "pack": 11.9}))
    assert "rail five" in over.one("output-overloaded").message
    bank = (("protection: {", "supplies: {voltage: 9 V, limit: 2 A, efficiency: 85 %}\n  protection: {"),)
    # 1 A from the pack's rail, and 1.57 A at 5 V through 87 % are 1.0025 A at 9 V
    peaks = with_worst(peak_rail_a={"five": 1.57, "pack": 1.0})
    assert "power bank" in judged(*bank, change=peaks).one("output-overloaded").message
    peaks = with_worst(peak_rail_a={"five": 1.56, "pack": 1.0})
    assert not judged(*bank, change=peaks).has("output-overloaded")


def test_a_dimmed_light_still_takes_its_full_current_while_it_is_on(judged: Callable) -> None:
    """5 A on PWM1 of the halyard, straight on the pack: 55 W at 11 V, whatever the level is."""
    eleven = with_worst(lowest_output_v={"PWM1": 11.0})
    lamp = "lights: {wired_to: PWM1, power: "
    found = judged((f"{lamp}22 W", f"{lamp}55.1 W"), change=eleven).one("output-overloaded@lights")
    assert "5.01 A" in found.message
    assert not judged((f"{lamp}22 W", f"{lamp}54.9 W"), change=eleven).has("output-overloaded")


def test_a_dissolving_link_measured_in_fresh_water_may_be_used_there(judged: Callable) -> None:
    tested = (
        (
            "parts_after: 24 h ± 20 %",
            "parts_after: 24 h ± 20 %\n    tested: {parts_in: 24 h, salinity: 0, temperature: 6 degC}",
        ),
    )
    assert len(judged(*lake(1.9)).all("wire-in-fresh-water")) == 2
    assert "burn wire" in judged(*lake(1.9), *tested).one("wire-in-fresh-water").message


def test_a_backup_that_the_controller_fires_waits_for_the_last_try(judged: Callable) -> None:
    wired = ((BACKUP, "  backup: {kind: motor, wired_to: REL2, power: 4 W, fire: 1 min}\n"),)
    early = (*wired, ("latest: start + 13 h", "latest: start + 8 h 50 min"))
    assert "latest" in judged(*early).one("backup-before-primary").fix
    assert not judged(*wired).has("backup-before-primary")


def test_a_flooded_float_is_a_caution(judged: Callable) -> None:
    def floats(litres: int) -> tuple[tuple[str, str], ...]:
        one = f"{{volume: {litres} L, mass: 1 kg, rated_depth: 3000 m}}"
        return (("rated_depth: 2000 m", f"rated_depth: 2000 m\n  floats: [{one}, {one}]"),)

    # the least lift is 61.2 N: 6 L of sea water of 1033 kg/m3 are 60.8 N, 7 L are 70.9 N
    assert "one float flooded" in judged(*floats(7)).one("sinks-after-release").message
    assert not judged(*floats(6)).has("sinks-after-release")


def test_a_float_has_its_own_rated_depth(judged: Callable) -> None:
    one = "floats: [{volume: 4 L, mass: 1 kg, rated_depth: 1229 m}]"
    found = judged(("rated_depth: 2000 m", f"rated_depth: 2000 m\n  {one}"))
    assert "float 1" in found.one("depth-rating").message
    assert "1229 m" in found.line_of(found.one("depth-rating"))


@pytest.mark.parametrize(("speed", "severity"), [("6.2 MB/s", "stop"), ("9.3 MB/s", "caution"), ("9.4 MB/s", None)])
def test_a_card_takes_what_the_camera_writes(speed: str, severity: str | None, judged: Callable) -> None:
    # 50 Mbit/s are 6.25 MB/s, and half as much again in bursts are 9.375 MB/s
    found = judged(("card: 256 GB", f"card: 256 GB\n    card_speed: {speed}")).all("card-full")
    assert [f.severity for f in found if "MB/s" in f.message] == ([severity] if severity else [])


@pytest.mark.parametrize(
    ("card", "severity"), [("49 GB", "stop"), ("50 GB", "caution"), ("54 GB", "caution"), ("55 GB", None)]
)
def test_a_nearly_full_card_is_a_caution(card: str, severity: str | None, judged: Callable) -> None:
    # at most 49.2 GB are written: 50 Mbit/s for 7876 s, from the windows of the file, ready_after and close taken off
    found = judged(("card: 256 GB", f"card: {card}")).all("card-full")
    assert [f.severity for f in found if "card holds" in f.message] == ([severity] if severity else [])


def test_recordings_longer_than_four_gibibytes_are_noted(judged: Callable) -> None:
    # the longest window records 3905 s at most: 4 GiB at 8.8 Mbit/s
    assert any("4 GiB" in f.message for f in judged(("bitrate: 50 Mbit/s", "bitrate: 8.9 Mbit/s")).all("card-full"))
    assert not judged(("bitrate: 50 Mbit/s", "bitrate: 8.7 Mbit/s")).has("card-full")


@pytest.mark.parametrize("margin", ["bottom", "backup"])
def test_a_clock_must_hold_each_margin_of_the_release(margin: str, judged: Callable) -> None:
    """1 % of 8 h 27 min are 5 min: with a margin of 4 min the clock is too coarse, with 6 min it is not."""

    def change(seconds: float) -> Callable[[Subject], Subject]:
        def coarse(made: Subject) -> Subject:
            plan, true = made.plan, dict(made.plan.true_events)
            assert plan.primary is not None
            if margin == "bottom":
                at = plan.primary.at_s + min(made.shifts_s)
                true["bottom"] = replace(true["bottom"], late=at - seconds)
            else:
                end = plan.primary.last_end_s + max(made.shifts_s)
                link = made.dive.release.backup.parts_after.low  # type: ignore[union-attr]
                true["splash"] = replace(true["splash"], early=end + seconds - link)
            return replace(made, plan=replace(plan, clock_tolerance=0.01, true_events=true))

        return coarse

    seconds = 240.0
    assert judged(change=change(seconds)).has("clock-too-coarse")
    assert not judged(change=change(seconds * 2)).has("clock-too-coarse")


def test_what_the_encoder_refuses_for_its_range_is_a_counter_range(judged: Callable) -> None:
    found = judged(("latest: start + 13 h", "latest: start + 2 h")).one("counter-range")
    assert found.final
    assert "not_before" in found.message


def test_mud_is_mentioned_on_every_dive(judged: Callable) -> None:
    found = judged().one("stuck-on-bottom")
    assert found.severity == "note"
    assert "61.2 N" in found.message


def test_a_dive_with_no_beacon_and_no_locator_is_told_so(judged: Callable) -> None:
    plain = (
        ("beacon: {wired_to: OUT2, power: 2.0 W}", "beacon: {wired_to: OUT2, power: 2.0 W, role: other}"),
        ("locator: {wired_to: OUT4, power: 0.4 W}", "locator: {wired_to: OUT4, power: 0.4 W, role: other}"),
        ("beacon, from: release, until: end", "beacon, from: release, until: surface"),
        ("locator, from: release, until: end", "locator, from: release, until: surface"),
    )
    assert "no load is a beacon or a locator" in judged(*plain).one("beacon-late").message


def test_a_beacon_that_the_schedule_ends_is_too_short_whatever_the_pack_holds(judged: Callable) -> None:
    """The latest surfacing and 48 h are 205 652 s, 48 h 37 min after the release at 8 h 30 min."""
    line = "beacon, from: release, until: end, every: 2 s, for: 100 ms"
    short = judged((line, "beacon, from: release, until: release + 24 h, every: 2 s, for: 100 ms"))
    assert "until: end" in short.one("beacon-too-short@beacon").fix
    assert "until: release + 24 h" in short.line_of(short.one("beacon-too-short@beacon"))
    assert not judged((line, "beacon, from: release, until: end, every: 30 s, for: 1 s")).has("beacon-too-short")


def test_a_coloured_flash_is_no_distress(judged: Callable) -> None:
    fast = ("every: 2 s", "every: 1 s")
    red = ("beacon: {wired_to: OUT2,", "beacon: {wired_to: OUT2, colour: red,")
    assert judged(fast).has("flash-like-distress")
    assert not judged(fast, red).has("flash-like-distress")


def test_a_dive_without_a_fan_misses_none(judged: Callable) -> None:
    without = (("  fan: {wired_to: PWM2, power: 1.2 W}\n", ""), (FAN, ""))
    assert not judged(*without).has("fan-missing")


@pytest.mark.parametrize(
    ("edits", "name", "missing"),
    [
        ((("  armed_for: 12 h\n", ""),), "armed-idle", "start.armed_for"),
        ((("trip_current: 20 A, ", ""),), "protection-trip", "pack.protection.trip_current"),
        ((("    card: 256 GB\n", ""),), "card-full@camera", "loads.camera.card"),
        ((("    bitrate: 50 Mbit/s\n", ""),), "card-full@camera", "loads.camera.bitrate"),
        ((("    heat_limit: 55 degC\n", ""),), "too-hot@camera", "loads.camera.heat_limit"),
        (
            (("  housing: {outer_diameter: 170 mm, length: 600 mm, wall: 11 mm, material: aluminium}\n", ""),),
            "antenna-awash",
            "vehicle.housing",
        ),
        ((("  antenna_height: 30 cm\n", ""),), "antenna-awash", "vehicle.antenna_height"),
        ((("  current: 0.15 m/s ± 30 %\n", ""),), "drift", "site.current"),
        (
            ((TESTED, ""), ("    wire: {metal: steel, diameter: 0.6 mm, exposed: 4 mm}\n", "")),
            "release-too-weak",
            "tested",
        ),
        (
            (
                (
                    "protection: {",
                    "supplies: {voltage: 9 V, limit: 4 A, efficiency: 85 %}\n  protection: {",
                ),
            ),
            "pack-turns-itself-off",
            "off_below",
        ),
    ],
)
def test_what_a_missing_input_leaves_open_is_said(edits: tuple, name: str, missing: str, judged: Callable) -> None:
    lines = judged(*edits).unchecked(name)
    assert len(lines) == 1
    assert missing in lines[0]
    assert not judged().unchecked(name)


def test_all_is_decided_where_all_is_given(judged: Callable) -> None:
    assert judged().judgement.not_checked == ()


def test_every_name_of_the_table_is_met_in_these_tests() -> None:
    here = {"release-output-floats", "cell-overcurrent", "cell-too-cold", "stuck-on-bottom"}
    here.add("bench-disagrees")  # in tests/bench/test_bench_record.py: it takes a second file
    assert {pair.name.partition("@")[0] for pair in PAIRS} | here == set(names())


def test_the_dive_that_all_are_edits_of_is_a_go(judged: Callable) -> None:
    judgement = judged(*BASE).judgement
    assert judgement.verdict == "go"
    assert {f.severity for f in judgement.findings} == {"caution", "note"}
    assert LIGHTS in judged().text
