"""One lithium-ion cell: open-circuit voltage, resistance, one relaxation branch, the cold, age and self-discharge.

The cell is an equivalent circuit: a source that depends on charge, a series resistance and one resistance
with a capacitor across it, the last two over charge and temperature::

    V = OCV(z) - v1 - I R0(z, T)        dv1/dt = (I R1(z, T) - v1) / tau

Charge z is a share of the capacity that the label promises at 25 degC and C/5, times health: 1 is full, 0 is
empty. Every function takes plain floats or numpy arrays (one element a run) and does the same arithmetic.
Source of the circuit: Barletta et al. 2022, Energies 15, 6207 (Thevenin model with one branch).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from schedgen.errors import OutOfRange

FloatArray = NDArray[np.float64]
N = TypeVar("N", float, FloatArray)
"""A float, or an array with one element a run: what goes in comes out."""

COLDEST_C, HOTTEST_C = -40.0, 80.0
"""Temperatures that the tables answer for [degC]; the rated range of a cell is narrower and judged elsewhere."""
CHARGE_STEPS = 200
STEP_C = 2.5
MOST_OHM = 1000.0
_TOLERANCE = 1e-9


def charge_after(charge: N, current_a: N | float, seconds: N | float, capacity_ah: N | float) -> N:
    """Charge left after a constant current: z - I t / (3600 C) [share].

    `current_a` [A], positive in discharge; `seconds` [s]; `capacity_ah` [Ah]. Valid for constant current; the
    result may be below 0: the caller decides when a cell is empty. Source: definition of charge.

    >>> charge_after(1.0, 1.0, 3600.0, 5.0)
    0.8
    """
    return charge - current_a * seconds / (3600.0 * capacity_ah)


def decay(seconds: N, time_constant_s: float) -> N:
    """Share of a relaxation voltage that is left after `seconds` [s]: exp(-t / tau) [1].

    Valid for t >= 0 and tau > 0. Source: solution of dv/dt = -v/tau.

    >>> round(decay(300.0, 300.0), 6)
    0.367879
    """
    left: N = math.e ** (-seconds / time_constant_s)
    return left


def relaxed(relaxation_v: N, current_a: N | float, resistance_ohm: N | float, left: N | float) -> N:
    """Relaxation voltage after a constant current, exact: v e + I R1 (1 - e) [V], with e from `decay`.

    Source: solution of dv/dt = (I R1 - v)/tau for constant I.

    >>> round(relaxed(0.0, 1.0, 0.02, decay(30.0, 30.0)), 6)
    0.012642
    """
    target = current_a * resistance_ohm
    after: N = target + (relaxation_v - target) * left
    return after


def relaxation_mean(
    relaxation_v: N, current_a: N | float, resistance_ohm: N | float, seconds: N | float, time_constant_s: float
) -> N:
    """Mean of the relaxation voltage over a constant current of `seconds` > 0 [V].

    I R1 + (v - I R1) (tau/t) (1 - exp(-t/tau)). Source: integral of `relaxed`.

    >>> round(relaxation_mean(0.0, 1.0, 0.02, 30.0, 30.0), 6)
    0.007358
    """
    target = current_a * resistance_ohm
    weight = time_constant_s / seconds * (1.0 - math.e ** (-seconds / time_constant_s))
    mean: N = target + (relaxation_v - target) * weight
    return mean


def charge_felt(charge: N, cold_share: N | float) -> N:
    """Charge at which a cold cell stands on its curve: 1 - (1 - z) / s [share].

    `cold_share` s is the share of the charge that the cold leaves within reach (1 when warm): the curve is
    squeezed towards full, so the cell is empty (0) when 1 - s is still inside, and gets that back when warmed.
    Valid for 0 < s <= 1. Source: our own reading of the makers' cold-capacity figures (share of the 25 degC
    capacity delivered to cut-off).

    >>> round(charge_felt(0.6, 0.8), 6)
    0.5
    """
    return 1.0 - (1.0 - charge) / cold_share


def self_discharged(charge: N, months: N | float, share_per_month: N | float) -> N:
    """Charge left on the shelf: z (1 - k)^months [share].

    `share_per_month` k is 0 to 0.2. Source: constant loss a month; figures of 1 to 3 % a month at 20 to 25 degC
    are common practice (from memory).

    >>> round(self_discharged(1.0, 2.0, 0.02), 4)
    0.9604
    """
    left: N = charge * (1.0 - share_per_month) ** months
    return left


def aged_resistance_factor(health: N, growth: float = 2.5) -> N:
    """How many times the new resistance an aged cell has: 1 + g (1 - h) [1].

    `health` h is capacity left as a share of the label, 0.5 to 1 (a little above 1 for a cell better than its
    label gives a factor under 1). `growth` g 1 to 5: at 80 % health 1.2 to 2 times. Source: from memory; end of
    life is commonly put at 80 % capacity or twice the resistance.

    >>> aged_resistance_factor(0.8)
    1.5
    """
    return 1.0 + growth * (1.0 - health)


@dataclass(frozen=True, slots=True)
class Curves:
    """The tables of one cell as a file has them, in plain numbers.

    `charge` rises from 0 to 1, `open_circuit_v` over it. `resistance_ohm` and `relaxation_ohm` hold one row for
    each of `temperature_c` (rising), over `resistance_charge` (0 to 1). `cold_nominal` and `cold_pessimistic`
    are shares over `cold_c` (rising).
    """

    charge: Sequence[float]
    open_circuit_v: Sequence[float]
    resistance_charge: Sequence[float]
    temperature_c: Sequence[float]
    resistance_ohm: Sequence[Sequence[float]]
    relaxation_ohm: Sequence[Sequence[float]]
    time_constant_s: float
    cold_c: Sequence[float]
    cold_nominal: Sequence[float]
    cold_pessimistic: Sequence[float]


def _over_temperature(rows: Sequence[Sequence[float]], own: Sequence[float], grid: FloatArray) -> FloatArray:
    """Rows at the temperatures of `grid`: linear in ln R over temperature, the last slope going on outside."""
    table = np.log(np.asarray(rows, dtype=float))
    if len(own) == 1:
        return np.asarray(np.exp(np.repeat(table, len(grid), axis=0)))
    knots = np.asarray(own, dtype=float)
    left = np.clip(np.searchsorted(knots, grid, side="right") - 1, 0, len(knots) - 2)
    weight = ((grid - knots[left]) / (knots[left + 1] - knots[left]))[:, None]
    return np.asarray(np.exp(table[left] * (1.0 - weight) + table[left + 1] * weight))


class CellTables:
    """The tables of a cell on uniform grids, for quick look-up with floats or with arrays.

    Charge in steps of 0.5 %, temperature in steps of 2.5 K from -40 to 80 degC, bilinear in between. Outside the
    rows of the file the last slope of ln R over temperature goes on. Every look-up raises `OutOfRange` for a
    charge outside 0 to 1 or a temperature outside -40 to 80 degC; nothing is clamped. Making them raises
    `OutOfRange` when a resistance would leave 0 to 1000 ohm between -40 and 80 degC.
    """

    def __init__(self, curves: Curves) -> None:
        self.curves = curves
        self.time_constant_s = curves.time_constant_s
        """Time constant of the relaxation branch [s]."""
        charge = np.linspace(0.0, 1.0, CHARGE_STEPS + 1)
        grid = np.arange(COLDEST_C, HOTTEST_C + STEP_C / 2, STEP_C)
        self._ocv_many: FloatArray = np.interp(charge, curves.charge, curves.open_circuit_v)
        tables = []
        for rows in (curves.resistance_ohm, curves.relaxation_ohm):
            fine = [np.interp(charge, curves.resistance_charge, row) for row in rows]
            with np.errstate(over="ignore", under="ignore"):
                table = _over_temperature([row.tolist() for row in fine], curves.temperature_c, grid)
            if not (np.all(table > 0.0) and np.all(table < MOST_OHM)):
                raise OutOfRange(
                    f"a resistance of {table.max():.3g} ohm comes out between {COLDEST_C:g} and {HOTTEST_C:g} degC; "
                    f"the rows must stay between 0 and {MOST_OHM:g} ohm when their slope goes on"
                )
            tables.append(table)
        self._r0_many, self._r1_many = (np.ascontiguousarray(table) for table in tables)
        self._ocv: list[float] = self._ocv_many.tolist()
        self._r0: list[list[float]] = self._r0_many.tolist()
        self._r1: list[list[float]] = self._r1_many.tolist()
        nominal = np.interp(grid, curves.cold_c, curves.cold_nominal)
        pessimistic = np.interp(grid, curves.cold_c, curves.cold_pessimistic)
        self._cold_many = np.stack([nominal, pessimistic])
        self._cold: list[list[float]] = self._cold_many.tolist()

    def at(self, charge: N, temperature_c: N | float) -> tuple[N, N, N]:
        """Open-circuit voltage [V], series resistance [ohm] and relaxation resistance [ohm] of one cell.

        `charge` is a share 0 to 1, `temperature_c` [degC] -40 to 80; floats give floats, arrays give arrays of
        the same shape. Raises `OutOfRange`.
        """
        if isinstance(charge, np.ndarray) or isinstance(temperature_c, np.ndarray):
            return self._at_many(charge, temperature_c)  # type: ignore[arg-type]
        x = charge * CHARGE_STEPS
        y = (temperature_c - COLDEST_C) / STEP_C
        last = len(self._r0) - 1
        if not (0.0 <= x <= CHARGE_STEPS and 0.0 <= y <= last):
            self._refuse(charge, charge, temperature_c, temperature_c)
        i, j = int(x), int(y)
        if i == CHARGE_STEPS:
            i -= 1
        if j == last:
            j -= 1
        x -= i
        y -= j
        ocv, cold0, warm0, cold1, warm1 = self._ocv, self._r0[j], self._r0[j + 1], self._r1[j], self._r1[j + 1]
        a = (1.0 - x) * (1.0 - y)
        b = x * (1.0 - y)
        c = (1.0 - x) * y
        d = x * y
        k = i + 1
        return (
            ocv[i] * (1.0 - x) + ocv[k] * x,
            cold0[i] * a + cold0[k] * b + warm0[i] * c + warm0[k] * d,
            cold1[i] * a + cold1[k] * b + warm1[i] * c + warm1[k] * d,
        )

    def _at_many(self, charge: FloatArray, temperature_c: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        x = np.asarray(charge * CHARGE_STEPS, dtype=float)
        y = np.asarray((temperature_c - COLDEST_C) / STEP_C, dtype=float)
        rows = len(self._r0)
        if not (x.min() >= 0.0 and x.max() <= CHARGE_STEPS and y.min() >= 0.0 and y.max() <= rows - 1):
            self._refuse(np.min(charge), np.max(charge), np.min(temperature_c), np.max(temperature_c))
        i = np.minimum(x.astype(np.intp), CHARGE_STEPS - 1)
        j = np.minimum(y.astype(np.intp), rows - 2)
        x = x - i
        y = y - j
        a = (1.0 - x) * (1.0 - y)
        b = x * (1.0 - y)
        c = (1.0 - x) * y
        d = x * y
        width = CHARGE_STEPS + 1
        first = j * width + i
        tables = []
        for table in (self._r0_many.ravel(), self._r1_many.ravel()):
            cold = table.take(first, mode="clip") * a + table[1:].take(first, mode="clip") * b
            warm = table[width:].take(first, mode="clip") * c
            tables.append(cold + warm + table[width + 1 :].take(first, mode="clip") * d)
        ocv = self._ocv_many.take(i, mode="clip") * (1.0 - x) + self._ocv_many[1:].take(i, mode="clip") * x
        return ocv, tables[0], tables[1]

    def open_circuit(self, charge: N) -> N:
        """Open-circuit voltage of one cell [V] at `charge` (0 to 1). Raises `OutOfRange`."""
        voltage: N = self.at(charge, 25.0)[0]
        return voltage

    def resistance(self, charge: N, temperature_c: N | float) -> N:
        """Series resistance R0 of one cell [ohm]. Raises `OutOfRange`."""
        return self.at(charge, temperature_c)[1]

    def relaxation_resistance(self, charge: N, temperature_c: N | float) -> N:
        """Relaxation resistance R1 of one cell [ohm]. Raises `OutOfRange`."""
        return self.at(charge, temperature_c)[2]

    def cold_share(self, temperature_c: N, pessimism: N | float = 0.0) -> N:
        """Share of the charge that the cold leaves within reach, beyond what the resistances take [share].

        `pessimism` 0 gives the nominal table, 1 the pessimistic one, in between a mixture. Linear over
        temperature [degC], the end values of the table held outside it. Raises `OutOfRange` outside -40 to
        80 degC.
        """
        y = (temperature_c - COLDEST_C) / STEP_C
        last = len(self._cold[0]) - 1
        if isinstance(y, np.ndarray):
            if not (y.min() >= 0.0 and y.max() <= last):
                self._refuse(0.0, 0.0, np.min(temperature_c), np.max(temperature_c))
            many = np.minimum(y.astype(np.intp), last - 1)
            part = y - many
            nominal, worst = (row[many] * (1.0 - part) + row[many + 1] * part for row in self._cold_many)
            share: N = nominal + (worst - nominal) * pessimism
            return share
        if not 0.0 <= y <= last:
            self._refuse(0.0, 0.0, temperature_c, temperature_c)
        j = min(int(y), last - 1)
        y -= j
        kind, bad = self._cold
        typical = kind[j] * (1.0 - y) + kind[j + 1] * y
        poor = bad[j] * (1.0 - y) + bad[j + 1] * y
        return typical + (poor - typical) * pessimism

    def charge_at(self, open_circuit_v: float) -> float:
        """Charge [share] of a cell whose rested voltage is `open_circuit_v` [V]: the inverse of `open_circuit`.

        Raises `OutOfRange` outside the table's voltages.
        """
        low, high = self._ocv[0], self._ocv[-1]
        if not low - _TOLERANCE <= open_circuit_v <= high + _TOLERANCE:
            raise OutOfRange(f"a rested cell of {open_circuit_v:.3f} V is outside the table, {low:.3f} to {high:.3f} V")
        return float(np.interp(open_circuit_v, self.curves.open_circuit_v, self.curves.charge))

    @staticmethod
    def _refuse(least: float, most: float, coldest: float, hottest: float) -> None:
        raise OutOfRange(
            f"cell table asked at charge {least:.4g} to {most:.4g} and {coldest:.4g} to {hottest:.4g} degC; "
            f"it answers for charge 0 to 1 and {COLDEST_C:g} to {HOTTEST_C:g} degC"
        )
