"""The electrical engine against closed forms, a fine-step integration and itself."""

from __future__ import annotations

from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from schedgen.simulate import simulate
from schedgen.simulate.engine import MANY, recurrence, terminal
from schedgen.simulate.results import IN_CELLS
from schedgen.simulate.run import prepare
from schedgen.simulate.sampled import simulate_values


def pulsed(make: Any, bursts: int = 12) -> tuple[Any, Any, Any, Any]:
    """A load of 12 W for 10 min each half hour on top of 1.5 W all the time, at 25 degC; nothing is uncertain."""
    times = tuple(make.on(1800 * k + 600, 1800 * k + 1200) for k in range(bursts))
    plan = make.plan(
        {"OUT1": ("lamp", times), "OUT2": ("logger", (make.on(0, 1800 * bursts),))},
        release=1800 * bursts,
        end=1800 * bursts + 3600,
    )
    dive = make.dive(
        {"lamp": make.load("OUT1", make.q(12.0)), "logger": make.load("OUT2", make.q(1.5))},
        primary={"power": None},
        pack={"parallel": 3},
    )
    return dive, make.board(), make.cell(), plan


def test_the_terminal_voltage_obeys_kirchhoff_for_power_current_and_wire_at_once() -> None:
    # V = U - R (P/V + I + G V), checked by putting the answer back.
    u, r, p, i, g = (np.array([v]) for v in (11.4, 0.08, 17.0, 0.4, 0.2))
    volts, amps = terminal(u, r, p, i, g)
    assert amps[0] == pytest.approx(17.0 / volts[0] + 0.4 + 0.2 * volts[0], rel=1e-14)
    assert volts[0] == pytest.approx(11.4 - 0.08 * amps[0], rel=1e-14)


def test_more_power_than_the_source_can_give_ends_at_half_the_voltage_and_never_raises() -> None:
    # matched load: the most a 10 V source behind 1 ohm can give is 25 W, at 5 V
    volts, _ = terminal(np.array([10.0]), np.array([1.0]), np.array([400.0]), np.array([0.0]), np.array([0.0]))
    assert volts[0] == pytest.approx(5.0)


def test_both_ways_of_running_a_recurrence_agree_with_a_plain_loop() -> None:
    rng = np.random.default_rng(5)
    for runs in (1, MANY + 3):
        keep, gain = rng.random((137, runs)), rng.random((137, runs))
        expected = [np.ones(runs)]
        for k in range(137):
            expected.append(keep[k] * expected[-1] + gain[k])
        assert np.allclose(recurrence(keep, gain, np.ones(runs)), expected, rtol=1e-13, atol=0)


def test_constant_power_from_a_flat_voltage_lasts_as_long_as_charge_times_volts_over_power(make: Any) -> None:
    # closed form: t = Q V / P. 2 x 3 Ah at 3 x 3.6 V and 6.48 W last 10 h.
    plan = make.plan({"OUT1": ("beacon", (make.on(0, None),))}, release=600, end=7200)
    dive = make.dive({"beacon": make.load("OUT1", make.q(6.48), "beacon")}, primary={"power": None})
    account = simulate(dive, make.board(), make.flat_cell(), plan).nominal
    assert account.empty_at_s == pytest.approx(36000.0, rel=2e-3)
    assert account.needed_wh == pytest.approx(6.48 * 2, rel=1e-6)
    assert account.usable_wh == pytest.approx(64.8 * 0.8, rel=1e-6)
    assert account.endurance_after_surface_h == pytest.approx((36000 - 1600) / 3600, rel=2e-3)


def test_twelve_hours_at_8_volts_from_17_amperehours_is_about_11_3_watts(make: Any) -> None:
    # common practice, no source: 17 Ah x 8 V / 12 h = 11.33 W
    def lasts(power: float) -> float:
        plan = make.plan({"OUT1": ("beacon", (make.on(0, None),))}, release=600, end=7200)
        dive = make.dive(
            {"beacon": make.load("OUT1", make.q(power), "beacon")},
            primary={"power": None},
            pack={"series": 2, "parallel": 1},
        )
        cell = make.flat_cell(4.0)
        cell.capacity = make.q(17.0)
        return float(simulate(dive, make.board(), cell, plan).nominal.empty_at_s or 0.0) / 3600

    assert lasts(11.3) == pytest.approx(12.0, rel=5e-3)
    assert lasts(11.5) < 12.0 < lasts(11.2)


