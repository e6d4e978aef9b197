"""The electrical engine: charge, relaxation and voltage of many runs over their time grids, all steps at once.

In a step the demand is constant. The charge at its middle gives open-circuit voltage and resistances; the mean of the
relaxation voltage over the step is exact; the pack's voltage then solves a quadratic. The steps hang together only by
charge and relaxation, so the whole course is found by going over it again until nothing changes (waveform relaxation,
a Picard iteration of the charge equation; it converges faster than any geometric series: Miekkala and Nevanlinna 1987,
from memory). One run is an array of one column; there is no second engine.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from schedgen.physics.cell import CellTables, charge_felt
from schedgen.physics.pack import terminal_voltage
from schedgen.simulate.results import Floats

Flags = NDArray[np.bool_]
Ints = NDArray[np.intp]
ROUNDS = 60
GUESS_V = 3.6
"""Cell voltage behind the first guess of the charge; nothing hangs on it."""
SETTLED = 1e-12
"""Largest change of charge between two rounds at which the course stands."""
COLDEST_C, HOTTEST_C = -40.0, 80.0
MANY = 48
"""From so many runs on, recurrences go step by step; below, by doubling."""
FINE = 24
"""Points to each of two steps in the search for the moment the pack is empty."""


@dataclass(frozen=True, slots=True, eq=False)
class Pack:
    """A pack for each run, all (runs,): `series` is one number. `capacity_as` is label x health x parallel, ampere
    seconds. `resistance` multiplies both resistances of a cell (spread and age), `pessimism` 0 to 1 chooses the cold
    table, `cut_v` is where a cell stops feeding, `charge` the share at the start."""

    tables: CellTables
    series: int
    parallel: Floats
    capacity_as: Floats
    resistance: Floats
    pessimism: Floats
    cut_v: Floats
    charge: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Draw:
    """Demand at every step, (steps, runs); the fields of `PowerTable`, surges included."""

    base_w: Floats
    peak_w: Floats
    base_a: Floats
    peak_a: Floats
    duty: Floats
    siemens: Floats
    flashing: bool


@dataclass(frozen=True, slots=True, eq=False)
class Course:
    """How the pack goes. (steps, runs) unless said; `charge`, `relaxation_v` (steps + 1, runs); `dead` (runs,) is the
    first step that is not fed (the number of steps where all are), `empty_s` (runs,) elapsed s, nan for never."""

    charge: Floats
    relaxation_v: Floats
    current_a: Floats
    mean_v: Floats
    lit_v: Floats
    """Voltage while a flash is lit, the mean where nothing flashes."""
    inner_v: Floats
    """Open-circuit voltage of the pack at mid-step."""
    power_w: Floats
    """Delivered at the terminals, 0 once the pack is empty."""
    dead: Ints
    empty_s: Floats


def terminal(inner_v: Floats, ohm: Floats, watt: Floats, ampere: Floats, siemens: Floats) -> tuple[Floats, Floats]:
    """Voltage and current of a source behind a resistance that feeds a power, a current and a conductance.

    Where the source cannot feed the load, the voltage of greatest power is given, which lies under every cut-off.

    >>> v, i = terminal(np.array([10.0]), np.array([1.0]), np.array([16.0]), np.array([0.0]), np.array([0.0]))
    >>> float(v[0]), float(i[0])
    (8.0, 2.0)
    """
    volts, _ = terminal_voltage(inner_v, ohm, watt, ampere, siemens)
    volts = np.maximum(volts, 1e-3)
    return volts, watt / volts + ampere + siemens * volts


def recurrence(keep: Floats, gain: Floats, first: Floats) -> Floats:
    """x[0] = first, x[k + 1] = keep[k] x[k] + gain[k]: (steps + 1, runs)."""
    steps, runs = gain.shape
    out = np.empty((steps + 1, runs))
    out[0] = first
    if runs >= MANY:
        for k in range(steps):
            np.multiply(keep[k], out[k], out=out[k + 1])
            out[k + 1] += gain[k]
        return out
    total, factor = gain.copy(), keep.copy()
    total[0] += keep[0] * first
    reach = 1
    while reach < steps:
        total[reach:] += factor[reach:] * total[:-reach]
        factor[reach:] = factor[reach:] * factor[:-reach]
        reach *= 2
        if not factor[reach:].any():
            break
    out[1:] = total
    return out


@dataclass(frozen=True, slots=True, eq=False)
class Climate:
    """Temperatures that do not change while a course is sought: the cells', and the share that the cold leaves."""

    cell_c: Floats
    reach: Floats


def climate(pack: Pack, cell_c: Floats) -> Climate:
    """The cold's share at cell temperatures; outside the tables' -40 to 80 degC as at their ends."""
    warm = np.clip(cell_c, COLDEST_C, HOTTEST_C)
    return Climate(warm, pack.tables.cold_share(warm, pack.pessimism))


def look_up(pack: Pack, charge: Floats, at: Climate) -> tuple[Floats, Floats, Floats, Floats]:
    """Open-circuit voltage and both resistances of the pack, and the charge felt in the cold, same shape.

    A charge out of reach (felt below 0) looks as an empty cell does.
    """
    felt = charge_felt(charge, at.reach)
    ocv, series_ohm, relaxation_ohm = pack.tables.at(np.clip(felt, 0.0, 1.0), at.cell_c)
    factor = pack.resistance * (pack.series / pack.parallel)
    return ocv * pack.series, series_ohm * factor, relaxation_ohm * factor, felt


