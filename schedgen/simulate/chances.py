"""How likely it is that each margin holds, over many sampled dives; how sure that is; and which inputs matter most.

The sampled dives are those of `schedgen.simulate.sampled`: the engine of the single run, every uncertain input uniform
inside its bounds, inputs of one cause together.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.plan.model import Plan
from schedgen.simulate.inputs import Inputs
from schedgen.simulate.results import Floats
from schedgen.simulate.run import prepare
from schedgen.simulate.sampled import Sampled, simulate_values

Z_95 = 1.959963984540054
"""Two-sided 95 % point of the normal distribution."""
MOST_INPUTS = 3
QUANTILES = (0.0, 0.05, 0.5, 0.95, 1.0)
RUNS_MOST = 1_000_000


@dataclass(frozen=True, slots=True)
class Driver:
    """An input (a cause, where several inputs share one) and its rank correlation with a margin, -1 to 1."""

    name: str
    correlation: float


@dataclass(frozen=True, slots=True)
class Chance:
    """One margin over all runs. It holds where it is not below 0; `spread` are its `QUANTILES` in `unit`."""

    name: str
    what: str
    unit: str
    held: int
    runs: int
    low: float
    high: float
    """Bounds of the 95 % confidence interval of the chance."""
    spread: tuple[float, ...]
    drivers: tuple[Driver, ...]
    """The three inputs that matter most, the strongest first; inputs that do nothing are left out."""

    @property
    def share(self) -> float:
        """The share of the runs in which it holds."""
        return self.held / self.runs


@dataclass(frozen=True, slots=True)
class Chances:
    """What many sampled dives come to. `surface_true_s` are the `QUANTILES` of surfacing, true seconds after start."""

    runs: int
    seed: int
    margins: tuple[Chance, ...]
    surface_true_s: tuple[float, ...]
    surface_drivers: tuple[Driver, ...]

    def _repr_html_(self) -> str:
        """What a notebook shows."""
        from schedgen.report.notebook import chances_html

        return chances_html(self)


def wilson(held: int, runs: int, z: float = Z_95) -> tuple[float, float]:
    """The score interval for a share, (low, high); `z` is the two-sided point, 1.96 for 95 %.

    Source: E. B. Wilson 1927, "Probable inference, the law of succession, and statistical inference", J. Am. Stat.
    Assoc. 22, 209 to 212. Raises OutOfRange unless 0 <= held <= runs and runs is at least 1.

    >>> [round(bound, 4) for bound in wilson(10, 10)]
    [0.7225, 1.0]
    """
    if not 0 <= held <= runs or runs < 1:
        raise OutOfRange(f"{held} of {runs} is no share of runs: 0 <= held <= runs, at least 1 run")
    share, square = held / runs, z * z / runs
    middle = (share + square / 2) / (1 + square)
    half = z / (1 + square) * float(np.sqrt(share * (1 - share) / runs + square / (4 * runs)))
    return (0.0 if held == 0 else middle - half), (1.0 if held == runs else middle + half)


def ranks(values: Floats) -> Floats:
    """Ranks (runs,) from 1; equal values share the middle of theirs.

    >>> ranks(np.array([10.0, 30.0, 10.0, 20.0])).tolist()
    [1.5, 4.0, 1.5, 3.0]
    """
    _, group, count = np.unique(values, return_inverse=True, return_counts=True)
    last = np.cumsum(count)
    return np.asarray((last - (count - 1) / 2.0)[group], dtype=np.float64)


def rank_correlation(first: Floats, second: Floats) -> float:
    """The correlation of the ranks of two arrays (runs,), -1 to 1; 0 where one of them does not vary.

    Source: C. Spearman 1904, "The proof and measurement of association between two things", Am. J. Psychol. 15, 72 to
    101.
    """
    a, b = ranks(first), ranks(second)
    a, b = a - a.mean(), b - b.mean()
    size = float(np.sqrt((a * a).sum() * (b * b).sum()))
    return float((a * b).sum()) / size if size > 0 else 0.0


def drivers(inputs: Inputs, values: Floats, figure: Floats, most: int = MOST_INPUTS) -> tuple[Driver, ...]:
    """The inputs whose ranks go most with a figure (runs,), one for each cause. `values` is (runs, inputs).

    Of several inputs with one cause (they move together) the cause is named.
    """
    found: dict[str, float] = {}
    for k, item in enumerate(inputs.items):
        if item.cause not in found and item.low < item.high:
            found[item.cause] = rank_correlation(values[:, k], figure)
    noise = 2.0 / np.sqrt(max(len(figure), 1))  # about two standard errors of a correlation of nothing
    strong = sorted((name for name in found if abs(found[name]) > noise), key=lambda name: -abs(found[name]))
    return tuple(Driver(name, found[name]) for name in strong[:most])


def margins_of(sampled: Sampled, dive: Any, board: Any, cell: Any, plan: Plan) -> dict[str, tuple[str, str, Floats]]:
    """Name to (what it says, unit, margin (runs,)); a margin of 0 or more holds."""
    wait_h = dive.recovery.wait.high / 3600.0
    scale = 1.0 / (1.0 + _column(sampled, "clock"))
    end = plan.events["end"].late * scale
    empty = np.where(np.isnan(sampled.empty_s), end, sampled.empty_s * scale)
    lasts_h = np.maximum(empty - sampled.surface_true_s, 0.0) / 3600.0
    lasts_h = np.where(np.isnan(sampled.empty_s), np.maximum(lasts_h, wait_h), lasts_h)
    out = {
        "reserve": ("energy above the reserve at end", "Wh", sampled.margin_wh),
        "beacon": (f"beacon hours beyond recovery.wait, {wait_h:g} h (followed to end)", "h", lasts_h - wait_h),
    }
    least_v, who = least_volts(dive, board, cell)
    if least_v > 0:
        out["voltage"] = (f"lowest voltage above {least_v:.2f} V, {who}", "V", sampled.lowest_v - least_v)
    if plan.primary is not None:
        deck = 0.0 if plan.trigger == "water" else _column(sampled, "start.deck_time")
        bottom = (deck + _column(sampled, "fall.down")) / scale
        out["touch-down"] = ("from touch-down to the release", "min", (plan.primary.at_s - bottom) / 60.0)
    for name, highest in sampled.load_c.items():
        limit = dive.loads[name].heat_limit
        if limit is not None:
            out[f"heat@{name}"] = (f"{name} below its limit of {limit.low:g} degC", "K", limit.low - highest)
    return out


def least_volts(dive: Any, board: Any, cell: Any) -> tuple[float, str]:
    """The least pack voltage that everything runs from [V], and who needs it; 0 behind a power bank."""
    if dive.pack.supplies is not None:
        return 0.0, ""
    series, cut, who = dive.pack.series, float(cell.cut_off.nominal), "the cells' cut-off"
    protection = dive.pack.protection
    if protection is not None and protection.low_cut is not None and protection.low_cut.high > cut:
        cut, who = float(protection.low_cut.high), "the protection's low_cut"
    needs = {who: cut * series, "the board's least": float(board.supply.voltage.low)}
    who = max(needs, key=lambda name: needs[name])
    return needs[who], who


def _column(sampled: Sampled, name: str) -> Floats:
    return np.asarray(sampled.values[:, sampled.names.index(name)], dtype=np.float64)


def chances_of(sampled: Sampled, inputs: Inputs, margins: Mapping[str, tuple[str, str, Floats]]) -> tuple[Chance, ...]:
    """Each margin of sampled runs with its chance, its confidence interval, its spread and its drivers."""
    runs = len(sampled)
    out = []
    for name, (what, unit, margin) in margins.items():
        held = int((margin >= 0).sum())
        low, high = wilson(held, runs)
        spread = tuple(float(q) for q in np.quantile(margin, QUANTILES))
        out.append(Chance(name, what, unit, held, runs, low, high, spread, drivers(inputs, sampled.values, margin)))
    return tuple(out)


def chances(dive: Any, board: Any, cell: Any, plan: Plan, runs: int, seed: int) -> Chances:
    """`runs` sampled dives: the chance that each margin holds, the spread of surfacing, what matters most.

    The same seed gives the same answer. Raises OutOfRange for fewer than 1 or more than a million runs, a negative
    seed, and as `simulate` does.
    """
    if not 1 <= runs <= RUNS_MOST:
        raise OutOfRange(f"{runs} runs: it must lie in 1 .. {RUNS_MOST}", "Write --runs 10000, say.")
    if seed < 0:
        raise OutOfRange(f"seed {seed}: it must be 0 or more", "Write --seed 1, say.")
    inputs = prepare(dive, board, cell, plan)[2]
    sampled = simulate_values(dive, board, cell, plan, inputs.sample(runs, seed))
    surface = np.quantile(sampled.surface_true_s, QUANTILES)
    return Chances(
        runs,
        seed,
        chances_of(sampled, inputs, margins_of(sampled, dive, board, cell, plan)),
        tuple(float(q) for q in surface),
        drivers(inputs, sampled.values, sampled.surface_true_s),
    )
