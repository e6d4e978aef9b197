"""The picture on paper, and the numbers that every picture starts from."""

from __future__ import annotations

import itertools
import json
import re

import numpy as np
import pypdfium2
import pytest
from report_dives import HOSTILE_NAME, Examined, hostile_text

from schedgen.errors import UsageError
from schedgen.report.figure import Measured, debrief, draw, form_of, parts, picture, rendered
from schedgen.report.figure_data import course_at, figure_data, pattern_words, plain
from schedgen.report.figure_style import FAINT, GRID, INK, LIMIT, LINE, SAND, SHADE


def _lightness(colour: str) -> float:
    """Relative luminance of sRGB; source: WCAG 2.2, definition of relative luminance."""
    parts_ = [int(colour[k : k + 2], 16) / 255 for k in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts_]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_shows_a_lane_for_each_output_in_the_boards_order(examined: Examined) -> None:
    subject = examined()
    data = figure_data(subject)
    assert [lane.output for lane in data.lanes] == list(subject.plan.outputs)
    assert [bar.start_s for bar in data.lanes[0].bars] == [on.start_s for on in subject.plan.outputs["OUT1"].on_times]


def test_band_holds_every_case_as_planned(examined: Examined) -> None:
    data = figure_data(examined())
    for key in ("voltage_v", "charge_pct"):
        band = data.bands[key]
        for name in ("nominal", "energy", "voltage", "heat"):
            curves = data.cases[name]
            values = course_at(curves, getattr(curves, key), band.time_s, key == "voltage_v")
            inside = ~np.isnan(values)
            assert inside.any()
            assert (values[inside] >= band.low[inside] - 1e-9).all()
            assert (values[inside] <= band.high[inside] + 1e-9).all()


def test_depth_band_holds_the_deepest_bottom_and_is_closed_at_both_ends(examined: Examined) -> None:
    subject = examined()
    band = figure_data(subject).bands["depth_m"]
    assert band.high.max() == subject.loaded.dive.site.depth.high
    assert band.high[0] == band.low[0] == 0
    assert band.high[-1] == band.low[-1] == 0
    assert (band.low <= band.high).all()


def test_depth_comes_back_from_the_pressure(examined: Examined) -> None:
    subject = examined()
    deepest = figure_data(subject).cases["nominal"].depth_m.max()
    # Pressure is summed over the site's own water, depth taken back by the standard ocean: they part by about 0.1 %.
    assert deepest == pytest.approx(subject.loaded.dive.site.depth.nominal, rel=2e-3)


def test_held_values_hold_and_others_go_on_evenly(examined: Examined) -> None:
    curves = figure_data(examined()).cases["nominal"]
    between = np.array([(curves.time_s[3] + curves.time_s[4]) / 2])
    held = course_at(curves, curves.voltage_v, between, True)
    even = course_at(curves, curves.charge_pct, between, False)
    assert held[0] == curves.voltage_v[3]
    assert even[0] == pytest.approx((curves.charge_pct[3] + curves.charge_pct[4]) / 2)
    assert np.isnan(course_at(curves, curves.voltage_v, np.array([-1.0, 1e9]), True)).all()


def test_limits_are_those_of_the_file_and_the_board(examined: Examined) -> None:
    data = figure_data(examined())
    # Three cells in series: shed low_cut + 0.3 V, release_below + 0.15 V (dive-file page), board from its file.
    assert [(x.name, round(x.value, 3)) for x in data.voltage_limits] == [
        ("shed", 9.3), ("asks for release", 8.85), ("board needs", 7.0),
    ]  # fmt: skip
    assert [x.value for x in data.charge_limits] == [pytest.approx(20.0)]
    assert [x.value for x in data.temperature_limits["camera"]] == [55.0]


def test_a_flash_pattern_is_told_in_words(examined: Examined) -> None:
    flash = examined().plan.outputs["OUT2"].on_times[0].flash
    assert pattern_words(flash) == "0.094 s every 2 s"
    assert pattern_words(None) == ""


def test_numbers_for_the_browser_are_plain_json(examined: Examined) -> None:
    record = plain(figure_data(examined()))
    assert json.loads(json.dumps(record, allow_nan=False)) == record
    assert set(record["cases"]) >= {"nominal", "energy", "string-lost"}
    assert record["offset_min"] == 60


