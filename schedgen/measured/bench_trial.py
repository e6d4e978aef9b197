"""From the readings of a bench test to the lines of its record. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from schedgen.files.quantity import Quantity
from schedgen.measured.bench_record import BenchOutput, millivolts, plain
from schedgen.measured.connection import (
    ERRORS,
    Mean,
    Sag,
    Setup,
    conversions_of,
    draw_of,
    expected_sag,
    power_on,
    sag_of,
    step_of,
    verdict,
)

LIGHT_LEVEL = 10
"""Percent at which a light with levels is tried: bright enough to be seen through a hand, cool in air."""
LIGHT_S = 0.5
"""Longest pulse of a light, s."""
PLAYED_S = 60.0
"""In a played dive a load has been on for about so long when the pack is read."""
CONTROL_LINE = "a control line: look at what it controls"
NOTHING_THERE = "no load of the dive file is wired to it"


@dataclass(frozen=True, slots=True)
class Means:
    """The three means of a trial, V, the level in percent, how long it was on, s, and whether all was in time.

    `measured_from_s`: after so long on, the middle mean was begun.
    """

    before: Mean
    during: Mean
    after: Mean
    level: int
    seconds: float
    in_time: bool
    measured_from_s: float = 0.0


@dataclass(frozen=True, slots=True)
class Pulse:
    """How an output is to be tried: its number, level in percent, and length in s."""

    output: str
    number: int
    level: int
    seconds: float
    is_release: bool
    is_wired: bool
    """Whether the dive file wires something to it."""


def pulses_of(setup: Setup, seconds: float) -> tuple[Pulse, ...]:
    """How each output of the board is to be tried: lights dim and short, everything else for `seconds`.

    A light without levels is on for `LIGHT_S` at most, too.
    """
    wired = {load.wired_to for load in setup.dive.loads.values()}
    releases = (setup.dive.release.primary, setup.dive.release.backup)
    wired |= {one.wired_to for one in releases if one is not None and one.wired_to is not None}
    lights = {load.wired_to for load in setup.dive.loads.values() if load.resolved_role == "light"}
    found = []
    for number, (name, output) in enumerate(setup.board.outputs.items()):
        is_light = name in lights
        level = LIGHT_LEVEL if is_light and output.kind == "level" else 100
        length = min(seconds, LIGHT_S) if is_light else seconds
        found.append(Pulse(name, number, level, length, output.kind == "release", name in wired))
    return tuple(found)


def found_at(setup: Setup, output: str, means: Means, current: Quantity | None = None) -> BenchOutput:
    """What a trial says of an output. `current` was read off a meter in the pack's lead while it was on, A."""
    sag = sag_of(means.before, means.during, means.after, step_of(setup.board), conversions_of(setup.board))
    wired = power_on(setup.dive, output, means.level, means.measured_from_s)
    values = {
        "level": Quantity(means.level / 100, means.level / 100, means.level / 100, "exact", f"{means.level} %", "%"),
        "pulse": plain(means.seconds, "s", 3),
        "before": plain(means.before.volts, "V", 5),
        "during": plain(means.during.volts, "V", 5),
        "after": plain(means.after.volts, "V", 5),
        "sag": millivolts(sag.volts, ERRORS * sag.error_v),
    }
    if wired is None:
        stops = {load.stop.output for load in setup.dive.loads.values() if load.stop is not None}
        why = CONTROL_LINE if output in stops else NOTHING_THERE
        return BenchOutput(verdict="cannot tell", why=why).model_copy(update=values)
    name, power = wired
    expected = expected_sag(setup, output, power, means.before.volts, means.seconds)
    found, why = verdict(sag, expected)
    if not means.in_time:
        found, why = "cannot tell", "the pulse ended before the pack was measured: the line is slow"
    low, _, high = (volts * 1000 for volts in expected.sag_v)
    text = f"{low:.2f} mV .. {high:.2f} mV"
    values["expected"] = Quantity(*expected.sag_v, "range", text, "V")
    if current is not None:
        values |= _from_meter(setup, output, means, sag, current)
    return BenchOutput(load=name, verdict=found, why=why or None).model_copy(update=values)


def expected_below_rest(setup: Setup, on: Sequence[tuple[str, int]], pack_v: float) -> tuple[float, float]:
    """How far the pack should be below its rest with these outputs on at these levels, V: least and most.

    Surges count in the most. The sags of single loads are added up, which is right while they are small.
    """
    low = high = 0.0
    for output, level in on:
        wired = power_on(setup.dive, output, level, 0.0)
        if wired is None or setup.board.outputs[output].kind == "release":
            continue
        sag = expected_sag(setup, output, wired[1], pack_v, PLAYED_S).sag_v
        low, high = low + sag[0], high + sag[2]
    return low, high


def _from_meter(setup: Setup, output: str, means: Means, sag: Sag, current: Quantity) -> dict[str, Quantity]:
    """What a meter's current gives: resistance of pack and wiring, and the power of the load itself at full level."""
    ohm, watt = draw_of(current, sag, means.during.volts)
    values = {"current": current}
    if ohm.low > 0:
        values["resistance"] = _range(ohm, "ohm", 1e3, "mohm")
    share = means.level / 100
    rail = setup.board.rails[setup.board.outputs[output].rail]
    low, nominal, high = 1.0, 1.0, 1.0
    if rail.kind == "linear":
        low = nominal = high = rail.voltage.nominal / means.during.volts
    elif rail.efficiency is not None:
        low, nominal, high = rail.efficiency.low, rail.efficiency.nominal, rail.efficiency.high
    load = Quantity(watt.low * low / share, watt.nominal * nominal / share, watt.high * high / share)
    values["power"] = _range(load, "W", 1.0, "W")
    return values


def _range(value: Quantity, unit: str, scale: float, shown: str) -> Quantity:
    text = f"{value.low * scale:.4g} {shown} .. {value.high * scale:.4g} {shown}"
    if value.low == value.high:
        text = f"{value.low * scale:.4g} {shown}"
    return Quantity(value.low, value.nominal, value.high, "range", text, unit)
