"""Rules about weight in water and depth: it sinks, it comes up again, and nothing is crushed."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Literal

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Missing, Outcome, Subject
from schedgen.judge.words import apart, number, number_up

GRAVITY = 9.80665
"""Standard gravity [m/s2]: turns the mass of the package into a weight to compare a lift with."""
LEAST_LIFT = 0.05
"""Share of the package's weight that the lift should be (the table of findings)."""
LEAST_SINK = 0.2
"""m/s (the table of findings)."""
MOST_SINK = 1.5
"""m/s (the table of findings)."""
RATING = (1.0, 1.1, 1.25)
"""Factors of the deepest bottom (the table of findings)."""


@decides("sinks-after-release")
def sinks_after_release(subject: Subject) -> Iterator[Outcome]:
    """Without its ballast it rises in the worst case, with 5 % of its weight to spare."""
    vehicle = subject.dive.vehicle
    lift = subject.plan.fall.net_lift_n[0]
    wanted = LEAST_LIFT * vehicle.mass.high * GRAVITY
    where = ("vehicle.volume", "vehicle.weighed_in_water", "vehicle")
    if lift >= wanted:
        yield from _float_lost(subject)
        return
    stop = lift <= 0
    litres = (wanted - lift) / (GRAVITY * 1.025)
    yield subject.finding(
        "sinks-after-release",
        where,
        f"without ballast the least lift is {number(lift, 'N')}"
        + (": it stays down" if stop else f", under 5 % of its weight ({number(wanted, 'N')})"),
        f"add {number_up(litres, 'L')} of float, or take {number_up((wanted - lift) / GRAVITY, 'kg')} off",
        severity="stop" if stop else "caution",
        final=stop,
        weight=weights.weigh(weights.LIFE, 1 - lift / wanted),
    )
    if not stop:
        yield from _float_lost(subject)


def lift_without_a_float(subject: Subject) -> float | None:
    """The least lift with the largest float flooded [N]; None where no floats are listed."""
    from schedgen.physics.buoyancy import lift_with_one_float_lost

    floats, lift = subject.dive.vehicle.floats, subject.plan.fall.net_lift_n[0]
    if not floats:
        return None
    flooding = [(f.volume.high, f.mass.low) for f in floats]
    return float(lift_with_one_float_lost(lift, flooding, _densest(subject), GRAVITY))


def _float_lost(subject: Subject) -> Iterator[Outcome]:
    """With one float flooded: what it displaced is water then, its own mass stays."""
    floats, left = subject.dive.vehicle.floats, lift_without_a_float(subject)
    if left is not None and left <= 0:
        index = max(range(len(floats)), key=lambda i: floats[i].volume.high)
        yield subject.finding(
            "sinks-after-release",
            f"vehicle.floats.{index}",
            f"with one float flooded ({number(floats[index].volume.nominal * 1000, 'L')}) it is"
            f" {number(-left, 'N')} too heavy to come up",
            "more, smaller floats, so that one may flood; or accept it where the floats are trusted",
            severity="caution",
            weight=weights.weigh(weights.RETURN),
        )


def _densest(subject: Subject) -> float:
    """The density of the nominal water at the bottom [kg/m3]."""
    from schedgen.plan.fall import water_column

    return float(water_column(subject.dive.site, "dense").density(subject.dive.site.depth.high))


@decides("floats-with-ballast")
def floats_with_ballast(subject: Subject) -> Iterator[Outcome]:
    """With its ballast it sinks, and faster than 0.2 m/s."""
    fall, ballast = subject.plan.fall, subject.dive.vehicle.ballast
    weight, speed = fall.net_weight_n[0], fall.sink_speed[0]
    if weight > 0 and speed > LEAST_SINK:
        return
    if weight <= 0:
        what = f"with ballast it may weigh {number(weight, 'N')} in the water: it floats"
        needed = -weight + _weight_at_speed(subject, LEAST_SINK)
    else:
        got, asked = apart(speed, LEAST_SINK, "m/s")
        what = f"with ballast it may sink at {got} only; at least {asked} is asked"
        needed = weight * ((LEAST_SINK / max(speed, 0.02)) ** 2 - 1)
    more = needed / GRAVITY / (1 - 1030.0 / ballast.density.low) if ballast.density.low > 1030.0 else 0.0
    yield subject.finding(
        "floats-with-ballast",
        ("vehicle.ballast.mass", "vehicle.ballast"),
        what,
        f"write ballast mass: {math.ceil((ballast.mass.nominal + more) * 10 + 1e-9) / 10:g} kg or more",
        weight=weights.weigh(weights.RETURN, 1 - speed / LEAST_SINK),
    )


def _weight_at_speed(subject: Subject, speed: float) -> float:
    """The weight in water that sinks at `speed` [N], with the largest drag and area: W = rho Cd A v^2 / 2."""
    from schedgen.plan.fall import DRAG_GUESS

    vehicle = subject.dive.vehicle
    drag = vehicle.drag_coefficient.down.high if vehicle.drag_coefficient is not None else DRAG_GUESS[2]
    return 0.5 * _densest(subject) * drag * vehicle.frontal_area.high * speed**2


