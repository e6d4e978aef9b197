"""Drag coefficients of handbook shapes, for choosing and for checking a `drag_coefficient`.

On frontal area, subcritical flow (Reynolds number 1e4 to 2e5). A real package of housing, frame and floats lies between
0.6 and 1.5; only a timed drop tells.
"""

from __future__ import annotations

import numpy as np

from schedgen.physics.bounds import Array, Numbers, within

_AXIAL_RATIO = np.array([0.0, 0.5, 1.0, 2.0, 4.0, 8.0])
_AXIAL = np.array([1.17, 1.15, 0.91, 0.85, 0.87, 0.99])
"""Disk: Hoerner 1965 (through a digest); else White, Fluid Mechanics, and an engineer's data book, figure 5.13(b)."""
_CROSS_INVERSE = np.array([0.0, 1 / 40, 1 / 20, 1 / 10, 1 / 5, 1 / 2, 1.0])
_CROSS = np.array([1.20, 0.98, 0.91, 0.82, 0.74, 0.68, 0.64])
"""White, Fluid Mechanics, table 7.3 (20: from memory); the data book gives 0.63 at 1."""
SQUARE_PLATE = 1.17
"""Square plate across the flow (engineer's data book, figure 5.13(b))."""
ROUNDED_NOSE = 0.2
"""Cylinder longer than two diameters with a hemispherical nose (Hoerner 1965, chapter 3, from memory)."""
USUAL_PACKAGE = (0.6, 1.0, 1.5)
"""What a dive file without a coefficient gets (common practice, no source)."""


def cylinder_along(length_over_diameter: Numbers) -> Array:
    """Return Cd of a blunt cylinder moving along its axis, on pi/4 d^2; length/diameter 0 .. 8, Re above 1e4.

    Linear between the handbook's points. Source: see the table.

    >>> round(float(cylinder_along(2.0)), 2)
    0.85
    """
    within("length over diameter", length_over_diameter, 0.0, 8.0)
    return np.asarray(np.interp(length_over_diameter, _AXIAL_RATIO, _AXIAL))[()]


def cylinder_across(length_over_diameter: Numbers) -> Array:
    """Return Cd of a cylinder moving across its axis, on length x diameter; length/diameter from 1 to infinity.

    Linear in diameter/length between the handbook's points; Re 1e4 .. 2e5. Source: see the table.

    >>> round(float(cylinder_across(10.0)), 2)
    0.82
    """
    within("length over diameter", length_over_diameter, 1.0, np.inf)
    return np.asarray(np.interp(1.0 / np.asarray(length_over_diameter), _CROSS_INVERSE, _CROSS))[()]


def sphere(reynolds: Numbers) -> Array:
    """Return Cd of a smooth sphere for Reynolds numbers 0.1 .. 1e6.

    Up to 1e5: 5.4856e9 tanh(4.3774e-9/Re) + 0.0709 tanh(700.6574/Re) + 0.3894 tanh(74.1539/Re) - 0.1198
    tanh(7429.0843/Re) + 1.7174 tanh(9.9851/(Re + 2.3384)) + 0.4744 (Barati, Neyshabouri and Ahmadi 2014, Powder
    Technology 257, 11).
    From 2e5: 24/Re + 2.6 (Re/5) / (1 + (Re/5)^1.52) + 0.411 (Re/2.63e5)^-7.94 / (1 + (Re/2.63e5)^-8) + Re^0.8 / 461 000
    (Morrison 2013, An Introduction to Fluid Mechanics). Between them one fades into the other.
    From 1e5 to 1e6 the boundary layer turns turbulent and roughness decides: take no single value there.
    Source: as given in the library `fluids`; 0.0877 at 5e5.

    >>> round(float(sphere(5e5)), 4), round(float(sphere(1e4)), 3)
    (0.0877, 0.411)
    """
    within("Reynolds number", reynolds, 0.1, 1e6, "", "smooth sphere")
    number = np.asarray(reynolds, dtype=float)
    slow = (
        5.4856e9 * np.tanh(4.3774e-9 / number)
        + 0.0709 * np.tanh(700.6574 / number)
        + 0.3894 * np.tanh(74.1539 / number)
        - 0.1198 * np.tanh(7429.0843 / number)
        + 1.7174 * np.tanh(9.9851 / (number + 2.3384))
        + 0.4744
    )
    first = 24.0 / number + 2.6 * (number / 5.0) / (1.0 + (number / 5.0) ** 1.52)
    crisis = 0.411 * (number / 2.63e5) ** -7.94 / (1.0 + (number / 2.63e5) ** -8.0)
    fast = first + crisis + number**0.8 / 461_000.0
    share = np.clip(np.log2(number / 1e5), 0.0, 1.0)
    return np.asarray(slow + (fast - slow) * share)[()]


def sphere_speed(
    diameter: float, sphere_density: float, water_density: float, viscosity: float, gravity: float = 9.80665
) -> float:
    """Return the terminal speed [m/s] of a smooth sphere, positive down; m, kg/m3, kg/m3, Pa s, m/s2.

    Drag by `sphere`, found by bisection over the Reynolds number; raises OutOfRange where it leaves 0.1 .. 1e6.
    Source: force balance. A glass ball of 20 mm in sea water of 4 degC: correlations in `fluids` give 0.93 to 0.98.

    >>> round(sphere_speed(0.02, 2500.0, 1027.8, 0.00167), 2)
    0.95
    """
    excess = (sphere_density - water_density) * gravity
    # Cd Re^2 rises with Re, and the force balance fixes it
    wanted = 4.0 / 3.0 * abs(excess) * water_density * diameter**3 / viscosity**2
    low, high = 0.1, 1e6
    within("Cd Re^2", wanted, float(sphere(low)) * low**2, float(sphere(high)) * high**2, "", "Re 0.1 .. 1e6")
    for _ in range(80):
        middle = float(np.sqrt(low * high))
        if float(sphere(middle)) * middle**2 < wanted:
            low = middle
        else:
            high = middle
    return float(np.copysign(low * viscosity / (water_density * diameter), excess))
