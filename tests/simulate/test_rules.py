"""Each rule of the demand and of the account, by name. Numbers are made up; sums stand beside them."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from schedgen.simulate import simulate
from schedgen.simulate.loads import build_demand, firing_times, power_at_level
from schedgen.simulate.results import BACKUP, CONTROLLER, IN_CELLS, PRIMARY


def run(make: Any, loads: Any, on_times: Any, board: Any = None, cell: Any = None, **plan_and_dive: Any) -> Any:
    dive_keys = {key: plan_and_dive.pop(key) for key in ("pack", "primary", "site") if key in plan_and_dive}
    plan = make.plan(on_times, **plan_and_dive)
    return simulate(make.dive(loads, **dive_keys), board or make.board(), cell or make.flat_cell(), plan)


def test_every_edge_of_every_output_counts(make: Any) -> None:
    times = (make.on(100, 400), make.on(1000, 1600), make.on(20000, 20001))
    account = run(make, {"lamp": make.load("OUT1", make.q(36.0))}, {"OUT1": ("lamp", times)}).nominal
    assert account.by_load_wh["lamp"] == pytest.approx(36.0 * 901 / 3600)


def test_a_surge_is_the_total_while_starting_at_every_switch_on(make: Any) -> None:
    surge = make.bag(power=make.q(12.0), for_=make.q(4.0))
    times = (make.on(100, 400), make.on(1000, 1600))
    results = run(make, {"camera": make.load("OUT1", make.q(7.0), surge=surge)}, {"OUT1": ("camera", times)})
    assert results.nominal.by_load_wh["camera"] == pytest.approx((7.0 * 900 + 5.0 * 8) / 3600)
    assert results.nominal.peak_output_a["OUT1"] == pytest.approx(12.0 / 10.8, rel=1e-6)
    trace = results.cases["nominal"].trace
    at = np.searchsorted(trace.time_s, [100.0, 104.0, 1003.9, 1004.0, 1600.0], side="right") - 1
    assert trace.load_w["camera"][at] == pytest.approx([12.0, 7.0, 12.0, 7.0, 0.0])


def test_a_change_of_level_alone_is_no_switch_on(make: Any) -> None:
    surge = make.bag(power=make.q(30.0), for_=make.q(10.0))
    times = (make.on(100, 400, 50), make.on(400, 700, 100))
    account = run(make, {"lamp": make.load("PWM1", make.q(20.0), surge=surge)}, {"PWM1": ("lamp", times)}).nominal
    assert account.by_load_wh["lamp"] == pytest.approx((30 * 10 + 10 * 290 + 20 * 300) / 3600)


def test_a_surge_ends_with_its_window(make: Any) -> None:
    surge = make.bag(power=make.q(30.0), for_=make.q(100.0))
    account = run(
        make, {"lamp": make.load("OUT1", make.q(20.0), surge=surge)}, {"OUT1": ("lamp", (make.on(100, 140),))}
    ).nominal
    assert account.by_load_wh["lamp"] == pytest.approx(30 * 40 / 3600)


def test_a_load_that_starts_with_less_than_it_takes_later_or_with_nothing_is_followed_too(make: Any) -> None:
    surge = make.bag(power=make.q(2.0), for_=make.q(10.0))
    for watts in (20.0, 0.0):
        account = run(
            make, {"lamp": make.load("OUT1", make.q(watts), surge=surge)}, {"OUT1": ("lamp", (make.on(100, 200),))}
        ).nominal
        assert account.by_load_wh["lamp"] == pytest.approx((2.0 * 10 + watts * 90) / 3600)


def test_a_flash_surges_only_while_lit(make: Any) -> None:
    surge = make.bag(power=make.q(30.0), for_=make.q(16.0))
    account = run(
        make, {"lamp": make.load("OUT1", make.q(20.0), surge=surge)},
        {"OUT1": ("lamp", (make.on(0, 3600, flash=(128, 32)),))},
    ).nominal  # fmt: skip
    assert account.by_load_wh["lamp"] == pytest.approx((30.0 * 16 + 20.0 * 3584) / 4 / 3600)
    assert account.by_load_wh["lamp"] + account.by_load_wh[PRIMARY] == pytest.approx(account.needed_wh, rel=1e-6)


def test_a_level_is_a_share_of_the_power(make: Any) -> None:
    account = run(
        make, {"lamp": make.load("PWM1", make.q(20.0))}, {"PWM1": ("lamp", (make.on(0, 3600, 35),))}, release=7200
    ).nominal
    assert account.by_load_wh["lamp"] == pytest.approx(7.0)


@pytest.mark.parametrize(("level", "watts"), [(25, 3.0), (50, 6.0), (75, 13.0), (100, 20.0)])
def test_power_at_wins_over_level_times_power_and_is_linear_between(make: Any, level: int, watts: float) -> None:
    load = make.load("PWM1", make.q(20.0), power_at=[make.bag(level=make.q(0.5), power=make.q(6.0))])
    assert power_at_level(load, level).nominal == pytest.approx(watts)


def test_a_flash_counts_with_its_mean_for_energy_and_its_peak_for_voltage(make: Any) -> None:
    load = {"beacon": make.load("OUT2", make.q(20.0), "beacon")}
    flash = run(make, load, {"OUT2": ("beacon", (make.on(0, 36000, flash=(128, 8)),))}, cell=make.cell(), release=36000)
    steady = run(make, load, {"OUT2": ("beacon", (make.on(0, 36000),))}, cell=make.cell(), release=36000)
    assert flash.nominal.by_load_wh["beacon"] == pytest.approx(20.0 * 10 / 16)
    # at the start: 12.6 V behind 45 milliohm (3 in series, 2 parallel, 30 milliohm), 20 W
    volts = (12.6 + np.sqrt(12.6**2 - 4 * 0.045 * 20)) / 2
    assert flash.nominal.peak_current_a >= 20.0 / volts
    assert flash.nominal.lowest_voltage_v < 12.6 - 0.045 * 20.0 / 12.6
    assert flash.nominal.lowest_voltage_v > steady.nominal.lowest_voltage_v


def test_a_wire_is_a_resistor(make: Any) -> None:
    # 4 W at 12 V is 36 ohm; at 10.8 V that is 3.24 W for 60 s, and the 6 h tries until 86400 s: at 57660 and 79260 s
    account = run(make, {}, {}, primary={"power": make.q(4.0), "measured_at": make.q(12.0)}).nominal
    assert account.by_load_wh[PRIMARY] == pytest.approx(3.24 * 3 * 60 / 3600, rel=1e-6)
    assert account.lowest_release_voltage_v == pytest.approx(10.8, rel=1e-6)


def test_a_wire_without_measured_at_is_taken_at_the_nominal_pack_voltage(make: Any) -> None:
    account = run(make, {}, {}, primary={"power": make.q(4.0), "measured_at": None}).nominal  # 3 x the label's 3.6 V
    assert account.by_load_wh[PRIMARY] == pytest.approx(4.0 * 3 * 60 / 3600, rel=1e-6)


def test_a_motor_takes_its_stalled_power(make: Any) -> None:
    account = run(make, {}, {}, primary={"kind": "motor", "power": make.q(9.0), "measured_at": make.q(24.0)}).nominal
    assert account.by_load_wh[PRIMARY] == pytest.approx(9.0 * 3 * 60 / 3600, rel=1e-6)


def test_all_tries_run_and_then_one_every_six_hours_until_end(make: Any) -> None:
    firing = make.firing("REL1", 1000, 60, 3, 20)
    tries = [(1000, 1060), (1080, 1140), (1160, 1220)]
    assert firing.last_end_s == 1220
    assert firing_times(firing, 1220 + 21600) == tries
    later = [(22820, 22880), (44420, 44480)]
    assert firing_times(firing, 66000) == tries + later
    assert firing_times(firing, 44450) == [*tries, later[0], (44420, 44450)]  # nothing fires after end


def test_a_converter_costs_its_efficiency_and_its_idle_draw(make: Any) -> None:
    rails = {"v5": make.rail("buck", voltage=make.q(5.0), efficiency=make.q(0.8), idle=make.q(0.01))}
    board = make.board(rails, {"OUT1": "v5", "REL1": "pack"})
    account = run(
        make, {"lamp": make.load("OUT1", make.q(4.0))}, {"OUT1": ("lamp", (make.on(0, 36000),))}, board,
        primary={"power": None},
    ).nominal  # fmt: skip
    assert account.by_load_wh["lamp"] == pytest.approx(50.0)
    assert account.by_load_wh[CONTROLLER] == pytest.approx(0.01 * 10.8 * 24, rel=1e-6)
    assert account.peak_output_a["OUT1"] == pytest.approx(0.8)
    assert account.peak_rail_a["v5"] == pytest.approx(0.8)


def test_a_linear_rail_takes_the_load_current_at_the_pack_voltage(make: Any) -> None:
    board = make.board({"v3": make.rail("linear", voltage=make.q(3.3))}, {"OUT1": "v3", "REL1": "pack"})
    account = run(
        make, {"lamp": make.load("OUT1", make.q(0.33))}, {"OUT1": ("lamp", (make.on(0, 36000),))}, board
    ).nominal
    assert account.by_load_wh["lamp"] == pytest.approx(0.1 * 10.8 * 10, rel=1e-6)


def test_the_controller_sleeps_but_for_its_tick_and_is_awake_while_flashing_or_firing(make: Any) -> None:
    board = make.board(supply=make.bag(rail="pack", asleep=make.q(0.001), awake=make.q(0.051)))
    loads = {"beacon": make.load("OUT2", make.q(0.0), "beacon")}
    account = run(
        make,
        loads,
        {"OUT2": ("beacon", (make.on(36060, 72060, flash=(128, 8)),))},
        board,
        primary={"power": make.q(0.0)},
    ).nominal  # awake: 36000..36060 firing, then 36000 s of flash, in which the 57660 s try lies; the 79260 s one: 60 s
    awake = 36120 + 0.02 * (86400 - 36120)
    assert account.by_load_wh[CONTROLLER] == pytest.approx(10.8 * (0.001 * 86400 + 0.05 * awake) / 3600, rel=1e-6)


def test_the_battery_divider_draws_all_the_time(make: Any) -> None:
    board = make.board(pack_sense=make.bag(top=make.q(8e3), bottom=make.q(2.8e3), tolerance=make.q(0.0)))
    account = run(make, {}, {}, board, primary={"power": None}).nominal
    assert account.by_load_wh[CONTROLLER] == pytest.approx(10.8 * 0.001 * 24, rel=1e-6)


def test_beacon_and_locator_go_on_after_end_until_the_pack_is_empty(make: Any) -> None:
    loads = {"beacon": make.load("OUT1", make.q(1.08), "beacon"), "locator": make.load("OUT2", make.q(1.08), "locator")}
    account = run(
        make, loads, {"OUT1": ("beacon", (make.on(0, None),)), "OUT2": ("locator", (make.on(0, None),))},
        release=1000, end=20000, primary={"power": None},
    ).nominal  # fmt: skip
    assert account.empty_at_s == pytest.approx(64.8 / 2.16 * 3600, rel=2e-3)  # 6 Ah x 10.8 V over 2.16 W: 30 h
    assert account.by_load_wh["beacon"] == pytest.approx(1.08 * 20000 / 3600)  # the account ends at `end`


def test_low_cut_empties_the_pack_before_the_cell_does(make: Any) -> None:
    loads = {"beacon": make.load("OUT1", make.q(1.0), "beacon")}
    times = {"OUT1": ("beacon", (make.on(0, None),))}
    cell = make.cell(resistance_ohm=[[1e-6, 1e-6]] * 2, relaxation_ohm=[[1e-6, 1e-6]] * 2)
    pack = {"protection": make.bag(trip_current=None, low_cut=make.q(3.6))}
    cut = run(make, loads, times, cell=cell, release=1000, end=20000, primary={"power": None}, pack=pack).nominal
    # a straight line of 3.0 to 4.2 V: 3.6 V is half the charge; mean 3.9 V: 9 Ah-cells x 3.9 V at 1 W
    assert cut.empty_at_s == pytest.approx(0.5 * 6 * 3 * 3.9 * 3600, rel=2e-3)
    assert cut.end_charge > 0.5


def test_shed_needs_three_minutes_below_with_cameras_and_lights_off(make: Any) -> None:
    # the lamp's own sag does not count: 12.6 - 4 A x 45 milliohm is above, but the wet cells are below 3.9 V at 75 %
    loads = {"camera": make.load("OUT1", make.q(20.0), "camera"), "logger": make.load("OUT2", make.q(2.0))}
    times = {"OUT1": ("camera", (make.on(0, 6000),)), "OUT2": ("logger", (make.on(0, 36000),))}
    results = run(make, loads, times, cell=make.cell(), shed=3.9)
    trace, account = results.cases["nominal"].trace, results.nominal
    assert account.shed_at_s is not None
    charge = np.interp(account.shed_at_s - 180.0, trace.time_s, trace.charge)
    assert 3.0 + 1.2 * charge == pytest.approx(3.9, abs=0.06)  # and the little sag of 2 W and of relaxation
    assert np.interp(account.shed_at_s, trace.time_s, trace.charge) < 0.78
    with_load_v = np.interp(account.shed_at_s - 1000, trace.time_s, trace.voltage_v) / 3
    assert account.shed_at_s > 1000
    assert with_load_v < 4.2
    assert run(make, loads, times, cell=make.cell(), shed=2.6).nominal.shed_at_s is None


def test_the_reading_of_the_board_may_be_low_in_the_worst_case(make: Any) -> None:
    board = make.board(pack_sense=make.bag(top=make.q(1e6), bottom=make.q(1e6), tolerance=make.q(0.02)))
    loads = {"logger": make.load("OUT2", make.q(2.0))}
    results = run(make, loads, {"OUT2": ("logger", (make.on(0, 36000),))}, board, make.cell(), shed=3.95)
    nominal, worst = results.nominal.shed_at_s, results.worst.shed_at_s
    assert nominal is not None
    assert worst is not None
    # 3.95 V read 2 % low is 4.031 V: 6.7 % of the charge earlier, which 2 W take in some 2.2 h
    assert nominal - worst == pytest.approx(0.0667 * 6 * 3600 * 11.9 / 2.0, rel=0.05)
    assert results.cases["energy"].corner["board.pack_sense.tolerance"] == -0.02


def test_the_release_voltage_behind_a_rail_is_the_rails_or_the_pack_less_its_dropout(make: Any) -> None:
    for volts, expected in ((5.0, 5.0), (12.0, 10.8 - 0.5)):
        rails = {"v": make.rail("buck", voltage=make.q(volts), efficiency=make.q(1.0), dropout=make.q(0.5))}
        account = run(make, {}, {}, make.board(rails, {"REL1": "v"}), primary={"kind": "motor"}).nominal
        assert account.lowest_firing_voltage[PRIMARY] == pytest.approx(expected, rel=1e-6)


def test_an_actuator_that_is_not_fired_has_no_voltage(make: Any) -> None:
    account = run(make, {}, {}, primary={"power": None}).nominal
    assert account.lowest_release_voltage_v is None
    assert BACKUP not in account.lowest_firing_voltage


def test_a_primary_that_the_controller_does_not_fire_moves_surfacing_by_its_interval(make: Any) -> None:
    plan = replace(make.plan({}), primary=None)
    events = dict(plan.true_events)
    events["release"] = type(events["release"])(30000.0, 36000.0, 42000.0)
    events["surface"] = type(events["release"])(31000.0, 37000.0, 43000.0)
    plan = replace(plan, true_events=events)
    dive = make.dive({}, primary={"kind": "dissolving link", "power": None})
    results = simulate(dive, make.board(), make.flat_cell(), plan)
    assert results.nominal.surface_s == pytest.approx(37000.0)
    assert results.cases["energy"].account.surface_s == pytest.approx(43000.0)


def power_bank(make: Any, watts: float, **supplies: Any) -> Any:
    base = {"voltage": make.q(5.0), "limit": make.q(2.0), "efficiency": make.q(0.8), "off_below": make.q(0.06),
            "off_after": make.q(30.0)}  # fmt: skip
    return run(
        make, {"lamp": make.load("OUT1", make.q(watts))}, {"OUT1": ("lamp", (make.on(0, 3600), make.on(10800, 14400)))},
        pack={"supplies": make.bag(**{**base, **supplies}), "series": 1, "parallel": 6}, primary={"power": None},
    ).nominal  # fmt: skip


def test_a_power_bank_gives_its_voltage_and_costs_its_efficiency(make: Any) -> None:
    account = power_bank(make, 4.0)
    assert account.lowest_voltage_v == pytest.approx(5.0)
    assert account.needed_wh == pytest.approx(2 * 4.0 / 0.8, rel=1e-6)
    assert account.by_load_wh["lamp"] == pytest.approx(8.0)
    assert account.by_load_wh[IN_CELLS] == pytest.approx(2.0, rel=1e-5)
    assert account.peak_current_a / 6 == pytest.approx(account.peak_cell_current_a)
    assert account.peak_output_a["OUT1"] == pytest.approx(0.8)


def test_a_power_bank_counts_the_longest_time_below_its_keep_alive_current(make: Any) -> None:
    assert power_bank(make, 4.0).longest_low_current_s == pytest.approx(86400 - 14400)
    assert power_bank(make, 4.0).longest_low_current_at_s == pytest.approx(14400)
    assert power_bank(make, 0.2).longest_low_current_s == pytest.approx(86400)  # 40 mA never keeps it awake


def test_average_power_is_energy_over_the_hours_of_the_phase(make: Any) -> None:
    account = run(
        make, {"lamp": make.load("OUT1", make.q(6.0))}, {"OUT1": ("lamp", (make.on(1000, 36000),))},
        primary={"power": None},
    ).nominal  # fmt: skip
    assert account.by_phase_wh["bottom"] == pytest.approx(6.0 * 35000 / 3600, rel=1e-6)
    assert account.average_w["bottom"] == pytest.approx(6.0, rel=1e-6)
    assert account.by_phase_wh["surface"] == pytest.approx(0.0)


def test_nothing_that_the_plan_does_not_switch_is_a_consumer_but_the_board(make: Any) -> None:
    plan = make.plan({"OUT1": ("camera", (make.on(0, 60),))})
    pulse = replace(plan.outputs["OUT1"], output="OUT3", role="stop")
    plan = replace(plan, outputs={**plan.outputs, "OUT3": pulse})
    demand = build_demand(make.dive({"camera": make.load("OUT1", make.q(7.0))}), make.board(), plan, make.cell())
    assert {c.output for c in demand.consumers if c.account == "camera"} == {"OUT1"}
