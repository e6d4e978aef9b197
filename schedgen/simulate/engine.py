"""The electrical engine: charge, relaxation and voltage of many runs over their time grids, all steps at once.

In a step the demand is constant. The charge at its middle gives open-circuit voltage and resistances; the mean of the
relaxation voltage over the step is exact; the pack's voltage then solves a quadratic. The steps hang together only by
charge and relaxation, so the whole course is found by going over it again until nothing changes (waveform relaxation, a
Picard iteration of the charge equation; it converges faster than any geometric series: Miekkala and Nevanlinna 1987, from
memory). One run is an array of one column; there is no second engine.
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
SETTLED = 1e-12
"""Largest change of charge between two rounds at which the course stands."""
COLDEST_C, HOTTEST_C = -40.0, 80.0
MANY = 48
"""From so many runs on, recurrences go step by step; below, by doubling."""
FINE = 24
"""Points to each of two steps in the search for the moment the pack is empty."""


@dataclass(frozen=True, slots=True)
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


@dataclass(frozen=True, slots=True)
class Draw:
    """Demand at every step, (steps, runs); the fields of `PowerTable`, surges included."""

    base_w: Floats
    peak_w: Floats
    base_a: Floats
    peak_a: Floats
    duty: Floats
    siemens: Floats
    flashing: bool


@dataclass(frozen=True, slots=True)
class Course:
    """How the pack goes. (steps, runs) unless said; `charge`, `relaxation_v` (steps + 1, runs); `dead` (runs,) is the
    first step that is not fed (the number of steps where all are), `empty_s` (runs,) elapsed s, nan for never."""

    charge: Floats
    relaxation_v: Floats
    current_a: Floats
    mean_v: Floats
    inner_v: Floats
    """Open-circuit voltage of the pack at mid-step."""
    power_w: Floats
    """Delivered at the terminals, 0 once the pack is empty."""
    dead: Ints
    empty_s: Floats
    rounds: int


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


def look_up(pack: Pack, charge: Floats, cell_c: Floats) -> tuple[Floats, Floats, Floats]:
    """Open-circuit voltage and both resistances of the pack at a charge and temperature, same shape."""
    warm = np.clip(cell_c, COLDEST_C, HOTTEST_C)
    felt = charge_felt(charge, pack.tables.cold_share(warm, pack.pessimism))
    ocv, series_ohm, relaxation_ohm = pack.tables.at(np.clip(felt, 0.0, 1.0), warm)
    factor = pack.resistance * (pack.series / pack.parallel)
    return ocv * pack.series, series_ohm * factor, relaxation_ohm * factor


def felt_empty(pack: Pack, charge: Floats, cell_c: Floats) -> Flags:
    """True where the charge is out of reach."""
    warm = np.clip(cell_c, COLDEST_C, HOTTEST_C)
    return np.asarray(charge_felt(charge, pack.tables.cold_share(warm, pack.pessimism)) <= 0.0)


def _mean_current(draw: Draw, inner_v: Floats, ohm: Floats) -> tuple[Floats, Floats, Floats]:
    """Mean voltage, current and power of every step; a flash is its lit part and its dark part."""
    volts, current = terminal(inner_v, ohm, draw.peak_w, draw.peak_a, draw.siemens)
    if not draw.flashing:
        return volts, current, volts * current
    dark_v, dark_a = terminal(inner_v, ohm, draw.base_w, draw.base_a, draw.siemens)
    lit, dark = draw.duty, 1.0 - draw.duty
    power = lit * volts * current + dark * dark_v * dark_a
    return lit * volts + dark * dark_v, lit * current + dark * dark_a, power


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
    mid = charge[1:]
    for rounds in range(1, ROUNDS + 1):
        source, ohm, slow = look_up(pack, mid, mid_c)
        volts, current, power = _mean_current(draw, source - relaxation[:-1] * weight, ohm + slow * (1.0 - weight))
        failing = (volts < cut) | felt_empty(pack, mid, mid_c)
        dead = np.where(failing.any(axis=0), failing.argmax(axis=0), steps)
        current = np.where(index < dead, current, 0.0)
        relaxation = recurrence(kept, (1.0 - kept) * slow * current, relaxation[0])
        before = charge
        charge = np.empty_like(before)
        charge[0] = pack.charge
        np.cumsum(current * per_step, axis=0, out=charge[1:])
        np.subtract(pack.charge, charge[1:], out=charge[1:])
        mid = 0.5 * (charge[1:] + charge[:-1])
        if np.abs(charge - before).max() < SETTLED:
            break
    empty = _empty_at(pack, draw, time_s, cell_c, charge, relaxation, dead)
    power = np.where(index < dead, power, 0.0)
    return Course(charge, relaxation, current, volts, source, power, dead, empty, rounds)


def _empty_at(
    pack: Pack, draw: Draw, time_s: Floats, cell_c: Floats, charge: Floats, relaxation: Floats, dead: Ints
) -> Floats:
    """When each run's pack is empty (runs,): the first fine point, in the step that fails or the one before, at which
    the voltage is under the cut-off; nan where no step fails."""
    steps = len(draw.peak_w)
    out = np.full(len(dead), np.nan)
    hit = np.flatnonzero(dead < steps)
    if not len(hit):
        return out
    part = (np.arange(FINE) + 0.5)[:, None] / FINE
    some = Pack(pack.tables, pack.series, *(np.asarray(getattr(pack, name))[hit] for name in (
        "parallel", "capacity_as", "resistance", "pessimism", "cut_v", "charge")))
    k = dead[hit]
    out[hit] = time_s[k, hit]
    found = np.zeros(len(hit), dtype=bool)
    for at in (np.maximum(k - 1, 0), k):
        at_draw = Draw(*(np.asarray(getattr(draw, name))[at, hit] for name in (
            "base_w", "peak_w", "base_a", "peak_a", "duty", "siemens")), draw.flashing)
        length = time_s[at + 1, hit] - time_s[at, hit]
        drop = charge[at, hit] - charge[at + 1, hit]
        if at is k:
            source, ohm, slow = look_up(some, charge[at, hit], cell_c[at, hit])
            _, amps, _ = _mean_current(at_draw, source - relaxation[at, hit], ohm + slow)
            drop = amps * length / some.capacity_as
        level = charge[at, hit] - drop * part
        warm = cell_c[at, hit] + (cell_c[at + 1, hit] - cell_c[at, hit]) * part
        source, ohm, _ = look_up(some, level, warm)
        volts, _, _ = _mean_current(at_draw, source - relaxation[at + 1, hit], ohm)
        under = (volts < some.cut_v * some.series) | felt_empty(some, level, warm)
        first = under.argmax(axis=0)
        moment = time_s[at, hit] + length * (first + 0.5) / FINE
        new = under.any(axis=0) & ~found
        if at is k:
            moment = np.where(under.any(axis=0), moment, time_s[at + 1, hit])
            new = ~found
        out[hit[new]] = moment[new]
        found |= new
    return out
