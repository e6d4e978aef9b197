"""Derives the tables of `boards/cells/nmc-21700-5000.yaml` from reference discharge and pulse curves.

Run `python -m schedgen.board.derive_cell FOLDER` with the folder that holds the reference curves (a copy is in
`tests/outside/reference/`); it prints the tables as YAML. Same input, same text.

The curves were made with PyBaMM (Sulzer et al. 2021, JORS 9, 14) and two sets of parameters of one kind of cell:
Chen et al. 2020, J. Electrochem. Soc. 167, 080534, and O'Regan et al. 2022, Electrochim. Acta 425, 140700. They
differ by 5 % in capacity, so both are laid over one axis of charge: the share of what each gives at C/5 and 25 degC.
One equivalent circuit is fitted to all of them at once by linear least squares: open-circuit voltage over charge,
series and relaxation resistance over charge for each temperature. The constant-current curves of the first set in
the cold are left out: its cold response is kinetics only and too good.
"""

from __future__ import annotations

import csv
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LABEL_AH = 5.0
FULL_V, EMPTY_V = 4.2, 2.5
CAPACITY_AH = {"Chen2020": 5.11668, "ORegan2022": 4.85034}
"""What each set gives at C/5 and 25 degC to 2.5 V [Ah]: summary of the reference curves (DFN)."""
TIME_CONSTANT_S = 300.0
OCV_KNOTS = np.linspace(0.0, 1.0, 41)
OHM_KNOTS = np.array([0.0, 0.05, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 1.0])
TEMPERATURES = (-20.0, -10.0, 0.0, 5.0, 25.0)
TEN_SECONDS_OHM = {-20.0: 0.10483, -10.0: 0.07111, 0.0: 0.04781, 5.0: 0.03958, 25.0: 0.0207}
"""Resistance of a 10 s pulse of 1 A at half charge, O'Regan set, by temperature [ohm]."""
WARM_FACTOR, WARM_C = 0.7, 45.0
"""The row at 45 degC is 0.7 times that at 25 degC: extrapolated, half the slope between 5 and 25 degC."""
_OPEN, _OHM = len(OCV_KNOTS), len(OHM_KNOTS)
_UNKNOWNS = _OPEN + 2 * _OHM * len(TEMPERATURES)


@dataclass(frozen=True, slots=True)
class Curve:
    """A reference curve: `time_s`, `current_a`, `charge` (share of the set's own C/5 capacity), `voltage_v`."""

    name: str
    parameters: str
    temperature_c: float
    time_s: FloatArray
    current_a: FloatArray
    charge: FloatArray
    voltage_v: FloatArray
    weight: float = 1.0


@dataclass(frozen=True, slots=True)
class Fit:
    """The fitted tables: volts over OCV_KNOTS; ohms with one row for each of TEMPERATURES over OHM_KNOTS."""

    open_circuit_v: FloatArray
    resistance_ohm: FloatArray
    relaxation_ohm: FloatArray


def _rows(path: Path) -> list[list[str]]:
    with path.open(encoding="utf-8", newline="") as file:
        return [row for row in csv.reader(file) if not row[0].startswith("#")][1:]


def read_curves(folder: Path) -> list[Curve]:
    """All curves of `folder` that have a kinetic model worth following (DFN). Reads files; raises OSError."""
    curves: list[Curve] = []
    found: dict[tuple[str, str, str], list[tuple[float, float]]] = {}
    for row in _rows(folder / "pybamm_cc_curves.csv"):
        if row[1].startswith("DFN"):
            found.setdefault((row[0], row[2], row[3]), []).append((float(row[4]), float(row[5])))
    for (name, temperature, rate), points in found.items():
        table = np.array(points)
        current = float(rate) * LABEL_AH
        curves.append(
            Curve(
                f"{name} {float(rate):g}C {temperature} degC",
                name,
                float(temperature),
                table[:, 0] / current * 3600.0,
                np.full(len(table), current),
                1.0 - table[:, 0] / CAPACITY_AH[name],
                table[:, 1],
            )
        )
    for path in sorted(folder.glob("pybamm_pulse_*_DFN_*C.csv")):
        _, _, name, _, warmth = path.stem.split("_")
        table = np.array([[float(value) for value in row[:6]] for row in _rows(path)])
        curves.append(
            Curve(
                f"{name} pulses {warmth[:-1]} degC",
                name,
                float(warmth[:-1]),
                table[:, 0] * 3600.0,
                table[:, 2],
                1.0 - table[:, 5] / CAPACITY_AH[name],
                table[:, 3],
                2.0,
            )
        )
    for name, capacity in CAPACITY_AH.items():
        table = np.array([[float(value) for value in row] for row in _rows(folder / f"pybamm_ocv_{name}.csv")])
        nothing = np.zeros(len(table))
        charge = 1.0 - table[:, 2] / capacity
        curves.append(Curve(f"{name} at rest", name, 25.0, nothing, nothing, charge, table[:, 1], 2.0))
    return curves


def followed(curve: Curve) -> bool:
    """Whether the fit follows `curve`: not the first set's constant currents in the cold."""
    return curve.name.split()[1] in ("pulses", "at") or curve.parameters != "Chen2020" or curve.temperature_c > 20.0


def _lagged(curve: Curve) -> FloatArray:
    """The current seen through the relaxation branch: solution of tau dx/dt = I - x [A]."""
    lagged = np.zeros(len(curve.time_s))
    for k in range(1, len(lagged)):
        left = np.exp(-(curve.time_s[k] - curve.time_s[k - 1]) / TIME_CONSTANT_S)
        lagged[k] = lagged[k - 1] * left + curve.current_a[k] * (1.0 - left)
    return lagged


