"""What floats and how: net lift, a float lost, the antenna's height above the water, which end is up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.physics.bounds import Array, Flags, Numbers, above, within


def lift(mass: Numbers, volume: Numbers, water_density: Numbers, gravity: Numbers) -> Array:
    """Return the net lift [N], positive up: (rho V - m) g, for mass [kg], volume [m3], density [kg/m3], g [m/s2].

    Source: Archimedes. 46 kg and 51.5 L in fresh water of 1000 kg/m3 are 5.5 kg light.

    >>> round(float(lift(46.0, 0.0515, 1000.0, 9.80665)) / 9.80665, 6)
    5.5
    """
    above("mass", mass, 0.0, "kg")
    within("volume", volume, 0.0, np.inf, "m3")
    above("water density", water_density, 0.0, "kg/m3")
    return np.asarray((np.asarray(water_density) * volume - mass) * gravity)[()]


def volume_from_weighing(mass: Numbers, weighed_in_water: Numbers, water_density: Numbers) -> Array:
    """Return the displaced volume [m3] from what a scale shows in water [kg] (negative: it floats): (m - w) / rho.

    Source: Archimedes, weighing in water. -5.5 kg for 46 kg in water of 1000 kg/m3 is 51.5 L.

    >>> round(float(volume_from_weighing(46.0, -5.5, 1000.0)) * 1e3, 6)
    51.5
    """
    above("mass", mass, 0.0, "kg")
    above("water density", water_density, 0.0, "kg/m3")
    result = (np.asarray(mass) - weighed_in_water) / water_density
    if np.any(result <= 0):
        raise OutOfRange("weighed in water it is heavier than in air; a floating package is written negative")
    return np.asarray(result)[()]


def lift_with_one_float_lost(
    net_lift: Numbers,
    floats: Sequence[tuple[Numbers, Numbers]],
    water_density: Numbers,
    gravity: Numbers,
) -> Array:
    """Return the least net lift [N] when one of the floats, each (volume [m3], mass [kg]), fills with water.

    A flooded float keeps its mass and loses its volume (its wall counts as lost: the worse side). Raises
    OutOfRange with no floats listed. Source: Archimedes. 4 L lost in water of 1025 kg/m3 cost 4.1 kg.

    >>> round(float(lift_with_one_float_lost(100.0, [(0.004, 1.5)], 1025.0, 9.80665)), 2)
    59.79
    """
    if not floats:
        raise OutOfRange("no floats are listed, so none can be lost")
    losses = [np.asarray(volume) * water_density * gravity for volume, _ in floats]
    worst = losses[0]
    for loss in losses[1:]:
        worst = np.maximum(worst, loss)
    return np.asarray(np.asarray(net_lift) - worst)[()]


@dataclass(frozen=True, slots=True)
class StandsOut:
    """How far the top stands above the waterline: `height` [m]; `whole` when the lift carries the whole section out,
    so that `height` is its length and what lies below it would come out next (not computed)."""

    height: Array
    whole: Flags


def stands_out(
    net_lift: Numbers, water_density: Numbers, gravity: Numbers, section: Numbers, length: float
) -> StandsOut:
    """Return how far a vertical section of area `section` [m2] and `length` [m] rises above the waterline.

    What is above the water displaces nothing: h = L / (rho g A), 0 when it does not float. Still water, package
    upright, the section on top. Source: Archimedes. 5 kg of lift with a tube of 180 mm in water of 1025 kg/m3:

    >>> round(float(stands_out(5 * 9.80665, 1025.0, 9.80665, tube_section(0.18), 0.62).height), 4)
    0.1917
    """
    above("section", section, 0.0, "m2")
    above("length", length, 0.0, "m")
    above("water density", water_density, 0.0, "kg/m3")
    height = np.maximum(0.0, np.asarray(net_lift) / (np.asarray(water_density) * gravity * section))
    whole = height > length
    return StandsOut(np.asarray(np.where(whole, length, height))[()], np.asarray(whole)[()])


def tube_section(diameter: Numbers) -> Array:
    """Return the cross section pi/4 D^2 [m2] of a tube of `diameter` [m]. Source: geometry.

    >>> round(float(tube_section(0.2)), 7)
    0.0314159
    """
    above("diameter", diameter, 0.0, "m")
    return np.asarray(np.pi / 4.0 * np.asarray(diameter) ** 2)[()]


def righting_moment(centre_of_mass: Numbers, centre_of_volume: Numbers, weight: Numbers, tilt_deg: Numbers) -> Array:
    """Return the moment [N m] that turns a submerged package upright: W (zV - zM) sin(tilt).

    Heights [m] from one reference, positive up; `weight` [N] is what it weighs in air; negative means it turns over.
    Valid for 0 .. 90 degrees, fully under water. Source: statics of submerged bodies (centre of volume over mass).

    >>> round(float(righting_moment(0.25, 0.35, 451.0, 10.0)), 2)
    7.83
    """
    within("tilt", tilt_deg, 0.0, 90.0, "degrees")
    arm = np.asarray(centre_of_volume) - centre_of_mass
    return np.asarray(weight * arm * np.sin(np.radians(tilt_deg)))[()]


def floats_upright(centre_of_mass: float, centre_of_volume: float) -> bool:
    """Return whether a package under water turns upright: its centre of volume lies above its centre of mass.

    Both [m] as highest centre of mass and lowest centre of volume for the worst case. Floating at the surface a
    waterplane helps further, which is not counted. Source: statics of submerged bodies.

    >>> floats_upright(0.25, 0.35), floats_upright(0.4, 0.35)
    (True, False)
    """
    return centre_of_volume > centre_of_mass
