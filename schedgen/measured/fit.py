"""One number from a voltage history by least squares: a common load factor, or the health of the pack. Pure.

The readings are taken as gain x model voltage, each with a rounding error that is uniform over its step. From voltage
alone only draw divided by capacity is known: where the load factor is sought, capacity is held, and the other way
round. What is uncertain beside the number sought and shifts the voltage (gain of the battery sense, charge at the
start, resistance of the cells) is fitted with it, bound by what the files say of it; what is held adds to the
uncertainty.

Method: Gauss-Newton with Gaussian bounds (generalised least squares); a uniform interval counts with half-width /
sqrt(3). Source: Tarantola 2005, Inverse Problem Theory, chapter 3 (from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.measured.course import Model, quiet_before
from schedgen.measured.journal import Reading
from schedgen.simulate.results import Floats

Sought = Literal["loads", "capacity"]
ROUNDS = 12
SETTLED = 1e-5
FEWEST = 6
"""Fewer readings than this are not fitted."""
LEAST, MOST = 0.2, 4.0
"""Bounds of a load factor: beyond, something else than the loads differs."""
FAR = 12.0
"""Standard errors beyond its neighbours from which on a reading is none."""
SIGMAS = 2.0
"""An uncertainty is given as so many standard errors: about 95 %."""
FREE = 100.0
"""Standard error of what is sought before anything is read: no bound at all."""


@dataclass(frozen=True, slots=True)
class Unknown:
    """One number of the fit: where it begins, the standard error that the files give it, and a step to vary it by."""

    name: str
    value: float
    sigma: float
    step: float


@dataclass(frozen=True, slots=True, eq=False)
class Solution:
    """Where the fit ended, for what follows from it.

    `found` (unknowns,) with their `covariance` (unknowns, unknowns). What is held is known to a standard error of
    `held_sigma`; one of these moves `found` by `held_shift` (unknowns,).
    """

    unknowns: tuple[Unknown, ...]
    found: Floats
    covariance: Floats
    held_sigma: float
    held_shift: Floats


@dataclass(frozen=True, slots=True)
class Fit:
    """What was found. `value` is the load factor, or the health as a fraction; `half_width` two standard errors.

    `from_readings` and `from_held` are the two parts of it, each two standard errors. `beside` holds (name, value, two
    standard errors) of what was fitted with it. `misfit` is the root mean square of (reading - model) over its standard
    error: about 1 where the model fits. `left_out` are the seconds of readings that no rounding explains (a cell of the
    memory that was not written because of a reset, say). `residuals_v` are (elapsed s, V) of those used.
    """

    sought: Sought
    value: float
    half_width: float
    from_readings: float
    from_held: float
    held: str
    beside: tuple[tuple[str, float, float], ...]
    used: int
    left_out: tuple[int, ...]
    misfit: float
    residuals_v: tuple[tuple[int, float], ...] = field(repr=False)
    not_told_apart: tuple[str, ...]
    solution: Solution = field(repr=False, compare=False)


@dataclass(frozen=True, slots=True)
class Sense:
    """How a reading was made: step in which it was kept and step of the converter, at the pack, V, both rounding down.

    `gain` is the half-width of the battery sense's tolerance, a fraction.
    """

    kept_step_v: float
    converter_step_v: float
    gain: float

    @property
    def offset_v(self) -> float:
        """How far readings lie too low on average."""
        return (self.kept_step_v + self.converter_step_v) / 2

    @property
    def sigma_v(self) -> float:
        """Standard error of one reading by both roundings; 1 mV at the least."""
        return max(float(np.sqrt((self.kept_step_v**2 + self.converter_step_v**2) / 12)), 1e-3)


@dataclass(frozen=True, slots=True, eq=False)
class _Problem:
    """A model, what is sought, and the readings: at `at_s` elapsed, `observed` V, each with `sigma_v`."""

    model: Model
    sought: Sought
    unknowns: tuple[Unknown, ...]
    at_s: tuple[int, ...]
    observed: Floats
    sigma_v: float

    @property
    def bound(self) -> Floats:
        """The weight that the files give to the unknowns, as a matrix."""
        return np.diag([1 / one.sigma**2 for one in self.unknowns])

    def volts(self, tried: Floats, held: float = 0.0) -> Floats:
        """Readings (readings, runs) that the model gives for rows of numbers `tried` (runs, unknowns).

        `held` is added to what is held: to the health, or to the load factor.
        """
        rows = rows_of(self.model, self.sought, self.unknowns, tried, held)
        return self.model.volts(rows, self.at_s) * tried[:, 1]


def rows_of(model: Model, sought: Sought, unknowns: Sequence[Unknown], tried: Floats, held: float = 0.0) -> Floats:
    """Inputs (runs, inputs) of the model for rows of numbers `tried` (runs, unknowns).

    `held` is added to what is held: to the health, or to the load factor.
    """
    inputs = model.inputs
    rows = []
    for row in tried:
        pairs = zip(unknowns, row, strict=True)
        changed = {one.name: float(value) for one, value in pairs if one.name in inputs.index}
        if "pack.charge" in changed:
            changed["pack.charge"] = min(changed["pack.charge"], 1.0)
        factor = 1.0 + held
        if sought == "loads":
            factor = float(row[0])
            changed["pack.health"] = inputs.items[inputs.index["pack.health"]].nominal + held
        rows.append(model.scaled(factor, changed))
    return np.stack(rows)


def fit(model: Model, sought: Sought, readings: Sequence[Reading], sense: Sense) -> Fit:
    """Fit `sought` to a voltage history.

    Raises `OutOfRange` with too few readings, or where nothing sensible fits.
    """
    moments = [(quiet_before(model.plan, one.at_s), one.volts) for one in readings if one.at_s <= model.plan.end_s]
    used = [(at_s, volts) for at_s, volts in moments if at_s is not None]
    if len(used) < FEWEST:
        raise OutOfRange(f"{len(used)} readings are too few to fit anything; {FEWEST} are needed")
    problem = _Problem(
        model,
        sought,
        _unknowns(model, sought, sense.gain),
        tuple(at for at, _ in used),
        np.array([volts for _, volts in used]) + sense.offset_v,
        sense.sigma_v,
    )
    problem, left_out = _believed(problem)
    found, jacobian = _gauss_newton(problem)
    covariance = np.asarray(np.linalg.inv(jacobian.T @ jacobian + problem.bound), dtype=np.float64)
    errors = np.sqrt(np.diag(covariance))
    held, held_sigma, held_shift = _held(problem, found, jacobian)
    held_error = abs(float(held_shift[0]))
    residual = problem.observed - problem.volts(found[None, :])[:, 0]
    beside = zip(problem.unknowns[1:], found[1:], errors[1:], strict=True)
    return Fit(
        sought=sought,
        value=float(found[0]),
        half_width=SIGMAS * float(np.hypot(errors[0], held_error)),
        from_readings=SIGMAS * float(errors[0]),
        from_held=SIGMAS * held_error,
        held=held,
        beside=tuple((one.name, float(value), SIGMAS * float(error)) for one, value, error in beside),
        used=len(problem.at_s),
        left_out=left_out,
        misfit=float(np.sqrt(np.mean((residual / problem.sigma_v) ** 2))),
        residuals_v=tuple(zip(problem.at_s, map(float, residual), strict=True)),
        not_told_apart=_not_told_apart(sought),
        solution=Solution(problem.unknowns, found, covariance, held_sigma, held_shift),
    )


def _believed(problem: _Problem) -> tuple[_Problem, tuple[int, ...]]:
    """The problem without readings far from all others, and their seconds: at most a tenth, else none is left out.

    Far: `FAR` standard errors from a line through the two readings before and the two after. Voltage at rest falls
    slowly, so that neighbours tell.
    """
    volts = problem.observed
    strange = []
    for k in range(2, len(volts) - 2):
        around = sorted((volts[k - 2], volts[k - 1], volts[k + 1], volts[k + 2]))
        gap = max(around[0] - volts[k], volts[k] - around[-1], 0.0)
        if gap > FAR * problem.sigma_v + (around[-1] - around[0]):
            strange.append(k)
    if not strange or len(strange) > len(volts) / 10:
        return problem, ()
    kept = [k for k in range(len(volts)) if k not in strange]
    fewer = replace(problem, at_s=tuple(problem.at_s[k] for k in kept), observed=volts[kept])
    return fewer, tuple(problem.at_s[k] for k in strange)


def _unknowns(model: Model, sought: Sought, gain: float) -> tuple[Unknown, ...]:
    """What is sought first, the gain second, then what else the files leave open."""
    items = {item.name: item for item in model.inputs.items}
    main = Unknown("load factor", 1.0, FREE, 0.02)
    if sought == "capacity":
        main = Unknown("pack.health", items["pack.health"].nominal, FREE, 0.01)
    beside = [Unknown("gain of the battery sense", 1.0, max(gain, 1e-6) / float(np.sqrt(3)), 0.002)]
    for name, step in (("pack.charge", -0.004), ("cell.resistance", 0.05)):
        item = items[name]
        if item.high > item.low:
            beside.append(Unknown(name, item.nominal, (item.high - item.low) / 2 / float(np.sqrt(3)), step))
    return (main, *beside)


def _gauss_newton(problem: _Problem) -> tuple[Floats, Floats]:
    """The numbers that fit best, and the weighted Jacobian (readings, unknowns) there. Raises `OutOfRange`."""
    prior = np.array([one.value for one in problem.unknowns])
    steps = np.array([one.step for one in problem.unknowns])
    now = prior.copy()
    for _ in range(ROUNDS):
        volts = problem.volts(np.vstack([now, now + np.diag(steps)]))
        jacobian = (volts[:, 1:] - volts[:, :1]) / steps / problem.sigma_v
        wanted = jacobian.T @ ((problem.observed - volts[:, 0]) / problem.sigma_v) + problem.bound @ (prior - now)
        change = np.clip(np.linalg.solve(jacobian.T @ jacobian + problem.bound, wanted), -0.5, 0.5)
        now = now + change
        if not LEAST <= now[0] <= MOST:
            name = problem.unknowns[0].name
            raise OutOfRange(f"no {name} from {LEAST:g} to {MOST:g} explains the readings: something else differs")
        if np.abs(change).max() < SETTLED:
            break
    return now, jacobian


def _held(problem: _Problem, found: Floats, jacobian: Floats) -> tuple[str, float, Floats]:
    """What is held, in words; its standard error; and how far that much of it moves the unknowns (unknowns,)."""
    if problem.sought == "loads":
        item = next(one for one in problem.model.inputs.items if one.name == "pack.health")
        low, nominal, high = (f"{value * 100:.4g}" for value in (item.low, item.nominal, item.high))
        text = f"capacity: health {nominal} % (from {low} to {high} %)"
        spread, step = (item.high - item.low) / 2 / float(np.sqrt(3)), -0.01
    else:
        spread, text = _load_spread(problem.model)
        step = 0.02
    slope = (problem.volts(found[None, :], step) - problem.volts(found[None, :]))[:, 0] / step / problem.sigma_v
    shift = np.linalg.solve(jacobian.T @ jacobian + problem.bound, -jacobian.T @ (slope * spread))
    return text, float(spread), np.asarray(shift, dtype=np.float64)


def _load_spread(model: Model) -> tuple[float, str]:
    """Standard error of a common factor on all loads, from their intervals weighted by nominal power, and in words."""
    items = [item for item in model.inputs.items if is_full_power(item.name)]
    total = sum(item.nominal for item in items) or 1.0
    half = sum((item.high - item.low) / 2 for item in items) / total
    return half / np.sqrt(3), f"loads: as in the file and the bench record, {half * 100:.2g} % either way together"


def is_full_power(name: str) -> bool:
    """Whether an input is the power of a load fully on."""
    return name.startswith("loads.") and name.endswith(".power") and ".surge." not in name


def _not_told_apart(sought: Sought) -> tuple[str, ...]:
    """What voltage alone does not tell apart, in words."""
    held = "the capacity is held" if sought == "loads" else "the loads are held"
    return (
        f"draw and capacity: only their ratio shows; {held}",
        "one load from another: a common factor stands for all",
        "the controller's own draw and converters' losses from the loads behind them",
        "gain of the battery sense from charge at the start: bound by tolerance and by the file",
        "resistance of the cells from wiring and contacts",
    )
