"""Temperatures in time: one node in closed form, and a network of a few nodes in exact steps.

Between edges of the schedule powers and surroundings are constant, so a network of heat capacities and
conductances moves by an exact exponential step of any length: no fine steps, no stability limit.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.physics.bounds import Array, Numbers, above, within


def one_node(
    start_c: Numbers,
    outside_c: Numbers,
    power_w: Numbers,
    resistance: Numbers,
    capacity: Numbers,
    seconds: Numbers,
) -> Array:
    """Return the temperature [degC] after `seconds` [s]: Te + (T0 - Te) exp(-t/RC), Te = Ta + P R.

    `resistance` [K/W] to `outside_c` [degC], `capacity` [J/K], `power_w` [W]. Shapes broadcast.
    Source: closed form of C dT/dt = P - (T - Ta)/R. 8 W, 1.2 K/W, 6000 J/K, from 4 degC, after 1 h: 7.777 degC.

    >>> round(float(one_node(4.0, 4.0, 8.0, 1.2, 6000.0, 3600.0)), 3)
    7.777
    """
    above("resistance", resistance, 0, "K/W")
    above("capacity", capacity, 0, "J/K")
    within("time", seconds, 0, np.inf, "s")
    end = np.asarray(outside_c) + np.asarray(power_w) * resistance
    decay = np.exp(-np.asarray(seconds) / (np.asarray(resistance) * capacity))
    return np.asarray(end + (np.asarray(start_c) - end) * decay)[()]


def sealed_rate(power_w: Numbers, capacity: Numbers) -> Array:
    """Return the warming [K/s] of a node that loses nothing: P / C.

    Source: C dT/dt = P. 8 W into 6000 J/K are 4.8 K an hour.

    >>> round(float(sealed_rate(8.0, 6000.0)) * 3600, 6)
    4.8
    """
    above("capacity", capacity, 0, "J/K")
    return np.asarray(np.asarray(power_w) / capacity)[()]


class Network:
    """A few nodes with heat capacities, joined by conductances to each other and to the outside.

    `capacities`: name to J/K, the order of all arrays. `links`: (node, node, W/K). `outside`: node to W/K towards
    one surrounding temperature. Raises OutOfRange for a capacity not above 0, a negative conductance, an unknown
    name, or a network with no way out.

    The conductances stay fixed for one network: make one for each phase (deck, water, fan on) and step with
    it. `step` takes arrays for many runs at once.
    """

    def __init__(
        self,
        capacities: Mapping[str, float],
        links: Sequence[tuple[str, str, float]],
        outside: Mapping[str, float],
    ) -> None:
        self.names = tuple(capacities)
        self.capacities = np.array([capacities[name] for name in self.names], dtype=float)
        above("heat capacity", self.capacities, 0, "J/K")
        size = len(self.names)
        matrix = np.zeros((size, size))
        for first, second, conductance in links:
            within(f"conductance {first} to {second}", conductance, 0, np.inf, "W/K")
            a, b = self.index(first), self.index(second)
            matrix[[a, b], [a, b]] += conductance
            matrix[[a, b], [b, a]] -= conductance
        self.to_outside = np.zeros(size)
        for name, conductance in outside.items():
            within(f"conductance {name} to outside", conductance, 0, np.inf, "W/K")
            self.to_outside[self.index(name)] += conductance
        matrix[np.diag_indices(size)] += self.to_outside
        root = np.sqrt(self.capacities)
        rates, vectors = np.linalg.eigh(matrix / np.outer(root, root))
        if rates.min() <= 1e-12 * max(rates.max(), 1e-30):
            raise OutOfRange("a node of the heat network has no way to the outside; give it a conductance above 0 W/K")
        self.rates = rates
        """1/s, slowest first; 1/rate are the time constants."""
        self._into = vectors.T * root
        self._out = vectors / root[:, np.newaxis]
        self._settle = np.linalg.inv(matrix)

    def index(self, name: str) -> int:
        """Return the place of node `name` in the arrays; raises OutOfRange for an unknown one."""
        if name not in self.names:
            raise OutOfRange(f"the heat network has no node '{name}'; it has {', '.join(self.names)}")
        return self.names.index(name)

    def settled(self, outside_c: Numbers, power_w: Array) -> Array:
        """Return where temperatures end [degC], shape (..., nodes), under `power_w` [W] (..., nodes).

        `outside_c` [degC] is a number or has the shape (...).
        """
        heat = np.asarray(power_w, dtype=float) + np.asarray(outside_c, dtype=float)[..., np.newaxis] * self.to_outside
        return np.asarray(heat @ self._settle)

    def step(self, start_c: Array, outside_c: Numbers, power_w: Array, seconds: Numbers) -> Array:
        """Return the temperatures [degC] after `seconds` [s] (a number or (...)), exact; shapes (..., nodes).

        >>> node = Network({"pack": 6000.0}, [], {"pack": 1 / 1.2})
        >>> round(float(node.step(np.array([4.0]), 4.0, np.array([8.0]), 3600.0)[0]), 3)
        7.777
        """
        end = self.settled(outside_c, power_w)
        decay = np.exp(-np.asarray(seconds, dtype=float)[..., np.newaxis] * self.rates)
        modes = ((np.asarray(start_c) - end) @ self._into.T) * decay
        return np.asarray(end + modes @ self._out.T)

    def peaks(self, start_c: Array, outside_c: Numbers, power_w: Array, seconds: float, samples: int = 16) -> Array:
        """Return the highest temperature [degC] of each node within a step of `seconds`, from `samples` points."""
        times = np.linspace(0.0, seconds, samples)
        course = self.step(
            np.asarray(start_c)[..., np.newaxis, :],
            np.asarray(outside_c)[..., np.newaxis],
            np.asarray(power_w)[..., np.newaxis, :],
            times,
        )
        return np.asarray(course.max(axis=-2))
