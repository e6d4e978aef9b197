"""The CSV of a case: its fixed columns, a row at every change and at least one a minute."""

from __future__ import annotations

import csv
import io
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from schedgen.simulate import simulate
from schedgen.simulate.csv import csv_rows, csv_text, header


@pytest.fixture(name="trace")
def _trace(make: Any) -> Any:
    times = {"OUT1": ("camera", (make.on(130, 400), make.on(7000, 7300))), "OUT2": ("beacon", (make.on(36000, None),))}
    loads = {"camera": make.load("OUT1", make.q(7.0), "camera"), "beacon": make.load("OUT2", make.q(1.0), "beacon")}
    results = simulate(make.dive(loads), make.board(), make.cell(), make.plan(times, release=36000, end=40000))
    return results.cases["nominal"].trace


def test_the_columns_are_the_fixed_ones_and_then_one_a_load(trace: Any) -> None:
    # the form is fixed by the manual of the dive file
    fixed = ["elapsed_s", "phase", "voltage_v", "current_a", "power_w", "charge_pct"]
    fixed += ["pack_c", "housing_c", "pressure_dbar"]
    assert list(header(trace)) == [*fixed, "camera", "beacon", "release primary"]
    lines = list(csv.reader(io.StringIO(csv_text(trace))))
    assert lines[0] == list(header(trace))
    assert {len(line) for line in lines} == {len(lines[0])}


def test_there_is_a_row_at_every_change_and_one_a_minute(trace: Any) -> None:
    times = np.array([row[0] for row in csv_rows(trace)], dtype=float)
    assert np.all(np.diff(times) > 0)
    assert np.all(np.diff(times) <= 60.0)
    assert {130.0, 400.0, 7000.0, 7300.0, 36000.0, 36060.0} <= set(times)
    assert times[0] == 0.0
    assert times[-1] == 40000.0


def test_a_row_holds_from_its_time_on(trace: Any) -> None:
    rows = {row[0]: row for row in csv_rows(trace)}
    camera = list(header(trace)).index("camera")
    assert [rows[t][camera] for t in (120.0, 130.0, 180.0, 400.0)] == pytest.approx([0.0, 7.0, 7.0, 0.0])
    assert rows[180.0][2] * rows[180.0][3] == pytest.approx(rows[180.0][4])  # type: ignore[operator]


def test_phases_follow_the_events(trace: Any) -> None:
    rows = {row[0]: row[1] for row in csv_rows(trace)}
    assert [rows[t] for t in (0.0, 960.0, 1020.0, 35940.0, 36000.0, 37020.0)] == [
        "descent", "descent", "bottom", "bottom", "ascent", "surface",
    ]  # fmt: skip


def test_the_charge_falls_and_the_pressure_comes_and_goes(trace: Any) -> None:
    rows = list(csv_rows(trace))
    charge = [float(row[5]) for row in rows]
    assert all(a >= b for a, b in pairwise(charge))
    assert charge[0] == pytest.approx(100.0)
    by_time = {row[0]: float(row[8]) for row in rows}
    assert by_time[0.0] == 0.0
    assert by_time[540.0] == pytest.approx(1010.0 * 0.54, rel=1e-6)
    assert by_time[20040.0] == pytest.approx(1010.0)
    assert by_time[39960.0] == 0.0
