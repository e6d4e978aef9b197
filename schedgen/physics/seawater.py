"""Sea water and fresh water by TEOS-10: pressure from depth and back, density, gravity.

Source: IOC, SCOR and IAPSO 2010, The international thermodynamic equation of seawater - 2010 (IOC Manuals
and Guides 56), through the library `gsw`. Density is the full Gibbs function (IAPWS R13-08 with IAPWS-09 for
pure water), so that fresh water needs no second formula.

`gsw` is imported inside the functions. All take numbers or arrays; call them once with an array.
"""

from __future__ import annotations

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.physics.bounds import Array, Flags, Numbers, plain, within

DEEPEST_M = 11_000.0
"""Depths below are refused: the deepest known sea floor is about 10 935 m."""
DEEPEST_DBAR = 11_500.0
"""IAPWS R13-08 states 10 000 dbar; from there to the deepest trench the Gibbs function and the 75-term fit
of TEOS-10 still agree to 0.001 kg/m3 (published check value at 11 000 dbar), which is taken as leave."""
SALTIEST = 42.0
"""Practical salinity; the ocean range of TEOS-10 ends at an absolute salinity of 42 g/kg."""
HOTTEST_C = 40.0
FREEZING_SLACK_K = 0.05
"""A profile may read this much below the freezing point: what a common thermometer errs."""
FRESH_BELOW = 0.5
"""Practical salinity under which water counts as fresh (limit of the Venice system, 1959): the funnel of
ocean waters then does not apply, the range of the Gibbs function for pure water does."""

DBAR_PER_PSI = 0.6894757293168
"""1 psi is 6894.757293168 Pa (0.45359237 kg x 9.80665 m/s2 over a square inch), 1 dbar is 1e4 Pa."""


def _position(latitude: Numbers, longitude: Numbers = 0.0) -> None:
    within("latitude", latitude, -90, 90, "degrees")
    within("longitude", longitude, -180, 360, "degrees")


def gravity(latitude: Numbers, depth_m: Numbers = 0.0) -> Array:
    """Return the acceleration of gravity [m/s2] at `latitude` [degrees] and `depth_m` [m, positive down].

    g = 9.780327 (1 + 0.0052792 sin^2 + 0.0000232 sin^4) (1 + 2.26e-7 z), latitude -90 .. 90, depth 0 .. 11 000.
    Source: Moritz 2000 (GRS80) as in appendix D of the TEOS-10 manual.

    >>> round(float(gravity(45.0)), 6)
    9.8062
    """
    _position(latitude)
    within("depth", depth_m, 0, DEEPEST_M, "m")
    sin2 = np.sin(np.radians(latitude)) ** 2
    surface = 9.780327 * (1.0 + (5.2792e-3 + 2.32e-5 * sin2) * sin2)
    result: Array = surface * (1.0 + 2.26e-7 * np.asarray(depth_m))
    return result[()]


def pressure(depth_m: Numbers, latitude: Numbers) -> Array:
    """Return the sea pressure [dbar] at `depth_m` [m, positive down] in water of the standard ocean.

    Valid for 0 .. 11 000 m. For one's own water, fresh water above all, use `column.WaterColumn`.
    Source: TEOS-10, worked example of the function p_from_z (1000 m at 4 degrees north).

    >>> round(float(pressure(1000.0, 4.0)), 6)
    1007.990338
    """
    import gsw

    _position(latitude)
    within("depth", depth_m, 0, DEEPEST_M, "m", "positive down; the deepest sea floor is about 10 935 m")
    return np.asarray(gsw.p_from_z(-np.asarray(depth_m, dtype=float), latitude))[()]


def depth(pressure_dbar: Numbers, latitude: Numbers) -> Array:
    """Return the depth [m, positive down] at a sea pressure [dbar] in water of the standard ocean.

    Valid for 0 .. 11 500 dbar. Source: TEOS-10, worked example of the function z_from_p.

    >>> round(float(depth(1000.0, 4.0)), 6)
    992.091906
    """
    import gsw

    _position(latitude)
    within("pressure", pressure_dbar, 0, DEEPEST_DBAR, "dbar", "sea pressure, 0 at the surface")
    return np.asarray(-gsw.z_from_p(np.asarray(pressure_dbar, dtype=float), latitude))[()]


def absolute_salinity(salinity: Numbers, pressure_dbar: Numbers, latitude: float, longitude: float) -> Array:
    """Return the absolute salinity [g/kg] of `salinity` [practical] at a place.

    Source: TEOS-10, worked example of the function SA_from_SP (McDougall et al. 2012); from memory.

    >>> round(float(absolute_salinity(34.5487, 10.0, 4.0, 188.0)), 4)
    34.7118
    """
    import gsw

    _position(latitude, longitude)
    within("salinity", salinity, 0, SALTIEST, "", "practical salinity; ocean water is near 35")
    result = np.asarray(gsw.SA_from_SP(salinity, pressure_dbar, longitude, latitude))
    if not np.isfinite(result).all():
        raise OutOfRange(
            f"latitude {plain(latitude)} has no ocean in the salinity atlas of TEOS-10; it reaches from -86 to 90",
            "Check the sign of the latitude.",
        )
    return result[()]


