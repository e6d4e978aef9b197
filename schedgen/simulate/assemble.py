"""Puts a solved batch into the result objects: an account and a trace for every run."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

import numpy as np

from schedgen.plan.model import PHASES, Plan
from schedgen.simulate.accounts import energy_of, phases_at, reserve_of
from schedgen.simulate.limits import Ends, firing_lowest, first_below, low_current, lowest, output_peaks
from schedgen.simulate.results import CONTROLLER, Account, Floats, LoadHeat, Trace
from schedgen.simulate.solved import Solved, watts_of

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive


def _maybe(value: float) -> float | None:
    return None if not np.isfinite(value) else float(value)


def _row(values: Mapping[str, Floats], run: int) -> dict[str, float]:
    return {name: float(column[run]) for name, column in values.items()}


def _largest(solved: Solved, ends: Ends) -> tuple[Floats, Floats, Floats]:
    """Largest pack current (runs,), when, and the cell temperature then."""
    index = np.arange(len(solved.true_s))[:, None]
    within = (solved.time_s[:-1] < solved.runs.end) & (index <= solved.course.dead) & (solved.true_s > 0)
    start = np.where(within, ends.start_a, 0.0)
    stop = np.where(within & (index < solved.course.dead), ends.stop_a, 0.0)
    column = np.arange(start.shape[1])
    first, last = start.argmax(axis=0), stop.argmax(axis=0)
    at_start = start[first, column] >= stop[last, column]
    where = np.where(at_start, first, last + 1)
    return (
        np.maximum(start[first, column], stop[last, column]),
        solved.time_s[where, column],
        solved.cell_c[where, column],
    )


def accounts_of(solved: Solved, ends: Ends, dive: Dive, board: Board, plan: Plan) -> list[Account]:
    """One account for each run of a batch."""
    by_output = _lowest_by_output(solved, ends)
    parts = (
        _energies(solved, reserve_of(dive)),
        _voltages(solved, ends, board, plan),
        _currents(solved, ends, dive, board, by_output),
    )
    runs = solved.runs
    hottest = {name: _hottest(solved, values) for name, values in solved.load_c.items()}
    out = []
    for run, (energies, voltages, currents) in enumerate(zip(*parts, strict=True)):
        figures: dict[str, Any] = {
            "lowest_output_v": {name: v for name, v in _row(by_output, run).items() if np.isfinite(v)},
            "heat": {name: LoadHeat(float(high[run]), float(at[run])) for name, (high, at) in hottest.items()},
            "end_s": float(runs.end[run]),
            "surface_s": float(runs.surface[run]),
        }
        out.append(Account(**energies, **voltages, **currents, **figures))
    return out


def _energies(solved: Solved, reserve: float) -> list[dict[str, Any]]:
    """Energies, endurance and cell temperatures of each run."""
    runs, course = solved.runs, solved.course
    energy = energy_of(solved, reserve)
    until_empty = np.where(np.isnan(course.empty_s), solved.time_s[-1], course.empty_s)
    endurance = np.maximum(until_empty - runs.surface, 0.0) * runs.scale / 3600.0
    at_end = _at(solved, runs.end)
    out = []
    for run in range(len(runs)):
        phases, spent = _row(energy.by_phase, run), _row(energy.hours, run)
        out.append(
            {
                "usable_wh": float(energy.usable[run]),
                "needed_wh": float(energy.needed[run]),
                "reserve_wh": float(energy.reserve[run]),
                "margin_wh": float(energy.usable[run] - energy.needed[run]),
                "cold_loss_wh": float(energy.cold[run]),
                "empty_at_s": _maybe(course.empty_s[run]),
                "endurance_after_surface_h": float(endurance[run]),
                "by_load_wh": _row(energy.by_load, run),
                "by_phase_wh": phases,
                "average_w": {name: phases[name] / spent[name] for name in PHASES if spent[name] > 0},
                "cell_temperature_c": (float(energy.coldest[run]), float(energy.hottest[run])),
                "end_charge": float(at_end[run]),
            }
        )
    return out


def _lowest_by_output(solved: Solved, ends: Ends) -> dict[str, Floats]:
    """Lowest pack voltage (runs,) while each output is on, inf where it never is."""
    on_output: dict[str, Any] = {}
    for consumer in solved.demand.consumers:
        if consumer.output:
            on = consumer.peak[solved.segments] > 0
            on_output[consumer.output] = on_output.get(consumer.output, False) | on
    return {name: lowest(solved, ends, on).volts for name, on in on_output.items()}


def _voltages(solved: Solved, ends: Ends, board: Board, plan: Plan) -> list[dict[str, Any]]:
    """Lowest voltages of each run, and when a cell crosses the limits."""
    least = lowest(solved, ends, np.ones_like(solved.true_s, dtype=bool))
    firing = firing_lowest(solved, ends, board, plan)
    reading = 1.0 + solved.runs["board.pack_sense.tolerance"]
    shed = first_below(solved, ends, plan.interlocks.shed_v, reading)
    asks = first_below(solved, ends, plan.interlocks.release_below_v, reading)
    out = []
    for run in range(len(solved.runs)):
        firings = {name: float(found.volts[run]) for name, found in firing.items()}
        worst = min(firings, key=lambda name: firings[name]) if firings else None
        out.append(
            {
                "lowest_voltage_v": float(least.volts[run]),
                "lowest_voltage_at_s": float(least.at_s[run]),
                "lowest_release_voltage_v": firings[worst] if worst else None,
                "lowest_release_voltage_at_s": _maybe(firing[worst].at_s[run]) if worst else None,
                "lowest_firing_voltage": firings,
                "shed_at_s": shed[run],
                "release_below_at_s": asks[run],
            }
        )
    return out


def _currents(
    solved: Solved, ends: Ends, dive: Dive, board: Board, by_output: Mapping[str, Floats]
) -> list[dict[str, Any]]:
    """Largest currents of each run, and the longest time below a power bank's keep-alive current."""
    runs = solved.runs
    peak_a, peak_at, peak_c = _largest(solved, ends)
    outputs_a, rails_a = output_peaks(solved, board, by_output)
    low_s, low_at = np.zeros(len(runs)), np.full(len(runs), np.nan)
    supplies = dive.pack.supplies
    if supplies is not None and supplies.off_below is not None:
        low_s, low_at = low_current(solved, supplies.off_below.high)
    return [
        {
            "peak_current_a": float(peak_a[run]),
            "peak_current_at_s": float(peak_at[run]),
            "peak_cell_current_a": float(peak_a[run] / solved.pack.parallel[run]),
            "peak_cell_current_c": float(peak_c[run]),
            "peak_output_a": _row(outputs_a, run),
            "peak_rail_a": _row(rails_a, run),
            "longest_low_current_s": float(low_s[run]),
            "longest_low_current_at_s": _maybe(low_at[run]),
        }
        for run in range(len(runs))
    ]


