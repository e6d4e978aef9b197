"""The water at a site from top to bottom: temperature, salinity, density and pressure at any depth.

Rows are linear between, held above the first and below the last. Density comes from TEOS-10 in one
vectorised call on a grid; the pressure is the weight of this very water, dp = rho g dz, so that it holds
for a lake as well as for the sea.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.physics import seawater
from schedgen.physics.bounds import Array, Numbers, plain, within

STEPS_A_ROW = 12
"""Grid steps between two rows, at least: density bends a little between rows although temperature does not."""
LARGEST_STEP_M = 250.0


class WaterColumn:
    """Water at `latitude`, `longitude` [degrees] from rows of (depth [m], temperature [degC], practical salinity).

    `deepest` [m] is how far down the grid reaches at first (default: the last row); asking deeper extends it.
    `held_below` is true once the last row has been used for deeper water, `last_row_m` is where it stands.
    Raises OutOfRange for no rows, rows that do not go down, and water outside the range of TEOS-10.

    >>> water = WaterColumn([(0, 11.5, 35.2), (200, 9.8, 35.3), (1510, 4.1, 34.95)], 57.31, -9.84)
    >>> round(float(water.temperature(100.0)), 2), water.held_below
    (10.65, False)
    """

    def __init__(
        self,
        rows: Sequence[tuple[float, float, float]],
        latitude: float,
        longitude: float,
        deepest: float | None = None,
    ) -> None:
        if not rows:
            raise OutOfRange("the water profile has no rows; at least one is needed")
        table = np.asarray(rows, dtype=float).reshape(len(rows), 3)
        self.latitude, self.longitude = float(latitude), float(longitude)
        self.row_depths, self.row_temperatures, self.row_salinities = table.T
        within("depth", self.row_depths, 0, seawater.DEEPEST_M, "m", "positive down")
        within("salinity", self.row_salinities, 0, seawater.SALTIEST, "", "practical salinity; ocean water is near 35")
        steps = np.diff(self.row_depths)
        if (steps <= 0).any():
            at = int(np.flatnonzero(steps <= 0)[0])
            raise OutOfRange(
                f"depth is {plain(self.row_depths[at + 1])} m in row {at + 2} of the water profile; it must be "
                f"deeper than the {plain(self.row_depths[at])} m of the row above",
                "Order the rows from the top down.",
            )
        self.last_row_m = float(self.row_depths[-1])
        self.held_below = False
        self._build(self.last_row_m if deepest is None else float(deepest))

    def _build(self, deepest: float) -> None:
        """Compute the grid to `deepest` [m] with one call of TEOS-10."""
        within("depth", deepest, 0, seawater.DEEPEST_M, "m", "positive down; the deepest sea floor is about 10 935 m")
        bottom = max(deepest, self.last_row_m, 1.0)
        self.held_below = deepest > self.last_row_m
        corners = np.unique(np.concatenate(([0.0], self.row_depths, [bottom])))
        parts = [
            np.linspace(a, b, max(STEPS_A_ROW, int(np.ceil((b - a) / LARGEST_STEP_M))), endpoint=False)
            for a, b in pairwise(corners)
        ]
        self._depths = np.concatenate([*parts, [bottom]])
        self.deepest = bottom
        self._temperatures = np.interp(self._depths, self.row_depths, self.row_temperatures)
        self._salinities = np.interp(self._depths, self.row_depths, self.row_salinities)
        self._densities, self._pressures = self._weigh()

    def _weigh(self) -> tuple[Array, Array]:
        """Return density [kg/m3] and pressure [dbar] on the grid: rho at a first pressure, then dp = rho g dz."""
        first = seawater.pressure(self._depths, self.latitude)
        densities = seawater.density(self._salinities, self._temperatures, first, self.latitude, self.longitude)
        weights = densities * seawater.gravity(self.latitude, self._depths) / 1e4
        layers = np.diff(self._depths) * (weights[1:] + weights[:-1]) / 2
        pressures = np.concatenate(([0.0], np.cumsum(layers)))
        # water is stiff: 4.4e-10 of its density a pascal carries rho to the better pressure
        return densities * (1.0 + 4.4e-6 * (pressures - first)), pressures

    def _at(self, depth: Numbers, table: str) -> Array:
        depths = np.asarray(depth, dtype=float)
        lowest = float(depths.max(initial=0.0))
        if lowest > self.last_row_m:
            self.held_below = True
        if lowest > self.deepest:
            self._build(lowest)
        if not (depths >= 0.0).all():
            within("depth", depths, 0, self.deepest, "m", "positive down")
        return np.asarray(np.interp(depths, self._depths, getattr(self, table)))[()]

    def density(self, depth: Numbers) -> Array:
        """Return the density [kg/m3] at `depth` [m]; raises OutOfRange above the surface or below 11 000 m."""
        return self._at(depth, "_densities")

    def temperature(self, depth: Numbers) -> Array:
        """Return the temperature [degC] at `depth` [m]; raises OutOfRange above the surface or below 11 000 m."""
        return self._at(depth, "_temperatures")

    def salinity(self, depth: Numbers) -> Array:
        """Return the practical salinity at `depth` [m]; raises OutOfRange above the surface or below 11 000 m."""
        return self._at(depth, "_salinities")

    def pressure(self, depth: Numbers) -> Array:
        """Return the sea pressure [dbar] at `depth` [m], the weight of the water above; OutOfRange as `density`."""
        return self._at(depth, "_pressures")
