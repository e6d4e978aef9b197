"""The rule about whether the release is powered for long enough to part."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Missing, Outcome, Subject
from schedgen.judge.volts import actuators, nominal_pack_v
from schedgen.judge.water import near_bottom
from schedgen.judge.words import number, span, span_up

if TYPE_CHECKING:
    from schedgen.dive.model import Actuator
    from schedgen.physics.release import Span


def needed_s(subject: Subject, key: str, actuator: Actuator, fire_s: float) -> tuple[Span, str, float] | None:
    """Powered time that an actuator needs [s], how it is known, and the lowest voltage it gets; None: never fired.

    Raises OutOfRange where the equation does not hold (fresh water, a metal that is not known).
    """
    from schedgen.physics.release import Drive, SiteWater, Trial, Wire, parting_time

    worst, nominal = subject.run.worst, subject.run.nominal
    low = worst.lowest_firing_voltage.get(key)
    if low is None or actuator.power is None:
        return None
    middle = max(low, nominal.lowest_firing_voltage.get(key, low))
    full = max(middle, subject.cell.full.high * subject.dive.pack.series)
    measured = actuator.measured_at.nominal if actuator.measured_at is not None else nominal_pack_v(subject)
    drive = Drive(actuator.power.low, measured, (low, middle, full))
    salinity, warmth = near_bottom(subject, "salinity"), near_bottom(subject, "temperature")
    water = SiteWater(
        (salinity.low, salinity.nominal, salinity.high),
        (warmth.low, warmth.nominal, warmth.high),
        subject.plan.fall.pressure_dbar[1],
    )
    wire = trial = None
    if actuator.wire is not None:
        wire = Wire(actuator.wire.metal, actuator.wire.diameter.high, actuator.wire.exposed.high)
    if actuator.tested is not None:
        tested = actuator.tested
        parts = (tested.parts_in.low, tested.parts_in.nominal, tested.parts_in.high)
        trial = Trial(parts, tested.salinity.nominal, tested.temperature.nominal)
    needed, how = parting_time(actuator.kind, drive, water, fire_s, wire, trial)
    return needed, how, low


@decides("release-too-weak", simulated=True)
def release_too_weak(subject: Subject) -> Iterator[Outcome]:
    """All tries together give the powered time that the release needs at its worst."""
    for path, key, actuator in actuators(subject):
        if actuator.fire is None:
            continue
        if subject.run.worst.lowest_firing_voltage.get(key, 1.0) <= 0:
            yield Missing("release-too-weak", "the pack is empty before it fires (see voltage-too-low)")
            continue
        found = needed_s(subject, key, actuator, actuator.fire.nominal)
        if found is None:
            yield Missing("release-too-weak", f"{path}.power is not given")
            continue
        (_, _, most), how, volts = found
        if how == "assumed":
            yield Missing("release-too-weak", f"{path}.tested is not given, and there is no equation for it")
            continue
        given = actuator.fire.low * actuator.tries
        if most > given:
            tries = math.ceil(most / actuator.fire.low - 1e-9)
            yield subject.finding(
                "release-too-weak",
                (f"{path}.fire", path),
                f"the {actuator.kind} may need {span(most)} of power (at {number(volts, 'V')}, in the coldest and"
                f" freshest water{'' if how == 'tested' else '; by equation, not measured'}); {actuator.tries} x"
                f" {span(actuator.fire.low)} give {span(given)}",
                f"write tries: {tries}, or fire: {span_up(most / actuator.tries)}",
                weight=weights.weigh(weights.LIFE, most / given - 1),
            )
