"""Heat networks: exact steps against a fine integration, against themselves, and against energy."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from schedgen.errors import OutOfRange
from schedgen.physics.nodes import Network, one_node

CAPACITIES = {"cell": 945.0, "camera": 360.0, "air": 10.0, "wall": 10_000.0}
LINKS = [("cell", "air", 0.9), ("camera", "air", 0.3), ("camera", "wall", 0.1), ("air", "wall", 3.0)]


def package() -> Network:
    return Network(CAPACITIES, LINKS, {"wall": 30.0})


def test_a_step_equals_a_fine_integration() -> None:
    start, powers, outside = np.array([20.0, 35.0, 22.0, 18.0]), np.array([0.5, 7.4, 0.0, 0.0]), 4.0

    def rate(_: float, t: np.ndarray) -> np.ndarray:
        cell, camera, air, wall = t
        flow = np.array([
            powers[0] + 0.9 * (air - cell),
            powers[1] + 0.3 * (air - camera) + 0.1 * (wall - camera),
            0.9 * (cell - air) + 0.3 * (camera - air) + 3.0 * (wall - air),
            0.1 * (camera - wall) + 3.0 * (air - wall) + 30.0 * (outside - wall),
        ])  # fmt: skip
        return flow / np.array(list(CAPACITIES.values()))

    solved = solve_ivp(rate, (0.0, 1800.0), start, rtol=1e-10, atol=1e-10, method="LSODA")
    assert package().step(start, outside, powers, 1800.0) == pytest.approx(solved.y[:, -1], abs=1e-6)


@settings(deadline=None, max_examples=60)
@given(st.floats(1.0, 1e5), st.floats(1.0, 1e5))
def test_two_steps_equal_one(first: float, second: float) -> None:
    network = package()
    start, powers = np.array([20.0, 20.0, 20.0, 20.0]), np.array([0.5, 7.4, 0.0, 2.0])
    halves = network.step(network.step(start, 4.0, powers, first), 4.0, powers, second)
    assert halves == pytest.approx(network.step(start, 4.0, powers, first + second), abs=1e-9)


def test_many_runs_at_once_equal_one_by_one() -> None:
    network = package()
    generator = np.random.default_rng(7)
    starts, powers = generator.uniform(0, 30, (50, 4)), generator.uniform(0, 10, (50, 4))
    outside, seconds = generator.uniform(-1, 30, 50), generator.uniform(1, 1e4, 50)
    together = network.step(starts, outside, powers, seconds)
    for k in range(50):
        alone = network.step(starts[k], float(outside[k]), powers[k], float(seconds[k]))
        assert together[k] == pytest.approx(alone, abs=1e-9)


def test_no_power_settles_at_the_outside() -> None:
    assert package().settled(4.0, np.zeros(4)) == pytest.approx(np.full(4, 4.0))


def test_heat_is_kept() -> None:
    """Warming of all nodes plus what left through the wall equals what was put in (trapezoid over fine steps)."""
    network = package()
    powers = np.array([0.5, 7.4, 0.0, 0.0])
    times = np.linspace(0.0, 3600.0, 3601)
    course = network.step(np.full((3601, 4), 10.0), np.full(3601, 4.0), np.tile(powers, (3601, 1)), times)
    stored = ((course[-1] - 10.0) * network.capacities).sum()
    left = np.trapezoid((course[:, 3] - 4.0) * 30.0, times)
    assert stored + left == pytest.approx(7.9 * 3600.0, rel=1e-4)


def test_peaks_see_a_maximum_inside_the_step() -> None:
    network = Network({"hot": 100.0, "cold": 5000.0}, [("hot", "cold", 5.0)], {"cold": 1.0})
    start = np.array([80.0, 10.0])
    peak = network.peaks(start, 5.0, np.zeros(2), 3600.0, samples=200)
    end = network.step(start, 5.0, np.zeros(2), 3600.0)
    assert peak[1] > max(end[1], 10.0) + 0.5


def test_closed_form_of_one_node_takes_arrays() -> None:
    ours = one_node(4.0, np.array([4.0, 10.0]), 8.0, 1.2, 6000.0, 1e9)
    assert ours == pytest.approx([13.6, 19.6])


@pytest.mark.parametrize(
    ("capacities", "links", "outside", "words"),
    [
        ({"a": 0.0}, [], {"a": 1.0}, "heat capacity is 0 J/K; it must be above 0"),
        ({"a": 10.0, "b": 10.0}, [], {"a": 1.0}, "no way to the outside"),
        ({"a": 10.0}, [], {}, "no way to the outside"),
        ({"a": 10.0}, [("a", "b", 1.0)], {"a": 1.0}, "no node 'b'; it has a"),
        ({"a": 10.0, "b": 1.0}, [("a", "b", -1.0)], {"a": 1.0}, "conductance a to b is -1 W/K"),
    ],
)
def test_networks_that_can_not_be_are_refused(
    capacities: dict[str, float], links: list[tuple[str, str, float]], outside: dict[str, float], words: str
) -> None:
    with pytest.raises(OutOfRange, match=words):
        Network(capacities, links, outside)
