"""Whatever the dive, a simulation ends with finite numbers that agree with each other."""

from __future__ import annotations

from typing import Any

import numpy as np
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from schedgen.simulate import simulate
from schedgen.simulate.csv import csv_text

WATTS = st.floats(0.0, 300.0)


@st.composite
def windows(draw: Any, make: Any, last: int = 40000) -> Any:
    marks = sorted(draw(st.sets(st.integers(0, last), min_size=2, max_size=12)))
    out = []
    for start, stop in zip(marks[::2], marks[1::2], strict=False):
        flash = draw(st.sampled_from([None, None, (128, 8), (64, 3)]))
        out.append(make.on(start, stop, draw(st.sampled_from([100, 100, 55, 1])), flash))
    return tuple(out)


@st.composite
def dives(draw: Any, make: Any) -> Any:
    share = make.q(0.7, 0.9, 0.95)
    rails = {
        "v5": make.rail("buck", voltage=make.q(5.0), efficiency=share, idle=make.q(0.01), dropout=make.q(0.4)),
        "v3": make.rail("linear", voltage=make.q(3.3), idle=make.q(1e-5), dropout=make.q(0.3)),
    }  # fmt: skip
    pick = st.sampled_from(["pack", "v5", "v3"])
    outputs = {name: draw(pick) for name in ("OUT1", "OUT2", "PWM1", "REL1")}
    board = make.board(
        rails, outputs, supply=make.bag(rail=draw(pick), asleep=make.q(1e-5), awake=make.q(5e-3)),
        pack_sense=make.bag(top=make.q(1e5), bottom=make.q(1e5), tolerance=make.q(0.02)),
    )  # fmt: skip
    surge = make.bag(power=make.q(draw(WATTS)), for_=make.q(draw(st.floats(0.0, 60.0))))
    loads = {
        "camera": make.load("OUT1", make.q(0.0, 3.0, 3.0 + draw(WATTS)), "camera", surge),
        "lights": make.load("PWM1", make.q(draw(WATTS)), "light"),
        "beacon": make.load("OUT2", make.q(draw(st.floats(0.0, 5.0))), "beacon"),
    }
    loads["camera"].heat_limit = make.q(50.0)
    times = {"OUT1": ("camera", draw(windows(make))), "PWM1": ("lights", draw(windows(make))),
             "OUT2": ("beacon", (make.on(40000, None, flash=draw(st.sampled_from([None, (128, 9)]))),))}  # fmt: skip
    supplies = None
    if draw(st.booleans()):
        supplies = make.bag(voltage=make.q(5.0), limit=make.q(2.0), efficiency=make.q(0.85, 0.05),
                            off_below=make.q(0.05), off_after=make.q(30.0))  # fmt: skip
    pack = {"series": draw(st.integers(1, 8)), "parallel": draw(st.integers(1, 8)), "supplies": supplies,
            "charge": make.q(draw(st.floats(0.0, 1.0))), "health": make.q(draw(st.floats(0.3, 1.0)))}  # fmt: skip
    dive = make.dive(loads, pack=pack, primary={"kind": draw(st.sampled_from(["burn wire", "motor"]))})
    cold = draw(st.floats(-1.9, 30.0))
    dive.site.water = [make.bag(depth=make.q(d), temperature=make.q(t), salinity=make.q(35.0))
                       for d, t in ((0.0, draw(st.floats(-1.9, 30.0))), (1000.0, cold))]  # fmt: skip
    dive.site.air = draw(st.sampled_from([None, make.bag(temperature=make.q(-20.0, 45.0, 45.0), sun=True)]))
    if draw(st.booleans()):
        dive.vehicle.housing = make.bag(outer_diameter=make.q(0.15), length=make.q(0.4), wall=make.q(0.01),
                                        material=draw(st.sampled_from(["titanium", "acetal"])))  # fmt: skip
    cell = make.cell(diameter=make.q(0.0185), length=make.q(0.065), resistance_spread=make.q(0.2))
    plan = make.plan(times, release=40000, end=90000, clock=draw(st.sampled_from([0.0, 1e-4, 0.03])),
                     firing=make.firing("REL1", 40000, 300, 3, 60), parting=(10.0, 100.0, 1500.0))  # fmt: skip
    return dive, board, cell, plan


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_any_dive_gives_finite_figures_that_agree(make: Any, data: Any) -> None:
    results = simulate(*data.draw(dives(make)))
    for name, case in results.cases.items():
        account = case.account
        figures = [account.usable_wh, account.needed_wh, account.margin_wh, account.reserve_wh,
                   account.lowest_voltage_v,
                   account.lowest_voltage_at_s, account.endurance_after_surface_h, account.peak_current_a,
                   *account.by_load_wh.values(), *account.cell_temperature_c]  # fmt: skip
        assert np.all(np.isfinite(figures)), name
        assert account.margin_wh == account.usable_wh - account.needed_wh
        assert np.isclose(sum(account.by_phase_wh.values()), account.needed_wh)
        assert np.isclose(sum(account.by_load_wh.values()), account.needed_wh, rtol=0.02, atol=1e-6), name
        assert account.endurance_after_surface_h >= 0.0
        trace = case.trace
        assert np.all(np.diff(trace.charge) <= 1e-12)
        assert np.all(np.diff(trace.time_s) >= 0.0)
        assert trace.charge[-1] >= 0.0
        if account.empty_at_s is None or account.empty_at_s > account.end_s:
            lowest = results.cases[name].trace.voltage_v.min()
            assert account.lowest_voltage_v <= lowest + 1e-6
    assert results.worst.margin_wh <= results.nominal.margin_wh + 1e-9
    assert csv_text(results.cases["nominal"].trace).count("\n") > 1000