def test_17_amperehours_from_3_amperehour_cells_need_6_in_parallel(make: Any) -> None:
    # common practice, no source: 5 x 3 = 15 < 17 <= 18 = 6 x 3
    def margin(parallel: int) -> float:
        plan = make.plan({"OUT1": ("lamp", (make.on(0, 36000),))}, release=36000, end=39600)
        power = 17.0 * 10.8 / 10.0
        dive = make.dive(
            {"lamp": make.load("OUT1", make.q(power))},
            primary={"power": None},
            pack={"parallel": parallel, "reserve": make.q(0.0)},
        )
        return simulate(dive, make.board(), make.flat_cell(), plan).nominal.margin_wh

    assert margin(5) < 0 < margin(6)


def test_a_pulsed_dive_agrees_with_a_fine_step_integration_to_a_thousandth(make: Any) -> None:
    # independent: scipy's solve_ivp on the circuit's two equations, edge by edge; the cell is a straight line of
    # 3.0 to 4.2 V with 30 and 15 milliohm and 60 s (made up, see conftest)
    dive, board, cell, plan = pulsed(make)
    capacity_as, series, parallel = 3.0 * 3600 * 3, 3, 3
    r0, r1, tau = 0.03 * series / parallel, 0.015 * series / parallel, 60.0

    def rates(_: float, state: Any, power: float) -> list[float]:
        z, v, *_ = state
        u = series * (3.0 + 1.2 * z) - v
        volts = (u + np.sqrt(u * u - 4 * r0 * power)) / 2
        amps = power / volts
        return [-amps / capacity_as, (amps * r1 - v) / tau, series * (3.0 + 1.2 * z) * amps]

    edges = sorted({0, *(e for k in range(12) for e in (1800 * k + 600, 1800 * k + 1200)), 1800 * 12})
    state, lowest = [1.0, 0.0, 0.0], np.inf
    for begin, end in pairwise(edges):
        lit = (begin % 1800) == 600
        power = 1.5 + (12.0 if lit else 0.0)
        run = solve_ivp(rates, (begin, end), state, args=(power,), rtol=1e-10, atol=1e-12, max_step=5.0)
        state = list(run.y[:, -1])
        u = series * (3.0 + 1.2 * run.y[0]) - run.y[1]
        lowest = min(lowest, float(((u + np.sqrt(u * u - 4 * r0 * power)) / 2).min()))
    account = simulate(dive, board, cell, plan).nominal
    assert account.needed_wh == pytest.approx(state[2] / 3600, rel=1e-3)
    assert account.needed_wh == pytest.approx(state[2] / 3600, rel=2e-6)  # what the method really reaches
    assert account.end_charge == pytest.approx(state[0], abs=1e-6)
    assert account.lowest_voltage_v == pytest.approx(lowest, abs=1e-3)


def test_what_the_loads_take_and_what_the_pack_loses_is_what_the_cells_give(make: Any) -> None:
    # conservation of energy, each side summed on its own
    rails = {
        "v5": make.rail("buck", voltage=make.q(5.0), efficiency=make.q(0.9), idle=make.q(0.001), dropout=make.q(0.5)),
        "v3": make.rail("linear", voltage=make.q(3.3), idle=make.q(0.00001), dropout=make.q(0.3)),
    }
    board = make.board(
        rails,
        {"OUT1": "v5", "OUT2": "v3", "REL1": "pack"},
        supply=make.bag(rail="v3", asleep=make.q(1e-5), awake=make.q(5e-3)),
        pack_sense=make.bag(top=make.q(1e5), bottom=make.q(2e4), tolerance=make.q(0.0)),
    )
    plan = make.plan(
        {
            "OUT1": ("camera", tuple(make.on(1000 + 3000 * k, 1600 + 3000 * k) for k in range(8))),
            "OUT2": ("beacon", (make.on(30000, None, flash=(128, 16)),)),
        },
        release=30000,
        end=60000,
    )
    dive = make.dive(
        {
            "camera": make.load("OUT1", make.q(8.0), "camera", make.bag(power=make.q(14.0), for_=make.q(5.0))),
            "beacon": make.load("OUT2", make.q(2.0), "beacon"),
        }
    )
    results = simulate(dive, board, make.cell(), plan)
    for name, case in results.cases.items():
        account = case.account
        if account.empty_at_s is not None and account.empty_at_s < account.end_s:
            continue
        assert sum(account.by_load_wh.values()) == pytest.approx(account.needed_wh, rel=1e-6), name
        assert sum(account.by_phase_wh.values()) == pytest.approx(account.needed_wh, rel=1e-9), name
    nominal = results.nominal
    assert nominal.by_load_wh[IN_CELLS] > 0
    z, first = nominal.end_charge, 1.0
    given = 3 * 2 * 3.0 * (3.0 * (first - z) + 0.6 * (first**2 - z**2))  # integral of 3.0 + 1.2 z over charge, Wh
    assert nominal.needed_wh == pytest.approx(given, rel=1e-5)


