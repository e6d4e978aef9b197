"""The older equation of state (EOS-80, Unesco 1981 and 1983), as a reference for the tests only.

The project computes with TEOS-10. These formulas stand here to show that the published check values are read
rightly (IPTS-68 temperatures!) before TEOS-10 is compared with them. Coefficients from Unesco Tech. Pap. Mar. Sci.
36, 38 and 44 (from memory; the check values hold them).
"""

from __future__ import annotations

import math


def density(salinity: float, t68: float, dbar: float) -> float:
    """kg/m3 from practical salinity, degC on IPTS-68 and dbar."""
    s, t, bar = salinity, t68, dbar / 10.0
    pure = 999.842594 + t * (
        6.793952e-2 + t * (-9.095290e-3 + t * (1.001685e-4 + t * (-1.120083e-6 + t * 6.536332e-9)))
    )
    surface = (
        pure
        + s * (0.824493 + t * (-4.0899e-3 + t * (7.6438e-5 + t * (-8.2467e-7 + t * 5.3875e-9))))
        + s**1.5 * (-5.72466e-3 + t * (1.0227e-4 - t * 1.6546e-6))
        + 4.8314e-4 * s * s
    )
    stiff = 19652.21 + t * (148.4206 + t * (-2.327105 + t * (1.360477e-2 - t * 5.155288e-5)))
    stiff += s * (54.6746 + t * (-0.603459 + t * (1.09987e-2 - t * 6.1670e-5)))
    stiff += s**1.5 * (7.944e-2 + t * (1.6483e-2 - t * 5.3009e-4))
    first = 3.239908 + t * (1.43713e-3 + t * (1.16092e-4 - t * 5.77905e-7))
    first += s * (2.2838e-3 + t * (-1.0981e-5 - t * 1.6078e-6)) + 1.91075e-4 * s**1.5
    second = 8.50935e-5 + t * (-6.12293e-6 + t * 5.2787e-8)
    second += s * (-9.9348e-7 + t * (2.0816e-8 + t * 9.1697e-10))
    return surface / (1.0 - bar / (stiff + bar * (first + bar * second)))


def depth(dbar: float, latitude: float) -> float:
    """m from dbar and degrees (Fofonoff and Millard 1983)."""
    x = math.sin(math.radians(latitude)) ** 2
    gravity = 9.780318 * (1.0 + (5.2788e-3 + 2.36e-5 * x) * x) + 1.092e-6 * dbar
    return (((-1.82e-15 * dbar + 2.279e-10) * dbar - 2.2512e-5) * dbar + 9.72659) * dbar / gravity


def freezing(salinity: float, dbar: float) -> float:
    """degC on IPTS-68 from practical salinity and dbar (Millero 1978)."""
    s = salinity
    return (-0.0575 + 1.710523e-3 * math.sqrt(s) - 2.154996e-4 * s) * s - 7.53e-4 * dbar


def quadratic_pressure(depth_m: float, latitude: float) -> float:
    """dbar from m and degrees (Saunders 1981); 12 dbar high at 10 900 m."""
    c1 = (5.92 + 5.25 * math.sin(math.radians(abs(latitude))) ** 2) * 1e-3
    c2 = 2.21e-6
    return ((1.0 - c1) - math.sqrt((1.0 - c1) ** 2 - 4.0 * c2 * depth_m)) / (2.0 * c2)
