"""Many runs side by side: the values of each, its events on the controller's clock, its time grid, its demand.

Every array is time-major: (steps, runs), so that one step of all runs lies together in memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from schedgen.simulate.inputs import Inputs
from schedgen.simulate.loads import Consumer, Demand, Surge
from schedgen.simulate.results import Floats

Ints = NDArray[np.intp]
LARGEST_CHARGE_STEP = 0.015
"""A step never takes more than this share of the charge by the first estimate."""
SPENT = 1.5
"""After so many charges by the first estimate a pack is surely empty, and steps may be long."""
TRAVEL_PARTS = 6
"""The way down and the way up are cut in so many parts, to follow the water's temperature."""
SETTLING_S = (600.0, 1200.0, 2400.0, 4800.0, 9000.0, 15000.0, 24000.0)
"""Marks after splash, bottom and surfacing, true s, to follow temperatures while they settle."""


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """What differs between runs, each (runs,). Events are on the run's own elapsed clock.

    `scale` is true seconds per elapsed second. `values` (runs, inputs). `parallel` counts strings. `stuck` names the
    load that never goes off, "" for none.
    """

    inputs: Inputs
    values: Floats
    scale: Floats
    splash: Floats
    bottom: Floats
    release: Floats
    surface: Floats
    end: Floats
    parallel: Floats
    stuck: tuple[str, ...]

    def __len__(self) -> int:
        """Number of runs."""
        return len(self.scale)

    def __getitem__(self, name: str) -> Floats:
        """Values (runs,) of one input."""
        return self.inputs.pick(self.values, name)


@dataclass(frozen=True, slots=True, eq=False)
class PowerTable:
    """Demand by run and segment, (segments, runs): what the pack sees in each stretch.

    Flashes: `peak_*` while lit, `base_*` while dark, lit for `duty` of the time; equal when nothing flashes.
    `quiet_*`: cameras and lights off, no release firing.
    """

    base_w: Floats
    peak_w: Floats
    base_a: Floats
    peak_a: Floats
    duty: Floats
    siemens: Floats
    quiet_w: Floats
    quiet_a: Floats
    quiet_siemens: Floats


def coefficients(runs: Runs, consumer: Consumer) -> Floats:
    """Demand (runs,) of a consumer while on, in the unit of its kind."""
    value = runs[consumer.value] * consumer.scale
    if consumer.divide:
        value = value / runs[consumer.divide]
    if consumer.volts:
        value = value / runs[consumer.volts] ** 2
    return value


def surge_surplus(runs: Runs, consumer: Consumer, surge: Surge) -> Floats:
    """What a surge adds (runs,) to the demand of its load while on; below 0 where the load starts with less."""
    value = runs[surge.power] * consumer.scale
    return np.asarray((value / runs[consumer.divide] if consumer.divide else value) - coefficients(runs, consumer))


def shares(consumer: Consumer, demand: Demand, stuck: str) -> tuple[Floats, Floats]:
    """Mean and peak share (segments,) of a consumer; with its load stuck on, steadily on at full power."""
    if not stuck or consumer.account != stuck:
        return consumer.mean, consumer.peak
    first = next(c for c in demand.consumers if c.account == stuck and c.value == demand.full[stuck])
    on = np.ones_like(consumer.mean) if consumer is first else np.zeros_like(consumer.mean)
    return on, on


