"""The cases: corners, what goes wrong on top of them, and that the worst is really the worst."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from schedgen.dive.vehicle import After, RestVoltage
from schedgen.errors import OutOfRange
from schedgen.simulate import simulate, simulate_many
from schedgen.simulate.run import prepare
from schedgen.simulate.sampled import simulate_values


def uncertain_dive(make: Any) -> tuple[Any, Any, Any, Any]:
    """A dive in which everything is uncertain; numbers are made up."""
    rails = {
        "v5": make.rail("buck", voltage=make.q(5.0), efficiency=make.q(0.9, 0.03), idle=make.q(0.001, 0.0005)),
        "v3": make.rail("linear", voltage=make.q(3.3), idle=make.q(2e-5, 1e-5)),
    }
    board = make.board(
        rails,
        {"OUT1": "v5", "PWM1": "pack", "OUT2": "v5", "OUT3": "v5", "REL1": "pack"},
        supply=make.bag(rail="v3", asleep=make.q(2e-5, 1e-5), awake=make.q(6e-3, 2e-3)),
        pack_sense=make.bag(top=make.q(1e5), bottom=make.q(2e4), tolerance=make.q(0.01)),
    )
    bursts = tuple(make.on(3000 + 3600 * k, 3900 + 3600 * k) for k in range(8))
    lit = tuple(make.on(2997 + 3600 * k, 3900 + 3600 * k, 70) for k in range(8))
    plan = make.plan(
        {
            "OUT1": ("camera", bursts),
            "PWM1": ("lights", lit),
            "OUT2": ("beacon", (make.on(36000, None, flash=(128, 7)),)),
            "OUT3": ("locator", (make.on(36000, None),)),
        },
        release=36000,
        end=150000,
        clock=1e-4,
        firing=make.firing("REL1", 36000, 480, 3, 300),
        down=(1300.0, 1500.0, 1800.0),
        up=(1400.0, 1600.0, 2000.0),
        parting=(120.0, 400.0, 2040.0),
        trigger="button",
        deck=(600.0, 1200.0, 1800.0),
    )
    dive = make.dive(
        {
            "camera": make.load(
                "OUT1", make.q(7.0, 0.5), "camera", make.bag(power=make.q(11.0, 1.0), for_=make.q(4.0, 2.0))
            ),
            "lights": make.load("PWM1", make.q(20.0, 2.0), "light"),
            "beacon": make.load("OUT2", make.q(2.0, 0.3), "beacon"),
            "locator": make.load("OUT3", make.q(0.4, 0.1), "locator"),
        },
        pack={"parallel": 5, "charge": make.q(0.95, 0.03), "health": make.q(0.9, 0.05)},
        primary={"power": make.q(4.0, 0.5), "measured_at": make.q(10.8, 0.3)},
    )
    rows = ((0.0, 12.0), (200.0, 9.0), (1000.0, 4.0))
    dive.site.water = [make.bag(depth=make.q(d), temperature=make.q(t, 1.0), salinity=make.q(35.0)) for d, t in rows]
    dive.site.depth = make.q(900.0, 50.0)
    dive.site.air = make.bag(temperature=make.q(15.0, 4.0), sun=True)
    dive.vehicle.housing = make.bag(
        outer_diameter=make.q(0.18), length=make.q(0.6), wall=make.q(0.01), material="aluminium"
    )
    dive.loads["camera"].heat_limit = make.q(55.0)
    cell = make.cell(resistance_spread=make.q(0.15), diameter=make.q(0.0185), length=make.q(0.065))
    return dive, board, cell, plan


def with_backup(make: Any, dive: Any, hours: float) -> Any:
    dive.release.backup = make.bag(
        kind="dissolving link", parts_after=make.q(hours * 3600, 3600.0), power=None, measured_at=None
    )
    return dive


def test_no_sampled_combination_is_worse_than_the_reported_worst(make: Any) -> None:
    # issue bound: 0.5 % of pack energy, 20 mV
    case = uncertain_dive(make)
    worst = simulate(*case).worst
    sampled = simulate_many(*case, runs=10_000, seed=20270419)
    pack_wh = 3 * 5 * 3.0 * 3.6
    assert len(sampled) == 10_000
    assert sampled.margin_wh.min() > worst.margin_wh - 0.005 * pack_wh
    assert sampled.lowest_v.min() > worst.lowest_voltage_v - 0.020
    assert sampled.firing_v.min() > (worst.lowest_release_voltage_v or 0.0) - 0.020
    assert sampled.load_c["camera"].max() <= worst.heat["camera"].highest_c + 0.1
    assert sampled.margin_wh.std() > 0.5  # they do differ


def test_no_corner_of_two_inputs_is_worse_than_the_reported_worst(make: Any) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    inputs = prepare(dive, board, cell, plan)[2]
    worst = inputs.corner("energy")
    rows = [worst]
    for i, item in enumerate(inputs.items):
        for value in (item.low, item.nominal, item.high):
            rows.append(np.where(np.arange(len(worst)) == i, value, worst))
    many = simulate_values(dive, board, cell, plan, np.stack(rows))
    assert many.margin_wh.min() >= many.margin_wh[0] - 0.005 * 162.0
    assert many.lowest_v.min() >= many.lowest_v[0] - 0.020


@pytest.mark.parametrize(
    ("name", "side"),
    [("pack.health", "high"), ("pack.charge", "high"), ("loads.camera.power", "low"),
     ("board.rails.v5.efficiency", "high"),
     ("cell.cold_capacity", "low"), ("release.primary.power", "low"), ("clock", "high")],
)  # fmt: skip
def test_each_input_moved_off_its_worst_side_raises_the_margin(make: Any, name: str, side: str) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    inputs = prepare(dive, board, cell, plan)[2]
    worst = inputs.corner("energy")
    better = worst.copy()
    better[inputs.index[name]] = getattr(inputs.items[inputs.index[name]], side)
    margins = simulate_values(dive, board, cell, plan, np.stack([worst, better])).margin_wh
    assert margins[1] > margins[0]


def test_inputs_of_one_cause_are_drawn_together(make: Any) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    inputs = prepare(dive, board, cell, plan)[2]
    values = inputs.sample(200, seed=1)
    full = inputs.pick(values, "loads.lights.power")
    level = inputs.pick(values, "loads.lights.power at 70 %")
    assert np.allclose(level, 0.7 * full)
    assert np.array_equal(values, inputs.sample(200, seed=1))
    assert not np.array_equal(values, inputs.sample(200, seed=2))


def test_samples_stay_inside_the_bounds(make: Any) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    inputs = prepare(dive, board, cell, plan)[2]
    values = inputs.sample(2000, seed=9)
    assert np.all(values >= [item.low for item in inputs.items])
    assert np.all(values <= [item.high for item in inputs.items])


def test_the_corner_is_kept_with_the_case(make: Any) -> None:
    results = simulate(*uncertain_dive(make))
    assert results.cases["energy"].corner["pack.health"] == pytest.approx(0.85)
    assert results.cases["nominal"].corner["pack.health"] == pytest.approx(0.90)
    assert results.cases["energy"].corner["clock"] == pytest.approx(-1e-4)
    assert results.worst.margin_wh == min(results.cases[c].account.margin_wh for c in ("energy", "voltage", "heat"))
    assert results.worst_case == "energy"


def test_the_worst_is_never_better_than_the_nominal(make: Any) -> None:
    results = simulate(*uncertain_dive(make))
    assert results.worst.margin_wh < results.nominal.margin_wh
    assert results.worst.lowest_voltage_v < results.nominal.lowest_voltage_v
    assert results.worst.endurance_after_surface_h < results.nominal.endurance_after_surface_h
    assert results.worst.heat["camera"].highest_c > results.nominal.heat["camera"].highest_c


def test_a_lost_string_takes_its_share_of_the_charge(make: Any) -> None:
    results = simulate(*uncertain_dive(make))
    whole, lost = results.cases["energy"].account, results.cases["string-lost"].account
    assert lost.usable_wh == pytest.approx(0.8 * whole.usable_wh, rel=5e-3)
    assert lost.peak_cell_current_a > 1.2 * whole.peak_cell_current_a


def test_the_only_string_lost_leaves_nothing(make: Any) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    dive.pack.parallel = 1
    account = simulate(dive, board, cell, plan).cases["string-lost"].account
    assert account.empty_at_s == pytest.approx(0.0, abs=1.0)
    assert account.endurance_after_surface_h == 0.0


def test_a_load_with_its_power_at_the_full_level_may_be_stuck_on(make: Any) -> None:
    # 30 W at 100 % by its own table, 16 W at 50 %; on at 50 % for 1000 s, stuck at full from 0 to 86 400 s
    rows = [make.bag(level=make.q(share), power=make.q(watts)) for share, watts in ((0.5, 16.0), (1.0, 30.0))]
    dive = make.dive({"lamp": make.load("OUT1", make.q(28.0), "light", power_at=rows)})
    plan = make.plan({"OUT1": ("lamp", (make.on(1000, 2000, 50),))})
    results = simulate(dive, make.board(), make.cell(), plan)
    assert results.nominal.by_load_wh["lamp"] == pytest.approx(16.0 * 1000 / 3600)
    assert results.cases["stuck:lamp"].account.by_load_wh["lamp"] == pytest.approx(30.0 * 24.0, rel=1e-3)


def test_a_load_stuck_on_takes_its_full_power_from_start_to_end(make: Any) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    dive.pack.parallel = 40
    results = simulate(dive, board, cell, plan)
    account = results.cases["stuck:lights"].account
    hours = 150000 / (1 - 1e-4) / 3600
    assert account.by_load_wh["lights"] == pytest.approx(22.0 * hours, rel=1e-6)  # 20 W + 10 %, not 70 % of it
    assert account.by_load_wh["camera"] == pytest.approx(results.cases["energy"].account.by_load_wh["camera"], rel=1e-9)
    beacon = results.cases["stuck:beacon"].account
    assert beacon.by_load_wh["beacon"] == pytest.approx(2.3 / 0.87 * hours, rel=1e-6)  # lit steadily


def test_backup_late_surfaces_late_and_must_still_wait(make: Any) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    results = simulate(with_backup(make, dive, 30.0), board, cell, plan)
    account, worst = results.cases["backup-late"].account, results.cases["energy"].account
    true_parting = 1800.0 + 31 * 3600  # the late splash, then 30 h + 1 h
    scale = 1 / (1 - 1e-4)
    assert account.surface_s == pytest.approx((true_parting + 2000.0) / scale)
    assert account.end_s == pytest.approx(account.surface_s + 36000.0 / scale)
    assert account.endurance_after_surface_h < worst.endurance_after_surface_h
    assert "backup-late" not in simulate(*uncertain_dive(make)).cases


def test_a_backup_that_fires_late_surfaces_after_its_last_try(make: Any) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    dive.release.backup = make.bag(kind="motor", parts_after=None, power=make.q(6.0), measured_at=None)
    board.outputs["REL2"] = make.bag(rail="pack", limit=make.q(5.0))
    plan = replace(plan, backup=make.firing("REL2", 50000, 30, 2, 10))
    account = simulate(dive, board, cell, plan).cases["backup-late"].account
    assert account.surface_s == pytest.approx(50070 + 2000.0 * (1 - 1e-4))
    tries = 2 * 30 + 30 * len(range(50070 + 21600, 150000, 21600))
    assert account.by_load_wh["release backup"] == pytest.approx(6.0 * tries / (1 - 1e-4) / 3600, rel=1e-6)


def test_recovery_late_needs_24_hours_more(make: Any) -> None:
    results = simulate(*uncertain_dive(make))
    late, planned = results.cases["recovery-late"].account, results.cases["energy"].account
    assert late.end_s - planned.end_s == pytest.approx(86400 * (1 - 1e-4))
    # beacon 7/128 of 2.3 W and locator 0.5 W behind 87 %; idle 1.5 mA and the awake controller's 8 mA at some 10.9 V;
    # no further tries after `end`
    mean = (2.3 * 7 / 128 + 0.5) / 0.87 + 0.0095 * 10.9
    assert late.needed_wh - planned.needed_wh == pytest.approx(24 * mean, rel=0.02)
    assert late.by_load_wh["release primary"] == pytest.approx(planned.by_load_wh["release primary"])
    assert late.by_load_wh["camera"] == pytest.approx(planned.by_load_wh["camera"])


def test_a_slow_clock_makes_the_dive_longer(make: Any) -> None:
    plan = make.plan({"OUT1": ("lamp", (make.on(0, 30000),))}, clock=0.01)
    dive = make.dive({"lamp": make.load("OUT1", make.q(2.0))})
    results = simulate(dive, make.board(), make.cell(), plan)
    expected = 2.0 * 30000 / 3600
    assert results.nominal.by_load_wh["lamp"] == pytest.approx(expected)
    assert results.cases["energy"].account.by_load_wh["lamp"] == pytest.approx(expected / 0.99)


def test_cold_loss_is_taken_off_first_and_never_from_the_reserve(make: Any) -> None:
    # 5 degC: the made-up pessimistic table leaves 84 %; 20 % reserve: 100 - 16 - 20 = 64 % may be spent
    dive = make.dive({"lamp": make.load("OUT1", make.q(0.001))})
    dive.site.water = [make.bag(depth=make.q(0.0), temperature=make.q(5.0))]
    dive.site.air = None
    plan = make.plan({"OUT1": ("lamp", (make.on(0, 30000),))})
    cell = make.cell(open_circuit_v=[3.5999, 3.6])
    results = simulate(dive, make.board(), cell, plan)
    whole = 3 * 2 * 3.0 * 3.6
    assert results.worst.usable_wh == pytest.approx(0.64 * whole, rel=1e-3)
    assert results.worst.reserve_wh == pytest.approx(0.20 * whole, rel=1e-3)
    assert results.worst.cold_loss_wh == pytest.approx(0.16 * whole, rel=1e-3)
    assert results.nominal.usable_wh == pytest.approx(0.80 * whole, rel=1e-3)


def test_water_that_warms_with_depth_is_coldest_at_its_shallow_bound(make: Any) -> None:
    dive, board, cell, plan = uncertain_dive(make)
    dive.vehicle.housing = None
    dive.site.water = [
        make.bag(depth=make.q(0.0), temperature=make.q(0.0)),
        make.bag(depth=make.q(1000.0), temperature=make.q(4.0)),
    ]
    assert simulate(dive, board, cell, plan).cases["energy"].corner["site.depth"] == pytest.approx(850.0)


def test_defaults_are_said(make: Any) -> None:
    dive = make.dive({"lamp": make.load("OUT1", make.q(1.0))}, pack={"charge": None, "health": None, "reserve": None})
    dive.site.air = None
    results = simulate(dive, make.board(), make.cell(), make.plan({"OUT1": ("lamp", (make.on(0, 30000),))}))
    said = " | ".join(results.assumptions)
    for what in ("pack.charge: 95 %", "pack.health: 60 % .. 80 %", "pack.reserve: 20 %", "site.air"):
        assert what in said
    assert any("housing" in text for text in results.not_checked)
    assert results.cases["energy"].corner["pack.health"] == 0.60


def test_self_discharge_since_charging_is_taken_off(make: Any) -> None:
    # 2 % a month (the made-up cell), charged 61 days before: two months and a bit, 0.98^2.004
    from datetime import timedelta

    plan = make.plan({"OUT1": ("lamp", (make.on(0, 30000),))})
    charged = make.bag(instant=plan.planned - timedelta(days=61))
    dive = make.dive({"lamp": make.load("OUT1", make.q(1.0))}, pack={"charged": charged})
    corner = simulate(dive, make.board(), make.cell(), plan).cases["nominal"].corner
    assert corner["pack.charge"] == pytest.approx(0.98 ** (61 / 30.4375), rel=1e-9)


def test_a_rested_voltage_gives_the_charge(make: Any) -> None:
    # the made-up cell is a straight line of 3.0 to 4.2 V: 3.9 V is 75 %. Low bound: 12 mV of the reading, 5 mV of
    # hysteresis and what is left of the relaxation after 2 h, 1.5 A x 15 milliohm x exp(-4) = 0.41 mV
    charge = RestVoltage(rest_voltage=make.q(11.7, 0.036), rested=make.q(7200.0), temperature=make.q(15.0))
    dive = make.dive({"lamp": make.load("OUT1", make.q(1.0))}, pack={"charge": charge})
    plan = make.plan({"OUT1": ("lamp", (make.on(0, 30000),))})
    results = simulate(dive, make.board(), make.cell(), plan)
    assert results.cases["nominal"].corner["pack.charge"] == pytest.approx(0.75, abs=1e-9)
    low = (3.9 - 0.012 - 0.00541 - 3.0) / 1.2
    assert results.cases["energy"].corner["pack.charge"] == pytest.approx(low, abs=2e-5)


def test_an_earlier_dive_that_was_not_read_is_refused(make: Any) -> None:
    dive = make.dive({"lamp": make.load("OUT1", make.q(1.0))}, pack={"charge": After(after="monday.yaml")})
    with pytest.raises(OutOfRange, match=r"pack\.charge"):
        simulate(dive, make.board(), make.cell(), make.plan({"OUT1": ("lamp", (make.on(0, 30000),))}))
