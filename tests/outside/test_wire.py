"""Electrolytic wires against Faraday's law: equivalents, masses, charges, times."""

import pytest
from published import Entry, chosen, entry, ids

from schedgen.physics import release

EQUIVALENTS = chosen("wire.k_")
TIMES = chosen("wire.t_")
COVERS = [*ids(EQUIVALENTS + TIMES), "wire.EW_316_calc", "wire.eff_80pct", "wire.radial_const_density"]
BY_SYMBOL = {"Fe": "iron", "Ni": "nickel", "Cu": "copper", "316": "stainless steel"}
BY_ION = {"Fe2+": "iron", "Ni2+": "nickel", "Cu2+": "copper", "Zn2+": "zinc", "Al3+": "aluminium"}


@pytest.mark.parametrize("published", EQUIVALENTS, ids=ids(EQUIVALENTS))
def test_electrochemical_equivalent(published: Entry) -> None:
    ours = release.equivalent(published.inputs["M_g_mol"], published.inputs["z"])
    published.holds(ours * 1e3)
    assert published.inputs["F_C_mol"] == release.FARADAY
    ion = published.id.removeprefix("wire.k_")
    if ion in BY_ION:  # Fe3+ is no metal of ours: a wire dissolves as Fe2+
        published.holds(release.metal(BY_ION[ion]).equivalent_g / release.FARADAY * 1e3)


def test_equivalent_weight_of_stainless_steel() -> None:
    published = entry("wire.EW_316_calc")
    parts = [(0.67, 55.845, 2), (0.17, 51.996, 3), (0.12, 58.6934, 2), (0.025, 95.95, 3)]
    published.holds(release.alloy_equivalent(parts))
    published.holds(release.metal("stainless steel").equivalent_g)


@pytest.mark.parametrize("published", TIMES, ids=ids(TIMES))
def test_time_of_a_wire_at_constant_current(published: Entry) -> None:
    values = published.inputs
    name = BY_SYMBOL[published.id.split("_")[1]]
    charge = float(release.wire_charge(name, values["d_mm"] * 1e-3, values["L_mm"] * 1e-3))
    seconds = float(release.dissolving_time(charge, values["I_mA"] * 1e-3))
    published.holds(charge * release.metal(name).equivalent_g / release.FARADAY * 1e3, "mass_mg")
    published.holds(charge, "charge_C")
    published.holds(seconds, "t_s")
    published.holds(seconds / 60, "t_min")


def test_part_of_the_current_is_lost() -> None:
    published = entry("wire.eff_80pct")
    values = published.inputs
    published.holds(float(release.dissolving_time(values["charge_C"], values["I_mA"] * 1e-3, values["efficiency"])))


def test_constant_current_density_takes_twice_as_long() -> None:
    published = entry("wire.radial_const_density")
    values = published.inputs
    ours = float(release.dissolving_time_at_density("iron", values["d_mm"] * 1e-3, values["J_mA_mm2"] * 1e3))
    published.holds(ours)
    constant = entry("wire.t_Fe_0.5x5_50mA").expected["t_s"]
    assert ours == pytest.approx(2 * constant, rel=0.005)