def power_table(runs: Runs, demand: Demand) -> PowerTable:
    """Adds up all consumers for every run and segment."""
    size, count = len(demand.edges) - 1, len(runs)
    base_w, peak_w, base_a, peak_a, siemens, quiet_w, quiet_a, quiet_g = (np.zeros((size, count)) for _ in range(8))
    lit, bright = np.zeros((size, count)), np.zeros((size, count))
    stuck_runs = {name: np.array([s == name for s in runs.stuck]) for name in set(runs.stuck) if name}
    for consumer in demand.consumers:
        each = coefficients(runs, consumer)
        mean = np.multiply.outer(consumer.mean, each)
        peak = np.multiply.outer(consumer.peak, each)
        chosen = stuck_runs.get(consumer.account)
        if chosen is not None:
            on, _ = shares(consumer, demand, consumer.account)
            mean[:, chosen] = peak[:, chosen] = np.multiply.outer(on, each[chosen])
        if demand.flashing and consumer.kind != "conductance":
            blinking = peak > mean
            lit += np.where(blinking, mean, 0.0)
            bright += np.where(blinking, peak, 0.0)
            base = np.where(blinking, 0.0, mean)
        else:
            base = peak = mean
        if consumer.kind == "power":
            base_w += base
            peak_w += peak
        elif consumer.kind == "current":
            base_a += base
            peak_a += peak
        else:
            siemens += mean
        if consumer.quiet:
            quiet = {"power": quiet_w, "current": quiet_a, "conductance": quiet_g}[consumer.kind]
            quiet += mean
    duty = np.divide(lit, bright, out=np.ones_like(lit), where=bright > 0)
    return PowerTable(base_w, peak_w, base_a, peak_a, duty, siemens, quiet_w, quiet_a, quiet_g)


def segments_at(demand: Demand, time_s: Floats) -> Ints:
    """Index of the segment that holds each time, same shape."""
    return np.clip(np.searchsorted(demand.edges, time_s, side="right") - 1, 0, len(demand.edges) - 2)


def time_grid(
    runs: Runs,
    demand: Demand,
    horizon: Floats,
    share_per_s: Callable[[Ints], Floats],
    settle: bool,
    turns: Floats | None = None,
) -> Floats:
    """Times (steps + 1, runs) on each run's clock: all edges, surge ends and events, and between them so many steps
    that none takes more than `LARGEST_CHARGE_STEP`.

    `horizon` (runs,): the last time. `share_per_s`: charge share per elapsed second, from segment indices
    (steps, runs). `turns`: depths at which the water's temperature begins to go another way, marked down and up. Steps
    may have no length where a run has fewer marks than another.
    """
    ones = np.ones(len(runs))
    marks = [np.multiply.outer(demand.edges[:-1], ones), horizon[None, :]]
    for surge in demand.surges:
        marks.append(surge.starts[:, None] + (runs[surge.lasts] / runs.scale)[None, :])
    marks.append(np.stack([runs.splash, runs.bottom, runs.release, runs.surface, runs.end]))
    parts = (np.arange(1, TRAVEL_PARTS) / TRAVEL_PARTS)[:, None]
    marks.append(runs.splash + (runs.bottom - runs.splash) * parts)
    marks.append(runs.release + (runs.surface - runs.release) * parts)
    if turns is not None and len(turns):
        share = np.minimum(turns[:, None] / np.maximum(runs["site.depth"], 1e-9), 1.0)
        marks.append(runs.splash + (runs.bottom - runs.splash) * share)
        marks.append(runs.surface - (runs.surface - runs.release) * share)
    if settle:
        after = np.array(SETTLING_S)[:, None] / runs.scale
        marks += [event + after for event in (np.zeros(len(runs)), runs.splash, runs.bottom, runs.surface)]
    times = np.concatenate(marks)
    np.clip(times, 0.0, horizon, out=times)
    times.sort(axis=0)
    length = np.diff(times, axis=0)
    segments = segments_at(demand, times[:-1] + 0.5 * length)
    spent = np.minimum(np.cumsum(share_per_s(segments) * length, axis=0), SPENT)
    taken = np.diff(spent, axis=0, prepend=0.0)
    pieces = np.maximum(1, np.ceil(taken / LARGEST_CHARGE_STEP)).astype(np.intp)
    return _divided(times, length, pieces, horizon)


def _divided(times: Floats, length: Floats, pieces: Ints, horizon: Floats) -> Floats:
    """Every step cut into its own number of equal `pieces` (steps, runs), the runs padded at their end with steps of no
    length: so the grid of a run never depends on the other runs."""
    steps, runs = pieces.shape
    count = pieces.T.ravel()
    source = np.repeat(np.arange(steps * runs), count)
    run, step = np.divmod(source, steps)
    place = np.arange(len(source))
    part = (place - (np.cumsum(count) - count)[source]) / count[source]
    totals = pieces.sum(axis=0)
    fine = np.empty((totals.max() + 1, runs))
    fine[:] = horizon
    fine[place - (np.cumsum(totals) - totals)[run], run] = times[step, run] + length[step, run] * part
    return fine
