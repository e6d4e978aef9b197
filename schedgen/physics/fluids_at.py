"""Water and air at a temperature, for heat: viscosity, conductivity, Prandtl number, expansion."""

from __future__ import annotations

import numpy as np

from schedgen.physics.bounds import Array, Numbers, within
from schedgen.physics.heat import Fluid

HEAT_SALTIEST = 42.0


def water_viscosity(temperature_c: Numbers, salinity: Numbers) -> Array:
    """Return the dynamic viscosity [Pa s] of fresh or sea water; degC, salinity in g/kg.

    Valid for 0 .. 100 degC (here from -2), 0 .. 150 g/kg, surface pressure. Source: Sharqawy, Lienhard and Zubair 2010,
    Desalination and Water Treatment 16, 354, eq. 22 and 23 (coefficients from memory). Pure water of 20 degC: 1.002e-3.

    >>> round(float(water_viscosity(20.0, 0.0)) * 1e3, 3)
    1.002
    """
    within("temperature", temperature_c, -2.5, 100.0, "degC")
    within("salinity", salinity, 0.0, 150.0, "g/kg")
    t, share = np.asarray(temperature_c), np.asarray(salinity) * 1e-3
    pure = 4.2844e-5 + 1.0 / (0.157 * (t + 64.993) ** 2 - 91.296)
    first = 1.541 + 1.998e-2 * t - 9.52e-5 * t**2
    second = 7.974 - 7.561e-2 * t + 4.724e-4 * t**2
    return np.asarray(pure * (1.0 + first * share + second * share**2))[()]


def water_conductivity(temperature_c: Numbers, salinity: Numbers) -> Array:
    """Return the thermal conductivity [W/(m K)] of fresh or sea water; degC, salinity in g/kg.

    Valid for -2.5 .. 97 degC, 0 .. 42 g/kg, surface pressure. Source: pure water of Ramires et al. 1995, J. Phys.
    Chem. Ref. Data 24, 1377 (0.6065 W/(m K) at 25 degC), lowered by 0.029 % for each g/kg after Caldwell 1974,
    Deep-Sea Research 21, 131 (both from memory; held to the published sea water value in the tests).

    >>> round(float(water_conductivity(25.0, 0.0)), 3)
    0.606
    """
    within("temperature", temperature_c, -2.5, 97.0, "degC")
    within("salinity", salinity, 0.0, HEAT_SALTIEST, "g/kg")
    reduced = (np.asarray(temperature_c) + 273.15) / 298.15
    pure = 0.6065 * (-1.48445 + 4.12292 * reduced - 1.63866 * reduced**2)
    return np.asarray(pure * (1.0 - 2.9e-4 * np.asarray(salinity)))[()]


def water_specific_heat(temperature_c: Numbers, salinity: Numbers) -> Array:
    """Return the specific heat [J/(kg K)] of fresh or sea water; degC, salinity in g/kg.

    Valid for 0 .. 180 degC (here from -2.5), 0 .. 180 g/kg. Source: Jamieson et al. 1969, as in Sharqawy 2010
    (coefficients from memory). Sea water of 35 g/kg is near 3990 (from memory).

    >>> round(float(water_specific_heat(10.0, 35.0)), -1)
    3990.0
    """
    within("temperature", temperature_c, -2.5, 180.0, "degC")
    within("salinity", salinity, 0.0, 180.0, "g/kg")
    t, s = np.asarray(temperature_c) + 273.15, np.asarray(salinity)
    a = 5.328 - 9.76e-2 * s + 4.04e-4 * s**2
    b = -6.913e-3 + 7.351e-4 * s - 3.15e-6 * s**2
    c = 9.6e-6 - 1.927e-6 * s + 8.23e-9 * s**2
    d = 2.5e-9 + 1.666e-9 * s - 7.125e-12 * s**2
    return np.asarray(1e3 * (a + b * t + c * t**2 + d * t**3))[()]


def water(temperature_c: Numbers, salinity: Numbers, pressure_dbar: Numbers = 0.0) -> Fluid:
    """Return sea or fresh water at a film temperature [degC], salinity [g/kg] and pressure [dbar] as a `Fluid`.

    Valid for -2.5 .. 40 degC, 0 .. 42 g/kg, 0 .. 11 500 dbar. Viscosity, conductivity and specific heat are those at
    the surface (at 4000 dbar viscosity is some 3 % lower in the cold, from memory); density and expansion by TEOS-10 at
    pressure. Fresh water does not expand at 4 degC: there h falls to that of conduction.
    Source: as the functions used. Sea water of 6 degC: nu 1.529e-6, k 0.566, Pr 11.07, beta 1.246e-4.

    >>> sea = water(6.0, 35.16504)
    >>> round(float(sea.viscosity) * 1e6, 2), round(float(sea.prandtl), 1), round(float(sea.expansion) * 1e4, 2)
    (1.53, 11.1, 1.25)
    """
    import gsw

    within("film temperature", temperature_c, -2.5, 40.0, "degC")
    within("salinity", salinity, 0.0, HEAT_SALTIEST, "g/kg")
    within("pressure", pressure_dbar, 0.0, 11_500.0, "dbar")
    density = np.asarray(gsw.rho_t_exact(salinity, temperature_c, pressure_dbar))
    expansion = np.asarray(gsw.alpha_wrt_t_exact(salinity, temperature_c, pressure_dbar))[()]
    viscosity = water_viscosity(temperature_c, salinity)
    conductivity = water_conductivity(temperature_c, salinity)
    prandtl = viscosity * water_specific_heat(temperature_c, salinity) / conductivity
    return Fluid(np.asarray(viscosity / density)[()], conductivity, prandtl, expansion)


def air(temperature_c: Numbers, pressure_pa: Numbers = 101_325.0) -> Fluid:
    """Return dry air at a film temperature [degC] and pressure [Pa] as a `Fluid`.

    Valid for -60 .. 150 degC, 0.1 .. 5 bar. Viscosity by Sutherland's law (1.716e-5 Pa s at 273.15 K, 110.4 K),
    conductivity by its sister (0.0241 W/(m K), 194 K), specific heat 1006 J/(kg K), ideal gas. Source: White,
    Viscous Fluid Flow (constants from memory).
    Air of 27.5 degC after Lemmon: nu 1.581e-5, k 0.0264, Pr 0.707; here within 1 %.

    >>> a = air(27.5)
    >>> round(float(a.viscosity) * 1e5, 2), round(float(a.conductivity), 4), round(float(a.prandtl), 2)
    (1.57, 0.0263, 0.71)
    """
    within("film temperature", temperature_c, -60.0, 150.0, "degC")
    within("air pressure", pressure_pa, 1e4, 5e5, "Pa")
    kelvin = np.asarray(temperature_c, dtype=float) + 273.15
    dynamic = 1.716e-5 * (kelvin / 273.15) ** 1.5 * (273.15 + 110.4) / (kelvin + 110.4)
    conductivity = 0.0241 * (kelvin / 273.15) ** 1.5 * (273.15 + 194.0) / (kelvin + 194.0)
    density = np.asarray(pressure_pa) / (287.05 * kelvin)
    return Fluid(
        np.asarray(dynamic / density)[()],
        np.asarray(conductivity)[()],
        np.asarray(dynamic * 1006.0 / conductivity)[()],
        np.asarray(1.0 / kelvin)[()],
    )
