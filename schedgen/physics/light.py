"""How far a flasher is seen at night: Allard's law, and the steady light that a short flash looks like.

Information only: a range in clear air for an eye that looks there. It is no navigation light and promises nothing.
"""

from __future__ import annotations

import numpy as np

from schedgen.physics.bounds import Array, Numbers, above, within

METRES_A_MILE = 1852.0
THRESHOLD_LUX = 2e-7
"""Illuminance at the eye that a dark-adapted watch notices (COLREGs 1972, annex I section 8)."""
CLEAR = 0.8
"""Transmissivity of the air for one nautical mile: 0.8 is about 13 miles of visibility (the same annex)."""
BLONDEL_REY_S = 0.2
"""Time constant of the eye at night [s] (IALA; other works give 0.1 to 0.3)."""
LARGEST_NM = 40.0
LUMENS_A_WATT = (50.0, 90.0, 130.0)
"""White LEDs behind a lens and a driver: least, usual, most (common practice, no source)."""
STERADIANS = (np.pi, 2.0 * np.pi, 4.0 * np.pi)
"""What a flasher shines into: a belt about the horizon, the upper half, all round."""
DISTRESS_A_MINUTE = (50.0, 70.0)
"""A white flash 50 to 70 times a minute can be taken for a distress light (dive rules of this project)."""


def illuminance(intensity: Numbers, distance_nm: Numbers, transmissivity: Numbers = CLEAR) -> Array:
    """Return the illuminance [lux] at `distance_nm` [nautical miles]: E = I K^D / (1852 D)^2 (Allard's law).

    `intensity` [cd], `transmissivity` K for a mile (0 .. 1). Source: CIE and IALA dictionaries.

    >>> float(illuminance(4.2875, 2.0, 0.8)) / THRESHOLD_LUX > 0.99
    True
    """
    above("distance", distance_nm, 0.0, "nm")
    within("transmissivity of the air", transmissivity, 1e-3, 1.0)
    metres = METRES_A_MILE * np.asarray(distance_nm)
    return np.asarray(np.asarray(intensity) * np.asarray(transmissivity) ** distance_nm / metres**2)[()]


def intensity_for(distance_nm: Numbers, transmissivity: Numbers = CLEAR, threshold: float = THRESHOLD_LUX) -> Array:
    """Return the intensity [cd] seen at `distance_nm`: I = 3.43e6 T D^2 K^-D.

    The rounded 3.43e6 (for 1852^2 = 3 429 904) is the rule's own. Source: COLREGs 1972, annex I section 8: 2 miles
    need 4.3 cd.

    >>> round(float(intensity_for(2.0)), 4)
    4.2875
    """
    above("distance", distance_nm, 0.0, "nm")
    within("transmissivity of the air", transmissivity, 1e-3, 1.0)
    distance = np.asarray(distance_nm)
    return np.asarray(3.43e6 * threshold * distance**2 * np.asarray(transmissivity) ** -distance)[()]


def visible_range(intensity: float, transmissivity: float = CLEAR, threshold: float = THRESHOLD_LUX) -> float:
    """Return the range [nautical miles] at which `intensity` [cd] gives `threshold` [lux], by bisection.

    Valid for 0.001 .. 1e6 cd; ranges end at 40 nm, and the curve of the earth is not in it (a light 0.3 m above
    the water, seen from 3 m, is hidden beyond about 4.6 nm). Source: Allard's law with the rule's 3.43e6.

    >>> round(visible_range(12.0), 3)
    2.995
    """
    within("intensity", intensity, 1e-3, 1e6, "cd")
    within("threshold", threshold, 1e-9, 1e-3, "lux")
    low, high = 1e-4, LARGEST_NM
    within("intensity", intensity, 1e-3, float(intensity_for(high, transmissivity, threshold)), "cd", "40 nm of range")
    for _ in range(60):
        middle = (low + high) / 2.0
        if float(intensity_for(middle, transmissivity, threshold)) < intensity:
            low = middle
        else:
            high = middle
    return (low + high) / 2.0


def transmissivity(visibility_nm: float) -> float:
    """Return the transmissivity for one nautical mile at a meteorological visibility [nm]: K = 0.05^(1/V).

    Source: definition of visibility (5 % contrast). 10 nm is 0.741.

    >>> round(transmissivity(10.0), 4)
    0.7411
    """
    within("visibility", visibility_nm, 0.05, 60.0, "nm")
    return float(0.05 ** (1.0 / visibility_nm))


def effective_intensity(peak: float, flash_s: float, eye_s: float = BLONDEL_REY_S) -> float:
    """Return the steady intensity [cd] that a flash of `peak` [cd] for `flash_s` [s] looks like: I t / (a + t).

    Source: Blondel and Rey (1911), IALA E200-4. 20 cd for 0.3 s look like 12 cd.

    >>> round(effective_intensity(20.0, 0.3), 6)
    12.0
    """
    above("flash", flash_s, 0.0, "s")
    within("peak intensity", peak, 0.0, 1e8, "cd")
    return peak * flash_s / (eye_s + flash_s)


def flasher_range(power_w: float, flash_s: float, air: float = CLEAR) -> tuple[float, float, float]:
    """Return the range [nautical miles] (low, nominal, high) of a white LED flasher of `power_w` [W] while lit.

    Its peak is power x lumens a watt over the solid angle it shines into, from `LUMENS_A_WATT` and `STERADIANS`; then
    Blondel and Rey, then Allard. A guess for information: a data sheet's candela are better, and the horizon is nearer
    in most cases. Raises OutOfRange as `visible_range`. Source: definition of the lumen. 1 W at 90 lm/W all round the
    upper half: 14.3 cd, 4.8 cd for 0.1 s, 2.09 miles.

    >>> [round(miles, 2) for miles in flasher_range(1.0, 0.1)]
    [1.21, 2.09, 3.15]
    """
    above("power of the flasher", power_w, 0.0, "W")
    peaks = (
        power_w * LUMENS_A_WATT[0] / STERADIANS[2],
        power_w * LUMENS_A_WATT[1] / STERADIANS[1],
        power_w * LUMENS_A_WATT[2] / STERADIANS[0],
    )
    low, nominal, high = (visible_range(effective_intensity(peak, flash_s), air) for peak in peaks)
    return low, nominal, high


def flash_rate(every_s: float) -> float:
    """Return flashes a minute of a flash `every_s` [s]. Source: arithmetic.

    >>> flash_rate(1.0)
    60.0
    """
    above("time between flashes", every_s, 0.0, "s")
    return 60.0 / every_s


def like_distress(every_s: float) -> bool:
    """Return whether a white flash `every_s` [s] lies in the 50 to 70 a minute of a distress light.

    Source: COLREGs and life-saving rules put distress lights there (from memory).

    >>> like_distress(1.0), like_distress(2.0)
    (True, False)
    """
    return DISTRESS_A_MINUTE[0] <= flash_rate(every_s) <= DISTRESS_A_MINUTE[1]


def horizon_nm(light_height_m: float, eye_height_m: float) -> float:
    """Return the geographical range [nm] of a light: 2.03 (sqrt(h) + sqrt(H)), heights in m.

    Source: IALA dictionary, geographical range with standard refraction (from memory).

    >>> round(horizon_nm(0.3, 3.0), 2)
    4.63
    """
    within("height of the light", light_height_m, 0.0, 1000.0, "m")
    within("height of the eye", eye_height_m, 0.0, 1000.0, "m")
    return float(2.03 * (light_height_m**0.5 + eye_height_m**0.5))