def _hottest(solved: Solved, temperature_c: Floats) -> tuple[Floats, Floats]:
    """Highest temperature (runs,) until `end`, and when."""
    course = np.where(solved.time_s <= solved.runs.end, temperature_c, -np.inf)
    where, column = course.argmax(axis=0), np.arange(course.shape[1])
    return course[where, column], solved.time_s[where, column]


def _at(solved: Solved, time_s: Floats) -> Floats:
    """Charge (runs,) at a moment of each run."""
    return np.array(
        [np.interp(moment, solved.time_s[:, run], solved.course.charge[:, run]) for run, moment in enumerate(time_s)]
    )


def traces_of(solved: Solved, ends: Ends, plan: Plan) -> list[Trace]:
    """One trace for each run, until its `end`; steps without length are left out."""
    phase = phases_at(solved)
    fed = np.arange(len(solved.true_s))[:, None] < solved.course.dead
    volts = ends.mean_start_v if solved.supply is None else np.broadcast_to(solved.supply.volts, fed.shape)
    volts = np.where(fed, volts, 0.0)
    amps = np.where(fed, ends.mean_start_a, 0.0)
    if solved.supply is not None:
        draw, v = solved.at_board, solved.supply.volts
        watt = draw.base_w + draw.duty * (draw.peak_w - draw.base_w)
        ampere = draw.base_a + draw.duty * (draw.peak_a - draw.base_a)
        amps = np.where(fed, watt / v + ampere + draw.siemens * v, 0.0)
    watts: dict[str, Floats] = {}
    for consumer in solved.demand.consumers:
        if consumer.account != CONTROLLER:
            found = watts_of(solved, consumer, volts) * fed
            watts[consumer.account] = watts[consumer.account] + found if consumer.account in watts else found
    deepest = np.maximum(solved.depth_m.max(axis=0), 1e-9)
    pressure = solved.depth_m / deepest * plan.fall.pressure_dbar[1]
    out = []
    for run in range(len(solved.runs)):
        keep = np.flatnonzero((solved.true_s[:, run] > 0) & (solved.time_s[:-1, run] < solved.runs.end[run]))
        last = keep[-1] + 1 if len(keep) else 0
        nodes = np.concatenate((keep, [last]))
        steps = np.concatenate((keep, keep[-1:] if len(keep) else [0]))
        out.append(
            Trace(
                time_s=solved.time_s[nodes, run],
                phase=tuple(map(PHASES.__getitem__, phase[steps, run].tolist())),
                voltage_v=volts[steps, run],
                current_a=amps[steps, run],
                power_w=volts[steps, run] * amps[steps, run],
                charge=solved.course.charge[nodes, run],
                pack_c=solved.cell_c[nodes, run],
                housing_c=solved.wall_c[nodes, run],
                pressure_dbar=pressure[nodes, run],
                load_w={name: values[steps, run] for name, values in watts.items()},
                load_c={name: values[nodes, run] for name, values in solved.load_c.items()},
            )
        )
    return out