def _mean_current(draw: Draw, inner_v: Floats, ohm: Floats) -> tuple[Floats, Floats, Floats, Floats]:
    """Mean voltage, current and power of every step, and the voltage while lit; a flash is its lit part and its dark
    part."""
    volts, current = terminal(inner_v, ohm, draw.peak_w, draw.peak_a, draw.siemens)
    if not draw.flashing:
        return volts, current, volts * current, volts
    dark_v, dark_a = terminal(inner_v, ohm, draw.base_w, draw.base_a, draw.siemens)
    lit, dark = draw.duty, 1.0 - draw.duty
    power = lit * volts * current + dark * dark_v * dark_a
    return lit * volts + dark * dark_v, lit * current + dark * dark_a, power, volts


def solve(pack: Pack, draw: Draw, time_s: Floats, true_s: Floats, cell_c: Floats) -> Course:
    """The course of charge and voltage. `time_s` (steps + 1, runs) elapsed, `true_s` (steps, runs) the steps' true
    lengths, `cell_c` (steps + 1, runs) degC."""
    steps, runs = true_s.shape
    mid_c = 0.5 * (cell_c[1:] + cell_c[:-1])
    tau = pack.tables.time_constant_s
    ratio = true_s / tau
    kept = np.exp(-ratio)
    weight = np.where(ratio > 1e-9, -np.expm1(-ratio) / np.maximum(ratio, 1e-300), 1.0)
    per_step = true_s / pack.capacity_as
    cut = pack.cut_v * pack.series
    charge = np.repeat(pack.charge[None, :], steps + 1, axis=0)
    relaxation = np.zeros((steps + 1, runs))
    index = np.arange(steps)[:, None]
    at_mid = climate(pack, mid_c)
    guess = draw.base_w + draw.duty * (draw.peak_w - draw.base_w)
    mid = pack.charge - np.cumsum(guess * per_step, axis=0) / (GUESS_V * pack.series)
    gain = 1.0 - kept
    for _ in range(ROUNDS):
        source, ohm, slow, felt = look_up(pack, mid, at_mid)
        volts, current, power, lit_v = _mean_current(
            draw, source - relaxation[:-1] * weight, ohm + slow * (1.0 - weight)
        )
        failing = (volts < cut) | (felt <= 0.0)
        dead = np.where(failing.any(axis=0), failing.argmax(axis=0), steps)
        relaxation = recurrence(kept, gain * slow * current, relaxation[0])
        before = charge
        charge = np.empty_like(before)
        charge[0] = pack.charge
        np.cumsum(current * per_step, axis=0, out=charge[1:])
        np.subtract(pack.charge, charge[1:], out=charge[1:])
        mid = 0.5 * (charge[1:] + charge[:-1])
        if (np.abs(charge[1:] - before[1:]) * (index <= dead)).max() < SETTLED:
            break
    fed = index < dead
    empty = _empty_at(pack, draw, time_s, cell_c, charge, relaxation, dead)
    column = np.arange(runs)
    left = charge[dead, column]
    before_k, length = np.maximum(dead - 1, 0), time_s[dead, column] - time_s[np.maximum(dead - 1, 0), column]
    early = np.where(np.isnan(empty), 0.0, np.maximum(time_s[dead, column] - empty, 0.0))
    left = np.maximum(left + (charge[before_k, column] - left) * early / np.maximum(length, 1e-9), 0.0)
    charge[1:] = np.where(fed, charge[1:], left)
    charge[dead, column] = np.where(dead > 0, left, charge[dead, column])
    relaxation[1:] = np.where(fed, relaxation[1:], 0.0)
    current, power = np.where(fed, current, 0.0), np.where(fed, power, 0.0)
    return Course(charge, relaxation, current, volts, lit_v, source, power, dead, empty)


def _some(pack: Pack, which: Ints) -> Pack:
    return Pack(
        pack.tables,
        pack.series,
        pack.parallel[which],
        pack.capacity_as[which],
        pack.resistance[which],
        pack.pessimism[which],
        pack.cut_v[which],
        pack.charge[which],
    )


def _empty_at(
    pack: Pack, draw: Draw, time_s: Floats, cell_c: Floats, charge: Floats, relaxation: Floats, dead: Ints
) -> Floats:
    """When each run's pack is empty (runs,): the first fine point, in the step that fails or the one before, at which
    the voltage is under the cut-off; nan where no step fails. Charge, relaxation and temperature are taken as linear
    within a step, as if the pack went on."""
    out = np.full(len(dead), np.nan)
    hit = np.flatnonzero(dead < len(draw.peak_w))
    if not len(hit):
        return out
    some, k = _some(pack, hit), dead[hit]
    part = (np.arange(2 * FINE) + 0.5)[:, None] / FINE - 1.0
    at = np.where(part < 0.0, np.maximum(k - 1, 0), k)
    part = np.where(part < 0.0, part + 1.0, part)

    def between(nodes: Floats) -> Floats:
        return np.asarray(nodes[at, hit] + (nodes[at + 1, hit] - nodes[at, hit]) * part)

    here = Draw(
        draw.base_w[at, hit],
        draw.peak_w[at, hit],
        draw.base_a[at, hit],
        draw.peak_a[at, hit],
        draw.duty[at, hit],
        draw.siemens[at, hit],
        draw.flashing,
    )
    source, ohm, _, felt = look_up(some, between(charge), climate(some, between(cell_c)))
    volts, *_ = _mean_current(here, source - between(relaxation), ohm)
    under = (volts < some.cut_v * some.series) | (felt <= 0.0)
    first, column = under.argmax(axis=0), np.arange(len(hit))
    moment = between(time_s)[first, column]
    out[hit] = np.where(under.any(axis=0), moment, time_s[k + 1, hit])
    return out