def test_one_run_alone_and_among_many_agree_to_rounding(make: Any) -> None:
    dive, board, cell, plan = pulsed(make, bursts=6)
    dive.loads["lamp"].power = make.q(12.0, 3.0)
    dive.pack.health = make.q(0.8, 0.1)
    values = prepare(dive, board, cell, plan)[2].sample(70, seed=3)
    together = simulate_values(dive, board, cell, plan, values)
    for run in (0, 17, 69):
        alone = simulate_values(dive, board, cell, plan, values[run : run + 1])
        for figure in ("margin_wh", "needed_wh", "lowest_v", "end_charge"):
            one, many = getattr(alone, figure)[0], getattr(together, figure)[run]
            assert one == pytest.approx(many, rel=1e-11), figure


def test_the_named_cases_and_the_sampled_runs_are_one_engine(make: Any) -> None:
    dive, board, cell, plan = pulsed(make, bursts=6)
    dive.loads["lamp"].power = make.q(12.0, 3.0)
    inputs = prepare(dive, board, cell, plan)[2]
    sampled = simulate_values(dive, board, cell, plan, np.stack([inputs.corner("nominal"), inputs.corner("energy")]))
    results = simulate(dive, board, cell, plan)
    for run, name in enumerate(("nominal", "energy")):
        account = results.cases[name].account
        assert sampled.margin_wh[run] == pytest.approx(account.margin_wh, rel=1e-11)
        assert sampled.lowest_v[run] == pytest.approx(account.lowest_voltage_v, rel=1e-11)


def test_a_dead_pack_is_a_result(make: Any) -> None:
    plan = make.plan({"OUT1": ("lamp", (make.on(0, 30000),))})
    dive = make.dive({"lamp": make.load("OUT1", make.q(900.0))})
    account = simulate(dive, make.board(), make.cell(), plan).nominal
    assert account.empty_at_s is not None
    assert account.empty_at_s <= 60.0
    assert account.margin_wh < -1000
    assert account.endurance_after_surface_h == 0.0
    assert account.lowest_release_voltage_v == 0.0
    assert all(np.isfinite(v) for v in account.by_load_wh.values())


def test_the_engine_agrees_with_the_thevenin_model_of_another_library(make: Any) -> None:
    # PyBaMM 26.10's Thevenin model over 12 h of pulses (0.75 W, and 3 W for the last 10 min of each hour): 5 Ah,
    # 30 and 20 milliohm, 30 s; the file's first line says all of it
    folder = Path(__file__).parents[1] / "outside" / "reference"
    theirs = np.loadtxt(folder / "pybamm_pulse_Thevenin_const.csv", delimiter=",", skiprows=2)
    source = np.loadtxt(folder / "pybamm_ocv_Chen2020.csv", delimiter=",", skiprows=2)
    cell = make.cell(
        charge=source[:, 0].tolist(), open_circuit_v=source[:, 1].tolist(), time_constant_s=30.0,
        resistance_ohm=[[0.03, 0.03]] * 2, relaxation_ohm=[[0.02, 0.02]] * 2, cold_pessimistic=[1.0, 1.0],
    )  # fmt: skip
    cell.capacity = make.q(5.0)
    pulses = tuple(make.on(3600 * k + 3000, 3600 * k + 3600) for k in range(12))
    plan = make.plan(
        {"OUT1": ("lamp", pulses), "OUT2": ("logger", (make.on(0, 43200),))}, release=43200, end=43201, up=(0.0,) * 3
    )
    dive = make.dive(
        {"lamp": make.load("OUT1", make.q(2.25)), "logger": make.load("OUT2", make.q(0.75))},
        pack={"series": 1, "parallel": 1, "charge": make.q(0.9999)}, primary={"power": None},
    )  # fmt: skip
    trace = simulate(dive, make.board(), cell, plan).cases["nominal"].trace
    hours, charge = theirs[:, 0], theirs[:, 4]
    ours = np.interp(hours * 3600, trace.time_s, trace.charge)
    assert np.abs(ours - charge).max() < 1e-4  # their table is read at 200 points, as ours is; steps of 1.5 % between
    lowest = simulate(dive, make.board(), cell, plan).nominal.lowest_voltage_v
    assert lowest == pytest.approx(theirs[:, 3].min(), abs=0.001)
