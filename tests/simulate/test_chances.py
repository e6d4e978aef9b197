"""Chances: the same as a plain loop of single runs, as a closed form, and as scipy's statistics."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import stats

from schedgen.errors import OutOfRange
from schedgen.load import load
from schedgen.simulate import simulate
from schedgen.simulate.chances import Z_95, chances, drivers, margins_of, rank_correlation, ranks, wilson
from schedgen.simulate.run import prepare
from schedgen.simulate.sampled import simulate_values

DEMO = Path(__file__).parents[2] / "schedgen" / "dive" / "demo.yaml"


def test_chances_are_those_of_a_plain_loop_of_single_runs() -> None:
    """500 samples of the demo with 3 strings and the lights fully on, where some dives leave the reserve and some do
    not: each run alone, one after the other."""
    dive = load(DEMO)
    pack = dive.dive.pack.model_copy(update={"parallel": 3, "reserve": _share(0.26)})
    parts = (dive.dive.model_copy(update={"pack": pack}), dive.board, dive.cell, dive.plan())
    inputs = prepare(*parts)[2]
    values = inputs.sample(500, 7)
    together = simulate_values(*parts, values)
    margins = margins_of(together, *parts)
    alone = [margins_of(simulate_values(*parts, row[None, :]), *parts) for row in values]
    found = chances(*parts, 500, 7)
    assert 20 < found.margins[0].held < 480, "the case must not be one-sided"
    for one in found.margins:
        single = np.array([each[one.name][2][0] for each in alone])
        assert one.held == int((single >= 0).sum()), one.name
        assert single == pytest.approx(margins[one.name][2], rel=1e-9, abs=1e-9), one.name


def _share(value: float) -> Any:
    from schedgen.files.quantity import Quantity

    return Quantity(value, value, value)


def test_the_sampled_engine_is_that_of_the_single_run() -> None:
    dive = load(DEMO)
    parts = (dive.dive, dive.board, dive.cell, dive.plan())
    inputs = prepare(*parts)[2]
    both = simulate_values(*parts, np.stack([inputs.corner("nominal"), inputs.corner("energy")]))
    cases = simulate(*parts).cases
    for row, name in enumerate(("nominal", "energy")):
        account = cases[name].account
        assert both.margin_wh[row] == pytest.approx(account.margin_wh, rel=1e-9)
        assert both.lowest_v[row] == pytest.approx(account.lowest_voltage_v, rel=1e-9)


@pytest.fixture
def flat(make: Any) -> tuple[Any, Any, Any, Any]:
    """A flat 3.6 V pack of 3 x 2 cells of 3 Ah, health 70 to 100 %, reserve 20 %; one load of 2 to 4 W for 12 h."""
    load_ = make.load("OUT1", make.q(2.0, 3.0, 4.0))
    dive = make.dive({"camera": load_}, pack={"health": make.q(0.7, 0.85, 1.0)}, primary={"power": None})
    plan = make.plan({"OUT1": ("camera", (make.on(0, 43200),))}, release=50000)
    return dive, make.board(), make.flat_cell(), plan


def test_every_margin_is_the_closed_form(flat: Any) -> None:
    """usable = 3.6 V x 3 Ah x 6 x health x 0.8, needed = power x 12 h."""
    inputs = prepare(*flat)[2]
    values = inputs.sample(2000, 3)
    margin = simulate_values(*flat, values).margin_wh
    health, watts = inputs.pick(values, "pack.health"), inputs.pick(values, "loads.camera.power")
    assert margin == pytest.approx(64.8 * 0.8 * health - 12.0 * watts, abs=1e-4)


def test_the_chance_is_the_area_under_the_line(flat: Any) -> None:
    """It holds where power <= 4.32 health: a trapezium and a strip of the rectangle 0.7 .. 1 x 2 .. 4, by hand:
    (1/0.3) (integral of (4.32 h - 2)/2 from 0.7 to 4/4.32, plus 1 - 4/4.32)."""
    edge = 4.0 / 4.32
    area = ((2.16 / 2 * (edge**2 - 0.49) - (edge - 0.7)) + (1.0 - edge)) / 0.3
    found = next(one for one in chances(*flat, 20_000, 11).margins if one.name == "reserve")
    low, high = wilson(found.held, found.runs, z=3.29)  # 99.9 %
    assert low < area < high
    assert found.low < found.share < found.high
    assert found.high - found.low < 0.013
    assert [driver.name for driver in found.drivers] == ["loads.camera.power", "pack.health"]
    assert found.drivers[0].correlation < 0 < found.drivers[1].correlation


def test_the_same_seed_gives_the_same_and_another_does_not(flat: Any) -> None:
    assert chances(*flat, 300, 5) == chances(*flat, 300, 5)
    assert chances(*flat, 300, 5) != chances(*flat, 300, 6)


@pytest.mark.parametrize(("held", "runs"), [(0, 10), (10, 10), (7, 10), (499, 500), (1, 10_000)])
def test_the_interval_is_that_of_scipy(held: int, runs: int) -> None:
    theirs = stats.binomtest(held, runs).proportion_ci(0.95, method="wilson")
    assert wilson(held, runs) == pytest.approx((theirs.low, theirs.high), abs=1e-12)
    assert pytest.approx(stats.norm.ppf(0.975), abs=1e-14) == Z_95


def test_the_interval_covers_as_often_as_it_says() -> None:
    """Over all outcomes of 60 draws the mean coverage of shares from 5 to 95 % is 95 % within 1 % (Wilson 1927; the
    mean is what Agresti and Coull 1998 find, from memory)."""
    bounds = [wilson(held, 60) for held in range(61)]
    covered = []
    for share in np.linspace(0.05, 0.95, 181):
        inside = np.array([low <= share <= high for low, high in bounds])
        covered.append(stats.binom.pmf(np.arange(61), 60, share)[inside].sum())
    assert np.mean(covered) == pytest.approx(0.95, abs=0.01)


def test_rank_correlation_is_that_of_scipy_with_ties() -> None:
    draw = np.random.default_rng(2)
    first = draw.integers(0, 9, 400).astype(float)
    second = first + draw.normal(0, 4, 400)
    assert rank_correlation(first, second) == pytest.approx(stats.spearmanr(first, second).statistic, abs=1e-12)
    assert list(ranks(first)) == list(stats.rankdata(first))
    assert rank_correlation(first, np.ones(400)) == 0.0


def test_inputs_of_one_cause_are_named_once(flat: Any) -> None:
    inputs = prepare(*flat)[2]
    values = inputs.sample(500, 1)
    found = drivers(inputs, values, inputs.pick(values, "loads.camera.power"))
    assert [(one.name, round(one.correlation, 9)) for one in found] == [("loads.camera.power", 1.0)]


@pytest.mark.parametrize(("runs", "seed", "word"), [(0, 1, "runs"), (1_000_001, 1, "runs"), (10, -1, "seed")])
def test_senseless_counts_and_seeds_are_refused(flat: Any, runs: int, seed: int, word: str) -> None:
    with pytest.raises(OutOfRange, match=word):
        chances(*flat, runs, seed)