@decides("hard-landing")
def hard_landing(subject: Subject) -> Iterator[Outcome]:
    """It lands at no more than 1.5 m/s."""
    fall = subject.plan.fall
    speed = max(fall.landing_speed[2], fall.sink_speed[2])
    if speed > MOST_SINK:
        less = fall.net_weight_n[2] * (1 - (MOST_SINK / speed) ** 2) / GRAVITY
        yield subject.finding(
            "hard-landing",
            ("vehicle.ballast.mass", "vehicle.ballast"),
            f"it may land at {apart(speed, MOST_SINK, 'm/s')[0]}; above {MOST_SINK:g} m/s frames bend and mud flies",
            f"take about {number_up(less, 'kg')} (in water) of ballast off, or brake it with more area",
            weight=weights.weigh(weights.COMFORT, speed / MOST_SINK - 1),
        )


@decides("depth-rating")
def depth_rating(subject: Subject) -> Iterator[Outcome]:
    """Every rated depth is well below the deepest bottom."""
    deepest, vehicle = subject.deepest_m, subject.dive.vehicle
    rated = [("vehicle.rated_depth", vehicle.rated_depth.low, "the weakest part")]
    rated += [
        (f"vehicle.floats.{i}.rated_depth", f.rated_depth.low, f"float {i + 1}") for i, f in enumerate(vehicle.floats)
    ]
    for path, depth, who in rated:
        factor = next((f for f in RATING if depth < f * deepest), None)
        if factor is None:
            continue
        severity: Literal["stop", "caution"] = "caution" if factor == RATING[2] else "stop"
        what = "it may be crushed" if factor == 1.0 else f"under {factor:g} x the deepest bottom"
        yield subject.finding(
            "depth-rating",
            (path, "vehicle.rated_depth"),
            f"{who} is rated {depth:.0f} m, the bottom may be at {deepest:.0f} m: {what}",
            f"go no deeper than {math.floor(depth / RATING[2])} m, or use parts rated"
            f" {math.ceil(RATING[2] * deepest)} m or more",
            severity=severity,
            final=factor == 1.0,
            weight=weights.weigh(weights.LIFE if factor == 1.0 else weights.RETURN, factor * deepest / depth - 1),
        )


def height_out(subject: Subject, lift_n: float) -> float | None:
    """How far the top of the housing stands above the waterline with `lift_n` [N], at most its length [m]; None where
    the file does not describe the housing."""
    from schedgen.physics.buoyancy import stands_out, tube_section
    from schedgen.plan.fall import water_column

    housing = subject.dive.vehicle.housing
    if housing is None:
        return None
    density = float(water_column(subject.dive.site, "dense").density(0.0))
    section = float(tube_section(housing.outer_diameter.high))
    return float(stands_out(lift_n, density, GRAVITY, section, housing.length.low).height)


@decides("antenna-awash")
def antenna_awash(subject: Subject) -> Iterator[Outcome]:
    """At the surface the antenna stands as high as asked: the housing is what stands out, the antenna on its top."""
    from schedgen.physics.buoyancy import floats_upright, tube_section

    vehicle = subject.dive.vehicle
    asked, housing, centres = vehicle.antenna_height, vehicle.housing, vehicle.centres
    if asked is None or housing is None:
        missing = "antenna_height" if asked is None else "housing"
        yield Missing("antenna-awash", f"vehicle.{missing} is not given")
        return
    if centres is not None and not floats_upright(centres.of_mass.high, centres.of_volume.low):
        yield subject.finding(
            "antenna-awash",
            ("vehicle.centres", "vehicle.antenna_height"),
            f"it may float on its side: the centre of mass ({number(centres.of_mass.high, 'm')}) is not below the"
            f" centre of volume ({number(centres.of_volume.low, 'm')})",
            "move floats up or weight down until the centre of mass is lower",
            weight=weights.weigh(weights.FINDING, 1.0),
        )
        return
    section = float(tube_section(housing.outer_diameter.high))
    least = max(0.0, subject.plan.fall.net_lift_n[0])
    height = height_out(subject, least) or 0.0
    if height < min(asked.high, housing.length.low):
        reached, wanted = apart(height * 100, asked.high * 100, "cm")
        litres = (asked.high - height) * section * 1000
        yield subject.finding(
            "antenna-awash",
            ("vehicle.antenna_height", "vehicle"),
            f"{number(least, 'N')} of lift hold the top of the housing {reached} out of the"
            f" water; antenna_height asks for {wanted}",
            f"add {number_up(litres, 'L')} of float, or raise the antenna by"
            f" {number_up((asked.high - height) * 100, 'cm')} and ask for less",
            weight=weights.weigh(weights.FINDING, 1 - height / asked.high),
        )
