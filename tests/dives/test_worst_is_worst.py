"""No combination of inputs inside their intervals is worse than the worst case that is reported.

Ten thousand combinations of every uncertain input, uniform inside the bounds, for each of the three dives. The
allowance is 0.5 % of the pack's energy for energies and 20 mV for voltages.
"""

from pathlib import Path

import numpy as np
import pytest
from golden import DIVES, HERE

from schedgen.load import LoadedDive, load
from schedgen.simulate.sampled import Sampled, simulate_many

RUNS = 10_000


@pytest.fixture(scope="module", params=DIVES)
def case(request: pytest.FixtureRequest) -> tuple[LoadedDive, Sampled]:
    loaded = load(Path(HERE) / f"{request.param}.yaml")
    return loaded, simulate_many(loaded.dive, loaded.board, loaded.cell, loaded.plan(), RUNS, seed=31)


def test_no_sample_is_worse_than_the_worst_case(case: tuple[LoadedDive, Sampled]) -> None:
    loaded, sampled = case
    worst, pack = loaded.simulate().worst, loaded.dive.pack
    allowed_wh = 0.005 * loaded.cell.energy_wh * pack.series * pack.parallel
    assert len(sampled) == RUNS
    assert sampled.margin_wh.min() >= worst.margin_wh - allowed_wh
    assert sampled.needed_wh.max() <= worst.needed_wh + allowed_wh
    assert sampled.usable_wh.min() >= worst.usable_wh - allowed_wh
    assert sampled.lowest_v.min() >= worst.lowest_voltage_v - 0.020
    assert worst.lowest_release_voltage_v is not None
    assert sampled.firing_v.min() >= worst.lowest_release_voltage_v - 0.020
    for name, highest in sampled.load_c.items():
        assert highest.max() <= worst.heat[name].highest_c + 0.1, name


def test_samples_are_spread_and_reach_near_the_worst(case: tuple[LoadedDive, Sampled]) -> None:
    """A worst case that is far beyond anything that happens would be no use either."""
    loaded, sampled = case
    results = loaded.simulate()
    width = results.nominal.margin_wh - results.worst.margin_wh
    assert np.ptp(sampled.margin_wh) > 0.4 * width
    assert sampled.margin_wh.min() < results.worst.margin_wh + 0.5 * width


def test_samples_surface_within_the_window(case: tuple[LoadedDive, Sampled]) -> None:
    loaded, sampled = case
    window = loaded.plan().true_events["surface"]
    assert window.early - 1e-6 <= sampled.surface_true_s.min()
    assert sampled.surface_true_s.max() <= window.late + 1e-6