def test_a_long_wait_gets_a_scale_of_its_own(examined: Examined) -> None:
    long = figure_data(examined())
    short = figure_data(examined(("wait: 48 h", "wait: 3 h")))
    assert [part.title for part in parts(long)] == ["dive", "waiting for recovery"]
    assert len(parts(short)) == 1
    assert parts(long)[0].end_s == parts(long)[1].begin_s > long.events[-2].late_s


@pytest.mark.parametrize(("form", "begins"), [("svg", b"<?xml"), ("png", b"\x89PNG"), ("pdf", b"%PDF")])
def test_same_dive_gives_the_same_bytes(examined: Examined, form: str, begins: bytes) -> None:
    data = figure_data(examined())
    first = picture(data, form)
    assert first.startswith(begins)
    assert first == picture(data, form)


def test_the_pdf_is_one_page_that_fits_a4(examined: Examined) -> None:
    document = pypdfium2.PdfDocument(picture(figure_data(examined()), "pdf"))
    assert len(document) == 1
    width, height = document[0].get_size()
    assert width <= 595.3
    assert height <= 841.9
    document.close()


def test_the_svg_names_events_outputs_and_limits(examined: Examined) -> None:
    text = picture(figure_data(examined()), "svg", text_as_paths=False).decode()
    for word in ("splash", "bottom", "surface", "camera  OUT1", "asks for release 8.85", "reserve 20", "UTC+01:00"):
        assert word in text, word
    assert not re.search(r"\d{4}-\d\d-\d\dT", text)


def test_draws_any_name_and_fifty_windows(examined: Examined) -> None:
    data = figure_data(examined(text=hostile_text()))
    assert len(data.lanes[0].bars) >= 45
    assert data.name == HOSTILE_NAME
    assert picture(data, "png")
    svg = picture(data, "svg", text_as_paths=False).decode()
    assert "<img" not in svg
    assert "</script>" not in svg


def test_dollar_signs_in_a_name_are_no_formula(examined: Examined) -> None:
    data = figure_data(examined(("Hollow Bank, bait station 3", "Bank $x^{2$ and $")))
    assert "Bank $x^{2$ and $" in picture(data, "svg", text_as_paths=False).decode()


def test_another_suffix_is_refused_with_those_that_there_are() -> None:
    assert form_of("a/B.SVG") == "svg"
    for name in ("dive.jpeg", "dive", "svg"):
        with pytest.raises(UsageError) as caught:
            form_of(name)
        assert ".svg, .png or .pdf" in caught.value.next_step


def test_inks_are_told_apart_in_grey() -> None:
    """Text and lines on white reach 4.5 : 1 (WCAG AA); shades differ from one another and from the lines."""
    for ink in (INK, LINE, LIMIT):
        assert 1.05 / (_lightness(ink) + 0.05) >= 4.5
    levels = sorted(_lightness(colour) for colour in (INK, LIMIT, FAINT, SHADE, GRID))
    assert all(b - a > 0.02 for a, b in itertools.pairwise(levels))
    assert abs(_lightness(SAND) - _lightness(SHADE)) > 0.1


def test_every_lane_keeps_its_name_in_words(examined: Examined) -> None:
    figure = draw(figure_data(examined()))
    labels = [tick.get_text() for axes in figure.axes for tick in axes.get_yticklabels()]
    for word in ("camera  OUT1", "beacon  OUT2", "stop camera", "release  REL1"):
        assert word in labels, labels


def test_debrief_shows_readings_and_what_happened_beside_the_plan(examined: Examined) -> None:
    data = figure_data(examined())
    measured = Measured([(1800.0 * k, 12.4 - 0.02 * k) for k in range(1, 20)], {"first firing": 34400.0}, 50000.0)
    figure = debrief(data, measured)
    svg = rendered(figure, "svg", text_as_paths=False).decode()
    for word in ("first firing", "journal ends", "release", "planned, nominal"):
        assert word in svg, word
    voltage = figure.axes[3]
    marks = [line for line in voltage.get_lines() if line.get_marker() == "D"]
    assert [list(map(float, line.get_xdata())) for line in marks] == [[1800.0 * k for k in range(1, 20)]]
    assert voltage.get_xlim()[1] >= 50000.0
    assert rendered(debrief(data, measured), "png") == rendered(debrief(data, measured), "png")


def test_debrief_without_readings_is_a_picture_of_the_plan(examined: Examined) -> None:
    assert rendered(debrief(figure_data(examined()), Measured()), "png").startswith(b"\x89PNG")
