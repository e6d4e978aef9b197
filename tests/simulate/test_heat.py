"""Temperatures in the housing, against sums by hand."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from schedgen.physics import fluids_at, heat
from schedgen.simulate import simulate
from schedgen.simulate.heat import CAMERA_M2, FAN_M_S


def housed(make: Any, fan_level: int = 0, watts: float = 8.0, hours: int = 20, **changes: Any) -> Any:
    """A camera of 8 W on for `hours` in water of 4 degC, in an aluminium housing; deck at 15 degC without sun."""
    times = {"OUT1": ("camera", (make.on(2000, 2000 + hours * 3600),))}
    loads = {"camera": make.load("OUT1", make.q(watts), "camera")}
    loads["camera"].heat_limit = make.q(55.0)
    if fan_level:
        loads["fan"] = make.load("PWM1", make.q(0.0), "fan")
        times["PWM1"] = ("fan", (make.on(2000, 2000 + hours * 3600, fan_level),))
    dive = make.dive(loads, pack={"parallel": 20}, primary={"power": None})
    dive.site.water = [make.bag(depth=make.q(0.0), temperature=make.q(4.0), salinity=make.q(35.0))]
    dive.site.air = make.bag(temperature=make.q(15.0), sun=changes.pop("sun", False))
    dive.vehicle.housing = make.bag(
        outer_diameter=make.q(0.18), length=make.q(0.62), wall=make.q(0.012),
        material=changes.pop("material", "aluminium"),
    )  # fmt: skip
    cell = make.cell(diameter=make.q(0.0185), length=make.q(0.065), resistance_ohm=[[1e-6] * 2] * 2,
                     relaxation_ohm=[[1e-6] * 2] * 2)  # fmt: skip
    plan = make.plan(times, release=90000, end=100000, **changes)
    return simulate(dive, make.board(), cell, plan)


def test_a_camera_on_for_long_settles_where_the_sum_of_resistances_says(make: Any) -> None:
    # in a row: camera film to the air, wall film from the air, half the wall and the sea; the cells take no heat
    trace = housed(make).cases["nominal"].trace
    air = fluids_at.air(20.0)
    still = float(heat.film_vertical_plate(air, 0.1, 10.0)) + float(heat.film_radiation(20.0, 20.0))
    sea = fluids_at.water(4.0, 35.0)
    outside = float(heat.film_horizontal_cylinder(sea, 0.18, 1.0)) * float(heat.tube_area(0.18, 0.62))
    wall = float(heat.wall_cylinder(167.0, 0.156, 0.18, 0.62)) / 2
    kelvin = 8.0 * (1 / (still * CAMERA_M2) + 1 / (still * np.pi * 0.156 * 0.62) + wall + 1 / outside)
    at_the_end = float(trace.load_c["camera"][np.searchsorted(trace.time_s, 74000.0)])
    assert at_the_end == pytest.approx(4.0 + kelvin, abs=0.005)


def test_the_hottest_moment_is_reported_with_its_time(make: Any) -> None:
    results = housed(make)
    trace, found = results.cases["nominal"].trace, results.nominal.heat["camera"]
    assert found.highest_c == pytest.approx(float(trace.load_c["camera"].max()))
    assert 2000.0 < found.at_s <= 74000.0
    assert np.interp(found.at_s, trace.time_s, trace.load_c["camera"]) == pytest.approx(found.highest_c)


def test_a_fan_cools_the_camera_and_more_of_it_cools_more(make: Any) -> None:
    highest = [housed(make, level).nominal.heat["camera"].highest_c for level in (0, 40, 100)]
    assert highest[0] > highest[1] > highest[2]
    assert FAN_M_S == 2.0


def test_the_pack_follows_the_water_with_its_own_heat_capacity(make: Any) -> None:
    trace = housed(make, watts=0.0).cases["nominal"].trace
    at = dict(zip(trace.time_s.tolist(), trace.pack_c.tolist(), strict=True))
    assert at[0.0] == pytest.approx(15.0)
    assert at[max(t for t in at if t <= 4000.0)] > 6.0
    assert trace.pack_c[-1] == pytest.approx(4.0, abs=0.05)
    falling = np.diff(trace.pack_c)
    assert np.all(falling <= 1e-9)


def test_a_sealed_plastic_wall_holds_the_heat_longer(make: Any) -> None:
    warm = housed(make, material="acetal").nominal.heat["camera"].highest_c
    assert warm > housed(make).nominal.heat["camera"].highest_c + 0.3


def test_sun_on_deck_warms_the_heat_case_and_not_the_cold_ones(make: Any) -> None:
    results = housed(make, sun=True, watts=0.0)
    assert results.cases["heat"].account.heat["camera"].highest_c > 25.0
    assert results.cases["energy"].account.heat["camera"].highest_c == pytest.approx(15.0, abs=0.1)
    assert results.worst.heat["camera"].highest_c == results.cases["heat"].account.heat["camera"].highest_c
    assert results.heat == results.worst.heat


def test_without_a_housing_the_cells_are_as_cold_as_the_water_and_that_is_said(make: Any) -> None:
    loads = {"camera": make.load("OUT1", make.q(8.0), "camera")}
    loads["camera"].heat_limit = make.q(55.0)
    dive = make.dive(loads)
    dive.site.water = [make.bag(depth=make.q(0.0), temperature=make.q(4.0, 1.0))]
    results = simulate(dive, make.board(), make.cell(), make.plan({"OUT1": ("camera", (make.on(0, 60),))}))
    assert results.worst.cell_temperature_c[0] == pytest.approx(3.0)
    assert results.worst.heat == {}
    assert any("vehicle.housing" in text for text in results.assumptions)


def test_lights_and_beacons_are_not_taken_to_be_in_the_housing(make: Any) -> None:
    loads = {"lights": make.load("OUT1", make.q(40.0), "light"), "camera": make.load("OUT2", make.q(0.0), "camera")}
    loads["camera"].heat_limit = loads["lights"].heat_limit = make.q(55.0)
    dive = make.dive(loads, pack={"parallel": 20}, primary={"power": None})
    dive.site.water = [make.bag(depth=make.q(0.0), temperature=make.q(4.0), salinity=make.q(35.0))]
    dive.site.air = make.bag(temperature=make.q(4.0), sun=False)
    dive.vehicle.housing = make.bag(
        outer_diameter=make.q(0.18), length=make.q(0.62), wall=make.q(0.012), material="aluminium"
    )
    cell = make.cell(diameter=make.q(0.0185), length=make.q(0.065), resistance_ohm=[[1e-6] * 2] * 2,
                     relaxation_ohm=[[1e-6] * 2] * 2)  # fmt: skip
    plan = make.plan({"OUT1": ("lights", (make.on(0, 30000),)), "OUT2": ("camera", (make.on(0, 30000),))})
    results = simulate(dive, make.board(), cell, plan)
    assert set(results.nominal.heat) == {"camera"}
    assert results.nominal.heat["camera"].highest_c == pytest.approx(4.0, abs=0.01)