def _hats(at: FloatArray, knots: FloatArray) -> FloatArray:
    """Weights of linear interpolation: one row for each of `at`, one column a knot."""
    left = np.clip(np.searchsorted(knots, at, side="right") - 1, 0, len(knots) - 2)
    part = (at - knots[left]) / (knots[left + 1] - knots[left])
    weights = np.zeros((len(at), len(knots)))
    weights[np.arange(len(at)), left] = 1.0 - part
    weights[np.arange(len(at)), left + 1] = part
    return weights


def _ohm_at(temperature_c: float, branch: int) -> slice:
    start = _OPEN + 2 * _OHM * TEMPERATURES.index(temperature_c) + branch * _OHM
    return slice(start, start + _OHM)


def _equations(curve: Curve, least_charge: float) -> tuple[FloatArray, FloatArray]:
    inside = curve.charge > least_charge
    rows = np.zeros((int(inside.sum()), _UNKNOWNS))
    charge = curve.charge[inside]
    rows[:, :_OPEN] = _hats(charge, OCV_KNOTS)
    hats = _hats(charge, OHM_KNOTS)
    rows[:, _ohm_at(curve.temperature_c, 0)] = -hats * curve.current_a[inside, None]
    rows[:, _ohm_at(curve.temperature_c, 1)] = -hats * _lagged(curve)[inside, None]
    scale = curve.weight / np.sqrt(len(rows))
    return rows * scale, curve.voltage_v[inside] * scale


def _conditions() -> tuple[FloatArray, FloatArray]:
    """Ends of the open-circuit curve, the 10 s resistances, and smoothness of the resistances."""
    rows: list[FloatArray] = []
    values: list[float] = []

    def add(entries: Sequence[tuple[int, float]], value: float, weight: float) -> None:
        row = np.zeros(_UNKNOWNS)
        for index, factor in entries:
            row[index] = factor * weight
        rows.append(row)
        values.append(value * weight)

    add([(_OPEN - 1, 1.0)], FULL_V, 10.0)
    warm = (_ohm_at(25.0, 0).start, _ohm_at(25.0, 1).start)
    add([(0, 1.0), (warm[0], -1.0), (warm[1], -1.0)], EMPTY_V, 10.0)  # C/5 is 1 A
    part = 1.0 - float(np.exp(-10.0 / TIME_CONSTANT_S))
    half = int(np.argmin(abs(OHM_KNOTS - 0.5)))
    for temperature, ohm in TEN_SECONDS_OHM.items():
        add([(_ohm_at(temperature, 0).start + half, 1.0), (_ohm_at(temperature, 1).start + half, part)], ohm, 4.0)
    for k in range(1, _OPEN - 1):
        add([(k - 1, -0.5), (k, 1.0), (k + 1, -0.5)], 0.0, 2.0 if OCV_KNOTS[k] > 0.12 else 0.1)
    for temperature in TEMPERATURES:
        for branch in (0, 1):
            start = _ohm_at(temperature, branch).start
            for k in range(1, _OHM - 1):
                add([(start + k - 1, -0.5), (start + k, 1.0), (start + k + 1, -0.5)], 0.0, 0.8)
            for k in range(_OHM):
                add([(start + k, 1.0)], 0.02, 0.02)
    return np.array(rows), np.array(values)


def fit(curves: Sequence[Curve], least_charge: float = 0.015) -> Fit:
    """The circuit that fits `curves` best in the mean square, charges below `least_charge` left out."""
    parts = [_equations(curve, least_charge) for curve in curves if followed(curve)] + [_conditions()]
    rows, values = np.vstack([rows for rows, _ in parts]), np.concatenate([values for _, values in parts])
    solution = np.linalg.lstsq(rows, values, rcond=None)[0]
    both = [np.array([solution[_ohm_at(warmth, branch)] for warmth in TEMPERATURES]) for branch in (0, 1)]
    solution[_OPEN - 1] = FULL_V  # within 1 mV of it already
    return Fit(np.round(solution[:_OPEN], 4), np.round(both[0], 5), np.round(both[1], 5))


def as_yaml(result: Fit) -> str:
    """The tables as the cell file has them."""

    def numbers(values: FloatArray, digits: int) -> str:
        return "[" + ", ".join(f"{value:.{digits}f}" for value in values) + "]"

    def percent(values: FloatArray) -> str:
        return "[" + ", ".join(f"{100 * value:g}" for value in values) + "]"

    lines = [
        "open_circuit:",
        f"  charge_percent: {percent(OCV_KNOTS)}",
        f"  volts: {numbers(result.open_circuit_v, 4)}",
    ]
    for title, table in (("resistance", result.resistance_ohm), ("relaxation", result.relaxation_ohm)):
        lines += [f"{title}:"]
        if title == "relaxation":
            lines.append(f"  time_constant: {TIME_CONSTANT_S:g} s")
        lines += [f"  charge_percent: {percent(OHM_KNOTS)}", "  milliohms:"]
        rows = [*zip(TEMPERATURES, table, strict=True), (WARM_C, table[-1] * WARM_FACTOR)]
        lines += [f"    {warmth:g} degC: {numbers(row * 1000.0, 1)}" for warmth, row in rows]
    return "\n".join(lines) + "\n"


def main(arguments: Sequence[str]) -> int:
    """Prints the tables made from the folder given; 2 when none is given."""
    if len(arguments) != 1:
        print("usage: python -m schedgen.board.derive_cell FOLDER", file=sys.stderr)
        return 2
    print(as_yaml(fit(read_curves(Path(arguments[0])))), end="")
    return 0


if __name__ == "__main__":
    raise SystemExit(main(sys.argv[1:]))
