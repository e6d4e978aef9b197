"""Voltages, currents and limits of a solved batch: lowest, largest, first crossing. Arrays are (steps, runs)."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from schedgen.plan.model import Plan
from schedgen.simulate.engine import climate, look_up, terminal
from schedgen.simulate.loads import own_volts
from schedgen.simulate.results import BACKUP, PRIMARY, Floats
from schedgen.simulate.runs import coefficients
from schedgen.simulate.solved import Solved, watts_of

if TYPE_CHECKING:
    from schedgen.board.model import Board, Rail

Flags = NDArray[np.bool_]
Ints = NDArray[np.intp]
BELOW_S = 180.0
"""A voltage limit counts after so long below it, elapsed s."""


@dataclass(frozen=True, slots=True, eq=False)
class Ends:
    """Voltages at both ends of every step, (steps, runs), at the board: lowest of a flash, its current, and the
    voltage of the pack with cameras and lights off."""

    start_v: Floats
    stop_v: Floats
    start_a: Floats
    stop_a: Floats
    mean_start_v: Floats
    mean_start_a: Floats
    quiet_start_v: Floats
    quiet_stop_v: Floats


def ends_of(solved: Solved) -> Ends:
    """Solves the pack at both ends of every step."""
    pack, draw, course, quiet = solved.pack, solved.draw, solved.course, solved.quiet
    source, ohm, *_ = look_up(pack, course.charge, climate(pack, solved.cell_c))
    inner = source - course.relaxation_v
    start_v, start_a = terminal(inner[:-1], ohm[:-1], draw.peak_w, draw.peak_a, draw.siemens)
    stop_v, stop_a = terminal(inner[1:], ohm[1:], draw.peak_w, draw.peak_a, draw.siemens)
    quiet_start, _ = terminal(inner[:-1], ohm[:-1], quiet.watt, quiet.ampere, quiet.siemens)
    quiet_stop, _ = terminal(inner[1:], ohm[1:], quiet.watt, quiet.ampere, quiet.siemens)
    mean_v, mean_a = start_v, start_a
    if draw.flashing:
        dark_v, dark_a = terminal(inner[:-1], ohm[:-1], draw.base_w, draw.base_a, draw.siemens)
        mean_v = draw.duty * start_v + (1.0 - draw.duty) * dark_v
        mean_a = draw.duty * start_a + (1.0 - draw.duty) * dark_a
    return Ends(start_v, stop_v, start_a, stop_a, mean_v, mean_a, quiet_start, quiet_stop)


@dataclass(frozen=True, slots=True, eq=False)
class Lowest:
    """Lowest voltage (runs,) and when (runs,) elapsed s; inf and nan where there was no such moment."""

    volts: Floats
    at_s: Floats


def lowest(solved: Solved, ends: Ends, on: Flags) -> Lowest:
    """Lowest voltage while `on` (steps, runs), until `end`. Where the pack fails in such a step, it is at its cut-off
    at most, and stays unfed."""
    course = solved.course
    index = np.arange(len(on))[:, None]
    within = on & (solved.time_s[:-1] < solved.runs.end) & (solved.true_s > 0)
    start = np.where(within & (index <= course.dead), ends.start_v, np.inf)
    stop = np.where(within & (index < course.dead), ends.stop_v, np.inf)
    column = np.arange(on.shape[1])
    first, last = start.argmin(axis=0), stop.argmin(axis=0)
    at_start, at_stop = start[first, column], stop[last, column]
    volts = np.minimum(at_start, at_stop)
    at_s = np.where(at_start <= at_stop, solved.time_s[first, column], solved.time_s[last + 1, column])
    if solved.supply is not None:
        volts = np.where(np.isfinite(volts), solved.supply.volts, volts)
    failed = (within & (index >= course.dead)).any(axis=0)
    cut = solved.pack.cut_v * solved.pack.series if solved.supply is None else np.zeros(len(volts))
    at_s = np.where(failed & (cut < volts), course.empty_s, at_s)
    volts = np.where(failed, np.minimum(volts, cut), volts)
    return Lowest(volts, np.where(np.isfinite(volts), at_s, np.nan))


def behind_rail(rail: Rail, pack_v: Floats) -> Floats:
    """Voltage of a rail when the pack has `pack_v`: its own, or where that is not enough the pack less the dropout."""
    if rail.kind == "direct":
        return pack_v
    own = np.full_like(pack_v, own_volts(rail))
    dropout = rail.dropout.high if rail.dropout is not None else 0.0
    if rail.kind == "boost":
        least = rail.input.low if rail.input is not None else 0.0
        return np.where(pack_v >= least, own, 0.0)
    return np.minimum(own, np.maximum(pack_v - dropout, 0.0))


def firing_lowest(solved: Solved, ends: Ends, board: Board, plan: Plan) -> dict[str, Lowest]:
    """Lowest voltage at each release output during its scheduled tries; 0 V where the pack was empty before."""
    out = {}
    for account, firing in ((PRIMARY, plan.primary), (BACKUP, plan.backup)):
        for consumer in solved.demand.consumers:
            if firing is None or consumer.account != account:
                continue
            tries = solved.time_s[:-1] < firing.last_end_s
            on = (consumer.peak[solved.segments] > 0) & tries
            least = lowest(solved, ends, on)
            unfed = (on & (np.arange(len(on))[:, None] >= solved.course.dead[None, :])).any(axis=0)
            rail = board.rails[board.outputs[firing.output].rail]
            volts = np.where(unfed, 0.0, behind_rail(rail, least.volts))
            out[account] = Lowest(volts, least.at_s)
    return out


def first_below(solved: Solved, ends: Ends, limit_v: float, reading: Floats) -> list[float | None]:
    """First elapsed second (whole, rounded down) at which a cell has read below `limit_v` for 3 min, a run each.

    `reading` (runs,) is the share of the true voltage that the board reads. A flat pack is not a reading.
    """
    series = solved.pack.series
    start = ends.quiet_start_v * reading / series
    stop = ends.quiet_stop_v * reading / series
    alive = (np.arange(len(start))[:, None] < solved.course.dead) & (solved.time_s[:-1] < solved.runs.end)
    some = alive & ((start < limit_v) | (stop < limit_v))
    out: list[float | None] = [None] * start.shape[1]
    for run in np.flatnonzero(some.any(axis=0)):
        out[run] = _crossing(solved.time_s[:, run], start[:, run], stop[:, run], alive[:, run], limit_v)
    return out


def _crossing(time_s: Floats, start: Floats, stop: Floats, alive: Flags, limit_v: float) -> float | None:
    since: float | None = None
    for k in np.flatnonzero(alive):
        begin, end, a, b = float(time_s[k]), float(time_s[k + 1]), float(start[k]), float(stop[k])
        if end <= begin:
            continue
        if a >= limit_v:
            since = None
        if a < limit_v and since is None:
            since = begin
        if a >= limit_v > b:
            since = begin + (end - begin) * (a - limit_v) / (a - b)
        if a < limit_v <= b:
            end = begin + (end - begin) * (limit_v - a) / (b - a)
        if since is not None and end - since >= BELOW_S:
            return float(np.floor(since + BELOW_S))
        if b >= limit_v:
            since = None
    return None


def low_current(solved: Solved, below_a: float) -> tuple[Floats, Floats]:
    """Longest unbroken time (runs,), true s, that a power bank's output stays below `below_a`, and when it begins;
    a flash counts by its lit current."""
    draw, supply = solved.at_board, solved.supply
    assert supply is not None
    amps = draw.peak_w / supply.volts + draw.peak_a + draw.siemens * supply.volts
    within = (solved.time_s[:-1] < solved.runs.end) & (solved.true_s > 0)
    longest, at = np.zeros(len(solved.runs)), np.full(len(solved.runs), np.nan)
    for run in range(len(longest)):
        total, begin = 0.0, 0.0
        for k in np.flatnonzero(within[:, run]):
            if amps[k, run] >= below_a:
                total = 0.0
                continue
            if total == 0.0:
                begin = float(solved.time_s[k, run])
            total += float(solved.true_s[k, run])
            if total > longest[run]:
                longest[run], at[run] = total, begin
    return longest, at


def output_peaks(
    solved: Solved, board: Board, lowest_v: Mapping[str, Floats]
) -> tuple[dict[str, Floats], dict[str, Floats]]:
    """Largest current (runs,) of each output and of each rail at the rail's own voltage, surges and flashes at their
    peak; a direct output at the lowest pack voltage it meets, a wire at the pack's highest."""
    outputs: dict[str, Floats] = {}
    by_rail: dict[str, Floats] = {}
    highest = (
        solved.pack.series
        * solved.pack.tables.at(np.clip(solved.pack.charge, 0.0, 1.0), 25.0 + 0 * solved.pack.charge)[0]
    )
    if solved.supply is not None:
        highest = solved.supply.volts
    per_output: dict[str, Floats] = {}
    rail_of: dict[str, str] = {}
    within = (solved.time_s[:-1] < solved.runs.end) & (solved.true_s > 0)
    for consumer in solved.demand.consumers:
        if not consumer.output:
            continue
        rail = board.rails[consumer.rail]
        if consumer.kind == "conductance":
            amps = (consumer.peak[solved.segments] > 0) * (coefficients(solved.runs, consumer) * highest)
        else:
            watts = watts_of(solved, consumer, np.ones_like(solved.true_s), flash_peak=True)
            if rail.kind == "direct":
                least = lowest_v.get(consumer.output, highest)
                amps = watts / np.where(np.isfinite(least) & (least > 0), least, highest)
            elif rail.kind == "linear":
                amps = watts
            else:
                amps = watts * solved.runs[consumer.divide] / own_volts(rail)
        amps = np.where(within, amps, 0.0)
        per_output[consumer.output] = per_output.get(consumer.output, 0.0) + amps
        rail_of[consumer.output] = consumer.rail
    for output, amps in per_output.items():
        outputs[output] = amps.max(axis=0)
        rail_name = rail_of[output]
        by_rail[rail_name] = by_rail.get(rail_name, 0.0) + amps
    return outputs, {name: amps.max(axis=0) for name, amps in by_rail.items()}
