"""Is something wired to an output? From means of the pack voltage before, during and after a pulse. Pure.

A load pulls the pack voltage down by its current times the pack's resistance: tens of millivolts, often less than one
step of the converter. The mean of many readings resolves a part of a step only while noise moves the readings between
steps; where it does not, a mean is uncertain by the step itself, and that is what is taken.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any, Literal

from schedgen.errors import OutOfRange
from schedgen.files.quantity import Quantity
from schedgen.physics.cell import aged_resistance_factor, decay
from schedgen.physics.pack import terminal_voltage
from schedgen.plan.mechanism import nominal_pack_v
from schedgen.simulate.corners import DEFAULT_HEALTH, spread_of
from schedgen.simulate.loads import power_at_level

Verdict = Literal["connected", "not connected", "cannot tell"]
ERRORS = 3.0
"""A difference counts from this many standard errors on."""
MOVES = 0.52
"""Conversions that scatter by this share of a step, rounding included, make the mean of many as good as that of a
converter without steps: their noise is then 0.43 of a step or more, and the error below 1 % of a step (Widrow and
Kollar 2008, Quantization Noise, from memory). Half a step would not do: two neighbouring codes scatter so without
noise."""
HALF_CHARGE = 0.5


@dataclass(frozen=True, slots=True)
class Mean:
    """The mean of `count` readings, V, and the standard deviation of one of them, V."""

    volts: float
    spread_v: float
    count: int


@dataclass(frozen=True, slots=True)
class Sag:
    """How far the voltage fell during a pulse, V, and the standard error of that, V."""

    volts: float
    error_v: float


@dataclass(frozen=True, slots=True)
class Expected:
    """What the model expects of a load on the pack: sag in V and current at the pack in A, each low, nominal, high."""

    sag_v: tuple[float, float, float]
    current_a: tuple[float, float, float]


def standard_error(mean: Mean, step_v: float, conversions: int = 1) -> float:
    """Standard error of a mean, V: spread / sqrt(count), or step / sqrt(12) where noise does not move the readings.

    `step_v` is the converter's step at the pack, V; one reading is the mean of so many `conversions`, and scatters by
    the root of that less than one. Source: a rounding error is uniform over one step.

    >>> round(standard_error(Mean(12.0, 0.01, 400), 0.01), 5)
    0.0005
    >>> round(standard_error(Mean(12.0, 0.0, 400), 0.012), 5)
    0.00346
    """
    by_noise = mean.spread_v / math.sqrt(mean.count)
    return (
        by_noise if mean.spread_v >= MOVES * step_v / math.sqrt(conversions) else max(by_noise, step_v / math.sqrt(12))
    )


def sag_of(before: Mean, during: Mean, after: Mean, step_v: float, conversions: int = 1) -> Sag:
    """The sag against the mean of before and after (which takes a steady drift out), and its standard error."""
    errors = [standard_error(mean, step_v, conversions) for mean in (before, during, after)]
    error = math.sqrt(errors[1] ** 2 + (errors[0] ** 2 + errors[2] ** 2) / 4)
    return Sag((before.volts + after.volts) / 2 - during.volts, error)


def verdict(sag: Sag, expected: Expected) -> tuple[Verdict, str]:
    """Connected, not connected or cannot tell, and why, against three standard errors.

    Connected: there is a sag, and it is not less than the model's least. Not connected: there is none, and the model
    expects one that would be seen. Everything else cannot be told.
    """
    band = ERRORS * sag.error_v
    seen, enough = sag.volts > band, sag.volts >= expected.sag_v[0] - band
    if seen and enough:
        more = sag.volts > expected.sag_v[2] + band
        return "connected", "sags more than expected: wiring, or more load than the file says" if more else ""
    if not seen and not enough:
        return "not connected", ""
    if seen:
        return "cannot tell", "something draws, but less than the load should"
    return "cannot tell", "the expected sag is within three standard errors of nothing"


def step_of(board: Any) -> float:
    """One step of the battery sense at the pack, V."""
    sense = board.pack_sense
    return float(sense.reference.nominal / 2**sense.bits / sense.ratio)


def conversions_of(board: Any) -> int:
    """How many conversions the firmware takes to one reading (`pack_mv` in the ports: added up by hardware, or one)."""
    return 1 if board.part == "ATmega328P" else 4


@dataclass(frozen=True, slots=True)
class Setup:
    """What stands on the bench: dive, board, cell, and the temperature of the cells, degC."""

    dive: Any
    board: Any
    cell: Any
    temperature: Quantity


def expected_sag(setup: Setup, output: str, power: Quantity, pack_v: float, seconds: float) -> Expected:
    """What a load of `power` (W at its rail; of a release at `measured_at`) should do to a pack of `pack_v` at rest.

    `seconds` since the load went on. Wiring outside the pack is not in it. Raises `OutOfRange` for a temperature that
    the cell's tables do not have.
    """
    low, nominal, high = (_at(setup, output, power, pack_v, seconds, side) for side in ("low", "nominal", "high"))
    return Expected((low[0], nominal[0], high[0]), (low[1], nominal[1], high[1]))


def _at(setup: Setup, output: str, power: Quantity, pack_v: float, seconds: float, side: str) -> tuple[float, float]:
    """Sag and current with every input at the side that makes the sag least ("low"), most ("high") or nominal."""
    dive, cell = setup.dive, setup.cell
    other = {"low": "high", "nominal": "nominal", "high": "low"}[side]
    health = float(getattr(dive.pack.health or DEFAULT_HEALTH, other))
    spread = {"low": -1.0, "nominal": 0.0, "high": 1.0}[side] * spread_of(cell)
    try:
        charge = cell.tables.charge_at(pack_v / int(dive.pack.series))
    except OutOfRange:
        charge = HALF_CHARGE
    warm = float(getattr(setup.temperature, other))
    tables = cell.tables
    slow = tables.relaxation_resistance(charge, warm) * (1 - decay(seconds, tables.time_constant_s))
    factor = (1 + spread) * float(aged_resistance_factor(health)) * int(dive.pack.series) / int(dive.pack.parallel)
    ohm = (tables.resistance(charge, warm) + slow) * factor
    watt, ampere, siemens = demand_of(setup, output, float(getattr(power, side)), other)
    volts, _ = terminal_voltage(pack_v, ohm, watt, ampere, siemens)
    return pack_v - volts, (pack_v - volts) / ohm


def demand_of(setup: Setup, output: str, watt: float, other: str) -> tuple[float, float, float]:
    """Power, current and conductance that the pack sees of `watt` on an output."""
    dive, board, cell = setup.dive, setup.board, setup.cell
    rail = board.rails[board.outputs[output].rail]
    release = _release_on(dive, output)
    if release is not None and release.kind != "motor":
        volts = nominal_pack_v(dive, cell)
        if release.measured_at is not None:
            volts = release.measured_at.nominal
        if rail.kind == "direct":
            return 0.0, 0.0, watt / volts**2
        watt *= (rail.voltage.nominal / volts) ** 2
    if rail.kind == "direct":
        return watt, 0.0, 0.0
    if rail.kind == "linear":
        return 0.0, watt / rail.voltage.nominal, 0.0
    return watt / float(getattr(rail.efficiency, other)), 0.0, 0.0


def _release_on(dive: Any, output: str) -> Any:
    for actuator in (dive.release.primary, dive.release.backup):
        if actuator is not None and actuator.wired_to == output:
            return actuator
    return None


def power_on(dive: Any, output: str, level: int, seconds: float) -> tuple[str, Quantity] | None:
    """What is wired to an output: its name and its power at a level, starting surges included while they last.

    None for an output that switches no load of the file (a control line, or nothing).
    """
    for name, load in dive.loads.items():
        if load.wired_to == output:
            power = power_at_level(load, level)
            surge = load.surge
            if surge is not None and seconds < surge.for_.high:
                share = level / 100
                power = Quantity(
                    min(power.low, surge.power.low * share),
                    surge.power.nominal * share,
                    max(power.high, surge.power.high * share),
                )
            return name, power
    release = _release_on(dive, output)
    if release is not None and release.power is not None:
        return "release", Quantity(release.power.low, release.power.nominal, release.power.high)
    return None


def draw_of(current: Quantity, sag: Sag, during_v: float) -> tuple[Quantity, Quantity]:
    """Resistance of the pack with its wiring, ohm (low below 0 where it cannot be told), and watts at the pack.

    `current` was read off a meter in the pack's lead: what the output adds. The sag counts with three standard errors.
    Raises `OutOfRange` for no current.
    """
    if current.low <= 0:
        raise OutOfRange(f"a current read off a meter must be above 0 A, not {current.low:g} A")
    least, most = sag.volts - ERRORS * sag.error_v, sag.volts + ERRORS * sag.error_v
    ohm = Quantity(least / current.high, sag.volts / current.nominal, most / current.low, "range", "", "ohm")
    watts = (current.low * during_v, current.nominal * during_v, current.high * during_v)
    return ohm, Quantity(*watts, "range", "", "W")
