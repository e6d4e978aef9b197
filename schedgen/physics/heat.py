"""Heat from the loads to the water or the air: films, walls, fans, sun.

Each function is one correlation. What water and air do at a temperature is in `fluids_at.py`, how temperatures
move with time in `nodes.py`. Temperatures in degC, coefficients h in W/(m2 K), conductances in W/K.
All functions take numbers or arrays.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.physics.bounds import Array, Numbers, above, within

STEFAN_BOLTZMANN = 5.670374419e-8
"""W/(m2 K4), CODATA 2018."""
STANDARD_GRAVITY = 9.80665
LEAST_RAYLEIGH = 1e-5
SUNLIGHT = (0.0, 800.0, 1100.0)
"""Irradiance on deck [W/m2]: none, a clear day, the most at noon with bright clouds (common practice, no source)."""
LEAST_DIFFERENCE_K = 0.01
"""Film coefficients are computed for at least this difference, where hardly any heat flows anyway."""


@dataclass(frozen=True, slots=True)
class Material:
    """A wall: `conductivity` [W/(m K)], `density` [kg/m3], `specific_heat` [J/(kg K)], `absorbs` of sunlight."""

    conductivity: float
    density: float
    specific_heat: float
    absorbs: float
    source: str


_SHEET = "alloy or polymer data sheets (from memory)"
MATERIALS: dict[str, Material] = {
    "aluminium": Material(167.0, 2700.0, 896.0, 0.60, _SHEET + "; 6061-T6, hard anodised"),
    "titanium": Material(6.7, 4430.0, 526.0, 0.60, _SHEET + "; Ti-6Al-4V, oxidised"),
    "stainless steel": Material(16.2, 7980.0, 500.0, 0.50, _SHEET + "; 316"),
    "steel": Material(50.0, 7850.0, 470.0, 0.80, _SHEET + "; carbon steel, painted"),
    "acetal": Material(0.31, 1410.0, 1470.0, 0.90, _SHEET + "; black"),
    "acrylic": Material(0.19, 1180.0, 1470.0, 0.50, _SHEET + "; clear, with what is inside"),
    "polycarbonate": Material(0.20, 1200.0, 1200.0, 0.50, _SHEET + "; clear, with what is inside"),
    "pvc": Material(0.16, 1400.0, 1000.0, 0.70, _SHEET + "; grey"),
    "glass": Material(1.14, 2230.0, 830.0, 0.60, _SHEET + "; borosilicate, with what is inside"),
}
ALIASES = {"aluminum": "aluminium", "stainless": "stainless steel", "borosilicate": "glass", "pom": "acetal"}


def material(name: str) -> Material:
    """Return the wall material called `name`; raises OutOfRange with the known names.

    Source: with each entry of `MATERIALS`.

    >>> material("Aluminium").conductivity
    167.0
    """
    key = name.strip().lower()
    try:
        return MATERIALS[ALIASES.get(key, key)]
    except KeyError:
        raise OutOfRange(f"the material '{name}' is not known; known are {', '.join(MATERIALS)}") from None


@dataclass(frozen=True, slots=True)
class Fluid:
    """Water or air at a film temperature: `viscosity` kinematic [m2/s], `conductivity` [W/(m K)], `prandtl`,
    `expansion` [1/K]. Entries are numbers or arrays."""

    viscosity: Numbers
    conductivity: Numbers
    prandtl: Numbers
    expansion: Numbers


def rayleigh(fluid: Fluid, length: Numbers, difference_k: Numbers, gravity: float = STANDARD_GRAVITY) -> Array:
    """Return Ra = g |beta| |dT| L^3 Pr / nu^2 for a length [m] and a temperature difference [K].

    Source: the definition. Sea water at 6 degC, 0.15 m, 4 K: 7.813e7.

    >>> sea = Fluid(1.5288e-6, 0.5658, 11.07, 1.246e-4)
    >>> round(float(rayleigh(sea, 0.15, 4.0)) / 1e7, 3)
    7.813
    """
    above("length", length, 0, "m")
    buoyancy = gravity * np.abs(fluid.expansion) * np.abs(np.asarray(difference_k)) * np.asarray(length) ** 3
    return np.asarray(buoyancy * fluid.prandtl / np.asarray(fluid.viscosity) ** 2)[()]


def nusselt_horizontal_cylinder(rayleigh_number: Numbers, prandtl: Numbers) -> Array:
    """Return Nu of a horizontal cylinder over its diameter: {0.60 + 0.387 Ra^(1/6) / [1 + (0.559/Pr)^(9/16)]^(8/27)}^2.

    Valid for Ra 1e-5 .. 1e12. Source: Churchill and Chu 1975, Int. J. Heat Mass Transfer 18, 1049. Incropera and
    DeWitt, example 9.4: Ra 5.073e6 and Pr 0.697 give 23.3 (there with rounded terms).

    >>> round(float(nusselt_horizontal_cylinder(5.073e6, 0.697)), 1)
    23.1
    """
    within("Rayleigh number", rayleigh_number, LEAST_RAYLEIGH, 1e12, "", "Churchill and Chu, horizontal cylinder")
    spread = (1.0 + (0.559 / np.asarray(prandtl)) ** (9 / 16)) ** (8 / 27)
    return np.asarray((0.60 + 0.387 * np.asarray(rayleigh_number) ** (1 / 6) / spread) ** 2)[()]


def nusselt_vertical_plate(rayleigh_number: Numbers, prandtl: Numbers) -> Array:
    """Return Nu of a vertical plate over its height: {0.825 + 0.387 Ra^(1/6) / [1 + (0.492/Pr)^(9/16)]^(8/27)}^2.

    Valid for Ra 1e-1 .. 1e12. Source: Churchill and Chu 1975, Int. J. Heat Mass Transfer 18, 1323; worked number of the
    library `ht`, Ra 1.813e9 (Incropera, example 9.2), Pr 0.69.

    >>> round(float(nusselt_vertical_plate(0.69 * 2.63e9, 0.69)), 2)
    147.16
    """
    within("Rayleigh number", rayleigh_number, 1e-1, 1e12, "", "Churchill and Chu, vertical plate")
    spread = (1.0 + (0.492 / np.asarray(prandtl)) ** (9 / 16)) ** (8 / 27)
    return np.asarray((0.825 + 0.387 * np.asarray(rayleigh_number) ** (1 / 6) / spread) ** 2)[()]


def nusselt_vertical_cylinder(rayleigh_number: Numbers, prandtl: Numbers, diameter: Numbers, height: Numbers) -> Array:
    """Return Nu over its height of a vertical cylinder, `diameter` and `height` [m], as that of a plate.

    Valid where the boundary layer is thin: D/H of at least 35 / Gr^(1/4), with Gr = Ra / Pr; outside it raises
    OutOfRange (a thinner cylinder loses more). Source: Incropera and DeWitt, equation 9.29 (from memory).

    >>> round(float(nusselt_vertical_cylinder(2.8937e9, 11.07, 0.15, 0.5)), 1)
    217.8
    """
    limit = 35.0 / (np.asarray(rayleigh_number) / prandtl) ** 0.25
    if np.any(np.asarray(diameter) / height < limit):
        raise OutOfRange(
            f"diameter over height is {float(np.min(np.asarray(diameter) / height)):.3f}; it must be at least "
            f"{float(np.max(limit)):.3f} (35 / Gr^(1/4)) for a vertical cylinder to count as a plate"
        )
    return nusselt_vertical_plate(rayleigh_number, prandtl)


def nusselt_sphere(rayleigh_number: Numbers, prandtl: Numbers) -> Array:
    """Return Nu of a sphere over its diameter, Churchill 1983 as in the Heat Exchanger Design Handbook.

    Nu = 2 + 0.589 Ra^(1/4) / [1 + (0.469/Pr)^(9/16)]^(4/9) {1 + 7.44e-8 Ra / [1 + (0.469/Pr)^(9/16)]^(16/9)}^(1/12).
    Valid for Ra up to 1e13, Pr from 0.5. Source: the handbook through the library `ht`, whose worked
    number is Pr 0.7, Gr 1e7.

    >>> round(float(nusselt_sphere(0.7e7, 0.7)), 3)
    25.671
    """
    within("Rayleigh number", rayleigh_number, 0.0, 1e13, "", "Churchill, sphere")
    within("Prandtl number", prandtl, 0.5, 1e4)
    base = 1.0 + (0.469 / np.asarray(prandtl)) ** (9 / 16)
    turbulent = (1.0 + 7.44e-8 * np.asarray(rayleigh_number) / base ** (16 / 9)) ** (1 / 12)
    return np.asarray(2.0 + 0.589 * np.asarray(rayleigh_number) ** 0.25 / base ** (4 / 9) * turbulent)[()]


def film_horizontal_cylinder(fluid: Fluid, diameter: Numbers, difference_k: Numbers) -> Array:
    """Return h [W/(m2 K)] of a horizontal cylinder in still fluid; `diameter` [m], wall minus fluid [K].

    Source: `nusselt_horizontal_cylinder`. Sea water near 4 degC, 0.15 m, 4 K: 254.

    >>> round(float(film_horizontal_cylinder(Fluid(1.5288e-6, 0.5658, 11.07, 1.246e-4), 0.15, 4.0)))
    254
    """
    number = rayleigh(fluid, diameter, np.maximum(np.abs(difference_k), LEAST_DIFFERENCE_K))
    return np.asarray(nusselt_horizontal_cylinder(number, fluid.prandtl) * fluid.conductivity / diameter)[()]


def film_vertical_plate(fluid: Fluid, height: Numbers, difference_k: Numbers) -> Array:
    """Return h [W/(m2 K)] of a vertical wall in still fluid; `height` [m], wall minus fluid [K].

    Source: `nusselt_vertical_plate`. Air of 20 degC, 0.5 m, 15 K: 3.80.

    >>> air = Fluid(1.5811e-5, 0.026433, 0.707, 0.003326126725428)
    >>> round(float(film_vertical_plate(air, 0.5, 15.0)), 2)
    3.8
    """
    number = rayleigh(fluid, height, np.maximum(np.abs(difference_k), LEAST_DIFFERENCE_K))
    return np.asarray(nusselt_vertical_plate(number, fluid.prandtl) * fluid.conductivity / height)[()]


def film_forced_plate(fluid: Fluid, length: Numbers, speed: Numbers) -> Array:
    """Return the mean h [W/(m2 K)] of a surface of `length` [m] in a stream of `speed` [m/s]: Nu = 0.664 Re^1/2 Pr^1/3.

    Valid for a laminar layer, Re up to 5e5, Pr 0.6 .. 50. Source: Pohlhausen, as in Incropera and DeWitt eq. 7.30.
    By hand: air (nu 1.58e-5, k 0.0264, Pr 0.707), 0.1 m, 2 m/s has Re 12 649, Nu 66.5 and h 17.6.

    >>> round(float(film_forced_plate(Fluid(1.5811e-5, 0.026433, 0.707, 0.0), 0.1, 2.0)), 1)
    17.6
    """
    reynolds = np.asarray(speed) * length / fluid.viscosity
    within("Reynolds number", reynolds, 0.0, 5e5, "", "laminar flow along a plate")
    within("Prandtl number", fluid.prandtl, 0.6, 50.0)
    nusselt = 0.664 * np.sqrt(reynolds) * np.asarray(fluid.prandtl) ** (1 / 3)
    return np.asarray(nusselt * fluid.conductivity / length)[()]


def film_radiation(first_c: Numbers, second_c: Numbers, emissivity: Numbers = 0.9) -> Array:
    """Return the radiative h [W/(m2 K)] between surfaces at `first_c` and `second_c` [degC]: e s (T1^2+T2^2)(T1+T2).

    `emissivity` is the effective one (0 .. 1). Source: Stefan and Boltzmann. About 5.2 at 20 degC and 0.9.

    >>> round(float(film_radiation(20.0, 20.0)), 2)
    5.14
    """
    within("emissivity", emissivity, 0.0, 1.0)
    within("temperature", first_c, -60.0, 200.0, "degC")
    within("temperature", second_c, -60.0, 200.0, "degC")
    one, two = np.asarray(first_c) + 273.15, np.asarray(second_c) + 273.15
    return np.asarray(emissivity * STEFAN_BOLTZMANN * (one**2 + two**2) * (one + two))[()]


def fan_flow(speed_ratio: Numbers) -> Array:
    """Return the air flow of a fan over its flow at full speed: in proportion to speed.

    Source: affinity laws (AMCA 201).

    >>> float(fan_flow(0.5))
    0.5
    """
    within("fan speed", speed_ratio, 0.0, 1.5, "", "share of full speed")
    return np.asarray(speed_ratio, dtype=float)[()]


def fan_pressure(speed_ratio: Numbers, density_ratio: Numbers = 1.0) -> Array:
    """Return the pressure of a fan over that at full speed: speed squared, times the air's density ratio.

    Source: affinity laws (AMCA 201). Half speed is a quarter of the pressure.

    >>> float(fan_pressure(0.5))
    0.25
    """
    within("fan speed", speed_ratio, 0.0, 1.5, "", "share of full speed")
    return np.asarray(np.asarray(speed_ratio, dtype=float) ** 2 * density_ratio)[()]


def fan_power(speed_ratio: Numbers, density_ratio: Numbers = 1.0) -> Array:
    """Return the power of a fan over that at full speed: speed cubed, times the air's density ratio.

    Of the fan's shaft; a controller that switches at a duty takes duty x power from the pack.
    Source: affinity laws (AMCA 201). Half speed is an eighth of the power.

    >>> float(fan_power(0.5))
    0.125
    """
    within("fan speed", speed_ratio, 0.0, 1.5, "", "share of full speed")
    return np.asarray(np.asarray(speed_ratio, dtype=float) ** 3 * density_ratio)[()]


def wall_cylinder(conductivity: Numbers, inner_diameter: Numbers, outer_diameter: Numbers, length: Numbers) -> Array:
    """Return the resistance [K/W] of a tube's wall: ln(Do/Di) / (2 pi k L), diameters and length in m, k in W/(m K).

    Source: Fourier's law. Acetal 140/150 mm, 0.5 m: 0.0708 K/W.

    >>> round(float(wall_cylinder(0.31, 0.14, 0.15, 0.5)), 4)
    0.0708
    """
    above("conductivity", conductivity, 0, "W/(m K)")
    above("inner diameter", inner_diameter, 0, "m")
    above("length", length, 0, "m")
    if np.any(np.asarray(outer_diameter) <= inner_diameter):
        raise OutOfRange("the wall is thicker than the radius, or has no thickness; outer must exceed inner diameter")
    ratio = np.asarray(outer_diameter) / inner_diameter
    return np.asarray(np.log(ratio) / (2.0 * np.pi * np.asarray(conductivity) * length))[()]


def wall_plane(conductivity: Numbers, thickness: Numbers, area: Numbers) -> Array:
    """Return the resistance [K/W] of a flat wall: s / (k A), `thickness` [m], `area` [m2]. Source: Fourier's law.

    >>> round(float(wall_plane(6.7, 0.005, 3.14159265 * 0.15 * 0.5)), 6)
    0.003167
    """
    above("conductivity", conductivity, 0, "W/(m K)")
    above("area", area, 0, "m2")
    return np.asarray(np.asarray(thickness) / (np.asarray(conductivity) * area))[()]


def solar_gain(irradiance: Numbers, absorbs: Numbers, diameter: Numbers, length: Numbers) -> Array:
    """Return the heat [W] that the sun puts into a tube lying on deck: E a D L, its shadow as area.

    `irradiance` 0 .. 1400 W/m2 (the solar constant is 1361), `absorbs` share of sunlight, `diameter`, `length` [m].
    Source: geometry. 0.18 m x 0.62 m of dark paint under 800 W/m2: 80 W at 0.9.

    >>> round(float(solar_gain(800.0, 0.9, 0.18, 0.62)), 1)
    80.4
    """
    within("irradiance", irradiance, 0.0, 1400.0, "W/m2", "sun outside the air: 1361 W/m2")
    within("absorbed share", absorbs, 0.0, 1.0)
    return np.asarray(np.asarray(irradiance) * absorbs * diameter * length)[()]


def tube_area(diameter: Numbers, length: Numbers) -> Array:
    """Return the outer surface [m2] of a tube with its two flat ends: pi D L + pi/2 D^2. Source: geometry.

    >>> round(float(tube_area(0.18, 0.62)), 4)
    0.4015
    """
    return np.asarray(np.pi * np.asarray(diameter) * length + np.pi / 2.0 * np.asarray(diameter) ** 2)[()]
