"""What the report works out for information, against short formulas and against the rules themselves."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import pytest

from schedgen.judge.information import Said, information
from schedgen.judge.sizing import least_strings, passes, room_for, strongest_cell_a
from schedgen.judge.subject import Subject
from schedgen.judge.warmth import temperatures
from schedgen.physics import light

from .test_findings import parallel

ONE_FLOAT = "    - {volume: 4 L, mass: 1.5 kg, rated_depth: 2500 m}\n"
FLOATS = ("  rated_depth: 2000 m\n", f"  rated_depth: 2000 m\n  floats:\n{ONE_FLOAT}{ONE_FLOAT}")
TOPICS = "Pressure Weight Waters Floating Clock Release Light Drift Cold Current Pack"


def said(made: Subject) -> dict[str, Said]:
    return {one.topic: one for one in information(made)}


def test_topics_stand_in_a_fixed_order(subject: Callable[..., Subject]) -> None:
    assert " ".join(one.topic for one in information(subject())) == TOPICS


def test_no_figure_is_missing_or_endless(subject: Callable[..., Subject]) -> None:
    for one in information(subject()):
        assert one.text.isascii()
        assert "nan" not in one.text.split()
        assert all(value is None or math.isfinite(value) for value in one.figures.values()), one.topic


def test_a_float_that_floods_takes_what_it_displaced(subject: Callable[..., Subject]) -> None:
    # 4 L of water of about 1035 kg/m3 at the bottom weigh 40.6 N
    made = subject(FLOATS)
    left = said(made)["Float lost"].figures["least_lift_n"]
    assert made.plan.fall.net_lift_n[0] - left == pytest.approx(0.004 * 1035 * 9.807, rel=2e-3)
    assert "of 2 floats" in said(made)["Float lost"].text
    assert "Float lost" not in said(subject())


def test_a_beacon_is_seen_as_far_as_allard_says(subject: Callable[..., Subject]) -> None:
    made = subject()
    load, figures = made.dive.loads["beacon"], said(made)["Light"].figures
    flash = made.on_times("beacon")[-1].flash
    assert flash is not None
    peak = load.power.nominal * 90 / (2 * math.pi)
    seen = light.visible_range(light.effective_intensity(peak, flash.on_64 / 64))
    assert figures["nominal_nm"] == pytest.approx(seen)
    assert figures["least_nm"] < seen < figures["most_nm"]


def test_a_light_of_another_colour_gets_no_range(subject: Callable[..., Subject]) -> None:
    text = "power: 2.0 W"
    assert "Light" in said(subject((text, f"{text}, colour: White")))
    assert "Light" not in said(subject((text, f"{text}, colour: red")))


def test_both_tables_of_the_cold_are_said(subject: Callable[..., Subject]) -> None:
    made = subject()
    figures = said(made)["Cold"].figures
    coldest = made.run.worst.cell_temperature_c[0]
    assert figures["nominal_share"] == made.cell.tables.cold_share(coldest, 0.0)
    assert figures["pessimistic_share"] == made.cell.tables.cold_share(coldest, 1.0)
    assert figures["pessimistic_share"] < figures["nominal_share"]
    assert figures["worst_kept_back_wh"] == made.run.worst.cold_loss_wh


def test_the_strongest_cell_takes_more_than_its_share(subject: Callable[..., Subject]) -> None:
    made = subject()  # five strings, 15 % apart: (1/0.85) / (1/0.85 + 4/1.15) of the current instead of 0.2
    assert strongest_cell_a(made, made.run.worst) == pytest.approx(made.run.worst.peak_current_a * 0.25275, rel=1e-4)


def test_a_fuse_is_held_to_what_it_carries_for_hours(subject: Callable[..., Subject]) -> None:
    limits = "protection: {trip_current: 20 A, low_cut: 2.8 V}"
    made = subject((limits, f"{limits}\n  fuse: 8 A"))
    figures = said(made)["Current"].figures
    assert figures["fuse_share"] == pytest.approx(made.run.worst.peak_current_a / 6.0)
    assert "of what the fuse carries for hours" in said(made)["Current"].text


def pack_stops(judged: Any) -> list[str]:
    names = {"reserve-short", "beacon-too-short", "voltage-too-low", "cell-overcurrent", "early-release"}
    return [finding.name for finding in judged.judgement.findings if finding.name in names]


def test_the_least_count_of_strings_is_the_first_that_the_rules_let_pass(judged: Callable) -> None:
    made = judged()
    least = least_strings(made.subject)
    assert least is not None
    assert not pack_stops(judged(*parallel(least)))
    assert pack_stops(judged(*parallel(least - 1)))


def test_a_pack_passes_by_the_account_of_the_whole_simulation_too(judged: Callable) -> None:
    for count in (2, 3, 5):
        made = judged(*parallel(count)).subject
        worst = made.run.cases["energy"].account
        least = least_strings(made)
        assert least is not None
        assert passes(made, _until_end(worst), count) == (count >= least)


def _until_end(account: Any) -> Any:
    """An account as `with_strings` gives it: empty only when it is so before `end`."""
    from dataclasses import replace

    lasts = account.empty_at_s is None or account.empty_at_s >= account.end_s
    return replace(account, empty_at_s=None if lasts else account.empty_at_s)


def test_cells_are_counted_into_their_bore(subject: Callable[..., Subject]) -> None:
    # 15 cells of 21.2 mm, 1 mm apart: (4.5214 - 1) x 22.2 + 21.2 mm = 99.37 mm (ratio of 15 circles, Graham 1998)
    text = "  reserve: 20 %\n"
    tight, wide = (
        subject((text, f"{text}  layout: {{bore: {bore}, spacing: 1 mm}}\n")) for bore in ("99.3 mm", "99.5 mm")
    )
    room = room_for(wide, 5)
    assert room is not None
    assert room.fits
    assert room.bore_needed_m == pytest.approx(0.09937, abs=2e-5)
    other = room_for(tight, 5)
    assert other is not None
    assert not other.fits
    assert "do not stand in one layer" in said(tight)["Pack"].text
    assert room_for(subject(), 5) is None


def test_clock_errors_grow_with_the_dive(subject: Callable[..., Subject]) -> None:
    made = subject()
    figures = said(made)["Clock"].figures
    assert figures["end_s"] == pytest.approx(made.plan.clock_tolerance * made.plan.events["end"].late)
    assert figures["bottom_s"] < figures["release_s"] < figures["surface_s"] < figures["end_s"]


def test_which_end_is_up_is_said_where_the_centres_are_given(subject: Callable[..., Subject]) -> None:
    row = "  antenna_height:"
    made = subject((row, "  centres: {of_mass: 30 cm, of_volume: 41 cm}\n" + row))
    assert said(made)["Floating"].figures["upright"] is True
    turned = subject((row, "  centres: {of_mass: 41 cm, of_volume: 30 cm}\n" + row))
    assert said(turned)["Floating"].figures["upright"] is False
    assert said(subject())["Floating"].figures["upright"] is None


def test_without_a_simulation_only_the_rest_is_said(subject: Callable[..., Subject]) -> None:
    made = subject()
    topics = set(said(Subject(made.parts, made.plan)))
    assert {"Pressure", "Clock", "Light", "Drift"} <= topics
    assert not topics & {"Cold", "Current", "Pack", "Release"}
    assert temperatures(Subject(made.parts, made.plan)) == {}


def test_temperatures_lie_between_water_and_deck(subject: Callable[..., Subject]) -> None:
    made = subject()
    ranges = temperatures(made)
    rows = made.dive.site.water
    assert set(ranges) <= {"deck", "descent", "bottom", "ascent", "surface"}
    low, high = ranges["bottom"]["cells"]
    assert min(row.temperature.low for row in rows) <= low < high <= made.run.worst.cell_temperature_c[1]
    assert max(nodes["camera"][1] for nodes in ranges.values()) == pytest.approx(
        made.run.worst.heat["camera"].highest_c
    )