def freezing_point(salinity: Numbers, pressure_dbar: Numbers, latitude: float, longitude: float) -> Array:
    """Return the temperature [degC] at which air-free water of `salinity` [practical] freezes.

    Source: TEOS-10 (t_freezing). The often quoted -1.91 or -1.92 degC for salinity 35 at the surface.

    >>> round(float(freezing_point(35.0, 0.0, 57.0, -9.0)), 2)
    -1.92
    """
    import gsw

    salt = absolute_salinity(salinity, pressure_dbar, latitude, longitude)
    return np.asarray(gsw.t_freezing(salt, pressure_dbar, 0.0))[()]


def _refuse_unknown_water(salinity: Array, salt: Array, temperature_c: Array, pressure_dbar: Array) -> None:
    """Raise OutOfRange for water outside the range of the Gibbs function, or outside the ocean funnel."""
    import gsw

    next_step = "Check the rows of the water profile, and whether one nearer the bottom is missing."
    within("temperature", temperature_c, -5, HOTTEST_C, "degC", "", next_step)
    freezing = gsw.t_freezing(salt, pressure_dbar, 0.0)
    frozen = temperature_c < freezing - FREEZING_SLACK_K
    if frozen.any():
        at = np.flatnonzero(frozen)[0]
        raise OutOfRange(
            f"temperature is {plain(temperature_c.flat[at])} degC at salinity {plain(salinity.flat[at])} and "
            f"{plain(pressure_dbar.flat[at])} dbar; it must be at least the freezing point "
            f"{plain(round(float(np.asarray(freezing).flat[at]), 2))} degC",
            next_step,
        )
    outside = (salinity >= FRESH_BELOW) & ~_in_funnel(salt, temperature_c, pressure_dbar)
    if outside.any():
        at = np.flatnonzero(outside)[0]
        raise OutOfRange(
            f"salinity {plain(salinity.flat[at])} with temperature {plain(temperature_c.flat[at])} degC at "
            f"{plain(pressure_dbar.flat[at])} dbar lies outside the range of ocean waters (TEOS-10 funnel): below "
            "500 dbar at most 31.67 - 0.00333 x pressure degC and at least 0.005 x pressure - 2.5 g/kg; below 6500 "
            "dbar at most 10 degC and at least 30 g/kg",
            next_step,
        )


def _in_funnel(salt: Array, temperature_c: Array, pressure_dbar: Array) -> Flags:
    """Return where (boolean) water lies in the funnel of McDougall et al. 2003 [its temperature is potential,
    here in situ, which is warmer by at most 1.5 K at 11 000 dbar: the limit is eased by 1e-4 K/dbar for that]."""
    eased = temperature_c - 1.4e-4 * pressure_dbar
    middle = (pressure_dbar >= 500) & (pressure_dbar < 6500)
    deep = pressure_dbar >= 6500
    too_fresh = (middle & (salt < pressure_dbar * 5e-3 - 2.5)) | (deep & (salt < 30))
    too_warm = (middle & (eased > 31.66666666666667 - pressure_dbar * 3.333333333333334e-3)) | (deep & (eased > 10))
    return np.asarray(~(too_fresh | too_warm))


def density(
    salinity: Numbers, temperature_c: Numbers, pressure_dbar: Numbers, latitude: float, longitude: float
) -> Array:
    """Return the density [kg/m3] of sea or fresh water, in situ.

    `salinity` practical (0 .. 42), `temperature_c` in situ [degC, ITS-90] from the freezing point to 40,
    `pressure_dbar` sea pressure (0 .. 11 500), inside the funnel of ocean waters; below salinity 0.5 the funnel
    is not asked for. The position gives the absolute salinity. Shapes broadcast.
    Source: TEOS-10 (rho_t_exact). The example is fresh water at 4 degC: 999.9749 by IAPWS R6-95.

    >>> round(float(density(0.0, 4.0, 0.0, 46.0, 9.0)), 4)
    999.9749
    """
    import gsw

    within("pressure", pressure_dbar, 0, DEEPEST_DBAR, "dbar", "sea pressure, 0 at the surface")
    salinities, temperatures, pressures = np.broadcast_arrays(
        *(np.asarray(value, dtype=float) for value in (salinity, temperature_c, pressure_dbar))
    )
    salt = np.asarray(absolute_salinity(salinities, pressures, latitude, longitude))
    _refuse_unknown_water(salinities, salt, temperatures, pressures)
    return np.asarray(gsw.rho_t_exact(salt, temperatures, pressures))[()]


def psi(pressure_dbar: Numbers) -> Array:
    """Return a pressure [dbar] in pounds-force a square inch (1 psi is 6894.757293168 Pa).

    Source: definition of the pound and the inch. 1000 m at 30 degrees, 1009.30 dbar:

    >>> round(float(psi(1009.299219597)), 3)
    1463.865
    """
    return np.asarray(np.asarray(pressure_dbar) / DBAR_PER_PSI)[()]
