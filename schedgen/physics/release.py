"""How long a release needs: electrolytic wire by Faraday's law or by a user's own test, heated and moving ones.

A wire that corrodes away is a resistor to the pack, and its current goes through the water around it. The
equation gives the charge; what it can't know (where the wire necks, how much of the current dissolves metal)
is an interval. A measured time wins over the equation and is carried from the test to the site.
Intervals are triples (low, nominal, high). Times are seconds of power, pauses not counted.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, TypeAlias

import numpy as np

from schedgen.errors import OutOfRange
from schedgen.physics.bounds import Array, Numbers, above, within

Kind: TypeAlias = Literal["burn wire", "hot wire", "motor", "magnet", "dissolving link"]
Span: TypeAlias = tuple[float, float, float]

FARADAY = 96485.33212331
"""C/mol, CODATA 2018 (exact product of the elementary charge and Avogadro's constant)."""
LEAST_SALINITY = 5.0
"""Below this practical salinity a bare wire draws too little current to part (common practice, no source)."""
EFFICIENCY = (0.8, 0.95, 1.0)
"""Share of the current that dissolves metal (common practice, no source; the rest makes oxygen or chlorine)."""
CHARGE_SHARE = (0.5, 0.8, 1.0)
"""Share of the bare length's charge after which it parts: 1 is even attack, less is necking at one spot
(common practice, no source)."""
SCATTER = 0.2
"""Half-width that one measured time gets when the user gave none: repeats differ (common practice, no source)."""
STANDARD_WATER = (35.0, 15.0)
"""Practical salinity and temperature that a power with no test is taken to be measured in."""


@dataclass(frozen=True, slots=True)
class Metal:
    """A wire's metal: `equivalent_g` grams that one mole of electrons dissolves, `density` [kg/m3]."""

    equivalent_g: float
    density: float
    source: str


_IUPAC = "IUPAC atomic mass over the valence; density CRC Handbook (from memory)"
METALS: dict[str, Metal] = {
    "iron": Metal(55.845 / 2, 7874.0, _IUPAC + "; Fe2+"),
    "steel": Metal(55.845 / 2, 7850.0, "as iron, Fe2+; density of plain carbon steel (from memory)"),
    "stainless steel": Metal(25.50, 7980.0, "ASTM G102, 316 steel (not seen in print; by its formula 25.86)"),
    "nickel": Metal(58.6934 / 2, 8908.0, _IUPAC + "; Ni2+"),
    "copper": Metal(63.546 / 2, 8960.0, _IUPAC + "; Cu2+"),
    "zinc": Metal(65.38 / 2, 7140.0, _IUPAC + "; Zn2+"),
    "aluminium": Metal(26.9815 / 3, 2700.0, _IUPAC + "; Al3+"),
}


def metal(name: str) -> Metal:
    """Return the metal called `name`; raises OutOfRange with the known names.

    Source: with each entry of `METALS`.

    >>> metal("Nickel").density
    8908.0
    """
    try:
        return METALS[name.strip().lower()]
    except KeyError:
        known = ", ".join(METALS)
        raise OutOfRange(
            f"the metal '{name}' is not known; known are {known}", "Give the test's time instead."
        ) from None


def equivalent(molar_mass: float, valence: int) -> float:
    """Return the electrochemical equivalent k = M / (z F) [g/C] from g/mol and the valence.

    Source: Faraday's law. Iron as Fe2+: 0.28940 mg/C, which plating tables give as 1.042 g/Ah.

    >>> round(equivalent(55.845, 2) * 1e3, 5), round(equivalent(55.845, 2) * 3600, 4)
    (0.2894, 1.0418)
    """
    above("molar mass", molar_mass, 0, "g/mol")
    within("valence", valence, 1, 7)
    return molar_mass / (valence * FARADAY)


def alloy_equivalent(parts: list[tuple[float, float, int]]) -> float:
    """Return the equivalent weight 1 / sum(w z / M) [g/eq] of an alloy from (mass share, g/mol, valence).

    Source: ASTM G102 (formula; not seen in print). 316 steel of Fe, Cr, Ni, Mo:

    >>> round(alloy_equivalent([(0.67, 55.845, 2), (0.17, 51.996, 3), (0.12, 58.693, 2), (0.025, 95.95, 3)]), 2)
    25.86
    """
    return 1.0 / sum(share * valence / mass for share, mass, valence in parts)


def wire_charge(metal_name: str, diameter_m: Numbers, exposed_m: Numbers) -> Array:
    """Return the charge [C] that dissolves the bare length of a wire: Q = rho pi/4 d^2 L / k.

    `diameter_m` 0.02 .. 5 mm, `exposed_m` 0.1 .. 200 mm, both in m. Source: Faraday's law.
    Worked: iron, 0.5 mm x 5 mm is 7.730 mg and 26.71 C, 534 s at 50 mA.

    >>> q = wire_charge("iron", 0.5e-3, 5e-3)
    >>> round(float(q), 2), round(float(q) / 0.05)
    (26.71, 534)
    """
    within("wire diameter", np.asarray(diameter_m) * 1e3, 0.02, 5.0, "mm")
    within("exposed wire", np.asarray(exposed_m) * 1e3, 0.1, 200.0, "mm")
    chosen = metal(metal_name)
    mass_g = chosen.density * 1e3 * np.pi / 4.0 * np.asarray(diameter_m) ** 2 * exposed_m
    return np.asarray(mass_g * FARADAY / chosen.equivalent_g)[()]


def dissolving_time(charge: Numbers, current: Numbers, efficiency: Numbers = 1.0) -> Array:
    """Return t = Q / (I eta) [s] from charge [C], current [A] and the share that dissolves metal (0 .. 1].

    Source: Faraday's law. 26.71 C at 50 mA of which 80 % dissolve metal: 668 s.

    >>> round(float(dissolving_time(26.71174753435, 0.05, 0.8)), 1)
    667.8
    """
    above("current", current, 0, "A")
    within("current efficiency", efficiency, 1e-3, 1.0)
    return np.asarray(np.asarray(charge) / (np.asarray(current) * efficiency))[()]


def dissolving_time_at_density(metal_name: str, diameter_m: Numbers, current_density: Numbers) -> Array:
    """Return t = r rho / (J k) [s] when the current a bare area J [A/m2] stays constant while the wire thins.

    It is twice the time at constant current, since the area shrinks. Source: dr/dt = J k / rho.

    >>> round(float(dissolving_time_at_density("iron", 0.5e-3, 6366.2)), 1)
    1068.5
    """
    above("current density", current_density, 0, "A/m2")
    chosen = metal(metal_name)
    kilograms_a_coulomb = chosen.equivalent_g * 1e-3 / FARADAY
    return np.asarray(
        np.asarray(diameter_m) / 2.0 * chosen.density / (np.asarray(current_density) * kilograms_a_coulomb)
    )[()]


def conductivity(salinity: Numbers, temperature_c: Numbers, pressure_dbar: Numbers = 0.0) -> Array:
    """Return the electrical conductivity [S/m] of sea water: practical salinity 0 .. 42, degC, dbar.

    Source: PSS-78 (Unesco 1981) through `gsw`; 4.2914 S/m at salinity 35, 15 degC (IPTS-68), surface.

    >>> round(float(conductivity(35.0, 15.0 / 1.00024)), 4)
    4.2914
    """
    import gsw

    within("salinity", salinity, 0, 42, "", "practical salinity; ocean water is near 35")
    within("temperature", temperature_c, -2.5, 40, "degC", "range of PSS-78")
    return np.asarray(np.asarray(gsw.C_from_SP(salinity, temperature_c, pressure_dbar)) / 10.0)[()]


def resistive_power(power_w: Numbers, measured_at_v: Numbers, voltage: Numbers) -> Array:
    """Return the power [W] of a resistor at `voltage` [V] that takes `power_w` at `measured_at_v`: P (U / V)^2.

    Source: Ohm's law. 4 W at 11.1 V are 2.63 W at 9.0 V.

    >>> round(float(resistive_power(4.0, 11.1, 9.0)), 2)
    2.63
    """
    above("voltage of the measurement", measured_at_v, 0, "V")
    within("voltage", voltage, 0, np.inf, "V")
    return np.asarray(np.asarray(power_w) * (np.asarray(voltage) / measured_at_v) ** 2)[()]


@dataclass(frozen=True, slots=True)
class Drive:
    """What feeds the release: `power_w` [W] at `measured_at_v` [V], and the `voltage` [V] it will get."""

    power_w: float
    measured_at_v: float
    voltage: Span


@dataclass(frozen=True, slots=True)
class SiteWater:
    """Water at the bottom: practical `salinity`, `temperature_c` [degC] as spans, `pressure_dbar` [dbar]."""

    salinity: Span
    temperature_c: Span
    pressure_dbar: float = 0.0


@dataclass(frozen=True, slots=True)
class Wire:
    """A bare wire: `metal` name, `diameter_m` and `exposed_m` [m]."""

    metal: str
    diameter_m: float
    exposed_m: float


@dataclass(frozen=True, slots=True)
class Trial:
    """A user's own test: parted in `parts_in_s` [s] of power at practical `salinity` and `temperature_c` [degC]."""

    parts_in_s: Span
    salinity: float
    temperature_c: float


def _conductivity_ratio(reference: tuple[float, float], water: SiteWater) -> Span:
    """Return conductivity at the site over that at `reference` (salinity, degC), low, nominal, high."""
    within("salinity of the test", reference[0], LEAST_SALINITY, 42, "", "a bare wire needs salt water to part")
    base = float(conductivity(reference[0], reference[1]))
    site = conductivity(np.asarray(water.salinity), np.asarray(water.temperature_c), water.pressure_dbar)
    low, nominal, high = (float(value) / base for value in site)
    return low, nominal, high


def _refuse_fresh(water: SiteWater) -> None:
    within(
        "salinity",
        water.salinity[0],
        LEAST_SALINITY,
        42,
        "",
        "a bare wire needs salt water to part",
        "Use a hot wire, a motor or a link whose time was measured in this water.",
    )


def wire_time_by_charge(wire: Wire, drive: Drive, water: SiteWater) -> Span:
    """Return the powered time [s] (low, nominal, high) in which an electrolytic wire parts, from Faraday's law.

    Current I = P U / V^2 times the conductivity at the site over that of salinity 35 at 15 degC, in which a power
    without a test is taken to be measured; charge and efficiency as the intervals of this module.
    Source: Faraday's and Ohm's laws, PSS-78 conductivity.
    Raises OutOfRange below a salinity of 5, for an unknown metal, and outside the ranges of its parts.

    >>> water = SiteWater((35.0, 35.0, 35.0), (15.0, 15.0, 15.0))
    >>> span = wire_time_by_charge(Wire("steel", 0.6e-3, 4e-3), Drive(4.0, 11.1, (11.1, 11.1, 11.1)), water)
    >>> [round(t) for t in span]
    [43, 72, 106]
    """
    _refuse_fresh(water)
    charge = float(wire_charge(wire.metal, wire.diameter_m, wire.exposed_m))
    ratio = _conductivity_ratio(STANDARD_WATER, water)
    amperes = [
        drive.power_w * volt / drive.measured_at_v**2 * share for volt, share in zip(drive.voltage, ratio, strict=True)
    ]
    return (
        float(dissolving_time(charge * CHARGE_SHARE[0], amperes[2], EFFICIENCY[2])),
        float(dissolving_time(charge * CHARGE_SHARE[1], amperes[1], EFFICIENCY[1])),
        float(dissolving_time(charge * CHARGE_SHARE[2], amperes[0], EFFICIENCY[0])),
    )


def _scattered(parts_in_s: Span) -> Span:
    """Return the measured span, widened by the usual scatter when it is a single number."""
    low, nominal, high = parts_in_s
    above("time of the test", low, 0, "s")
    return (low, nominal, high) if low < high else (low * (1 - SCATTER), nominal, high * (1 + SCATTER))


def wire_time_by_test(trial: Trial, drive: Drive, water: SiteWater) -> Span:
    """Return the powered time [s] (low, nominal, high) of an electrolytic wire, carried from a test to the site.

    The current goes with voltage and conductivity where the water's resistance rules, and hardly where the
    wire's surface does: the factor is the whole interval between 1 and (V / U) x (conductivity of the test over
    that of the site), nominal its geometric mean. Raises OutOfRange below a salinity of 5.
    Source: Ohm's law with PSS-78 conductivity as one bound, a current that stays as the other.

    >>> trial = Trial((240.0, 240.0, 240.0), 35.0, 12.0)
    >>> site = SiteWater((34.95, 34.95, 34.95), (4.1, 4.1, 4.1), 1530.0)
    >>> [round(t) for t in wire_time_by_test(trial, Drive(4.0, 11.1, (9.6, 10.5, 11.4)), site)]
    [192, 271, 400]
    """
    _refuse_fresh(water)
    measured = _scattered(trial.parts_in_s)
    ratio = _conductivity_ratio((trial.salinity, trial.temperature_c), water)
    slow, middle, fast = (drive.measured_at_v / volt / share for volt, share in zip(drive.voltage, ratio, strict=True))
    return measured[0] * min(1.0, fast), measured[1] * float(np.sqrt(middle)), measured[2] * max(1.0, slow)


def powered_time_by_test(kind: Kind, trial_s: Span, drive: Drive) -> Span:
    """Return the powered time [s] of a hot wire, motor or magnet, carried from the measured to the site's voltage.

    A hot wire heats with P ~ U^2, so its time goes with (V / U)^2; a motor turns with U, so with V / U; a magnet
    lets go at once and keeps its time. Cold water cools a hot wire: the test must be made in water as cold.
    Source: Joule's law and the speed constant of a motor; a simple model.

    >>> [round(t) for t in powered_time_by_test("motor", (10.0, 10.0, 10.0), Drive(4.0, 12.0, (9.6, 11.0, 12.6)))]
    [8, 11, 15]
    """
    measured = _scattered(trial_s)
    power = {"hot wire": 2, "motor": 1}.get(kind, 0)
    low_v, nominal_v, high_v = (above_zero / drive.measured_at_v for above_zero in drive.voltage)
    above("voltage", low_v, 0, "of the voltage measured at")
    return (
        measured[0] * min(1.0, high_v**-power),
        measured[1] * nominal_v**-power,
        measured[2] * max(1.0, low_v**-power),
    )


def parting_time(
    kind: Kind,
    drive: Drive,
    water: SiteWater,
    fire_s: float,
    wire: Wire | None = None,
    trial: Trial | None = None,
) -> tuple[Span, str]:
    """Return the powered time [s] (low, nominal, high) that a release needs, and how it is known.

    The second is "tested", "faraday" or "assumed". With neither test nor equation (hot wire, motor, magnet with no
    test, burn wire with no dimensions) the release is assumed to need between nothing and one whole firing `fire_s`
    [s], which nothing checks: list it as guessed. Raises OutOfRange as the functions used, and for a dissolving
    link, whose time is not one of power. Source: the functions used.

    >>> water = SiteWater((35.0, 35.0, 35.0), (4.0, 4.0, 4.0))
    >>> parting_time("magnet", Drive(5.0, 12.0, (10.0, 11.0, 12.0)), water, 30.0)
    ((0.0, 15.0, 30.0), 'assumed')
    """
    if kind == "dissolving link":
        raise OutOfRange("a dissolving link is not powered; its time is parts_after, from splash")
    if trial is not None:
        if kind == "burn wire":
            return wire_time_by_test(trial, drive, water), "tested"
        return powered_time_by_test(kind, trial.parts_in_s, drive), "tested"
    if kind == "burn wire":
        _refuse_fresh(water)
        if wire is not None:
            return wire_time_by_charge(wire, drive, water), "faraday"
    return (0.0, fire_s / 2.0, fire_s), "assumed"


def elapsed_at(powered_s: float, fire_s: float, pause_s: float, tries: int) -> float | None:
    """Return the seconds from the first command until `powered_s` seconds of power are given, pauses counted.

    None when all tries together give less. What a try dissolved stays dissolved. Source: arithmetic.

    >>> elapsed_at(500.0, 480.0, 300.0, 3), elapsed_at(480.0, 480.0, 300.0, 3), elapsed_at(1441.0, 480.0, 300.0, 3)
    (800.0, 480.0, None)
    """
    above("firing time", fire_s, 0, "s")
    within("tries", tries, 1, np.inf)
    if powered_s > fire_s * tries:
        return None
    pauses = max(0, int(np.ceil(powered_s / fire_s)) - 1)
    return powered_s + pauses * pause_s


def all_firing(fire_s: float, tries: int) -> float:
    """Return the seconds of power [s] in all `tries` of `fire_s` [s]. Source: arithmetic.

    >>> all_firing(480.0, 3)
    1440.0
    """
    return fire_s * tries
