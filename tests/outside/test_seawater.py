"""Sea and fresh water against published values: TEOS-10, IAPWS, EOS-80, gravity, rules of thumb."""

import eos80
import numpy as np
import pytest
from published import Entry, chosen, entry, ids

from schedgen.errors import OutOfRange
from schedgen.physics import seawater
from schedgen.physics.column import WaterColumn

INLAND = (45.0, 100.0)
"""A place with no ocean: absolute salinity there is practical salinity x 35.16504/35, with no local anomaly."""
REFERENCE_SALINITY = 35.16504 / 35.0

PRESSURES = chosen("sw.p_at_", "sw.teos10.p_from_z_doc")
DEPTHS = chosen("sw.depth_at_", "sw.teos10.z_from_p_doc")
DENSITIES = chosen("sw.rho_SA")
FRESH = chosen("fw.rho_")
GRAVITIES = chosen("sw.grav_")
OLD_DENSITIES = chosen("sw.eos80.rho_", "sw.eos80.sigma_")
OTHERS = [
    "sw.iapws08.rho_Sn_0C_100MPa",
    "sw.eos80.depth_10000dbar_30",
    "sw.eos80.freezing_40_500",
    "sw.saunders81.pres_7321.45_30",
    "sw.simple.1025x9.81x1000",
]
PRACTICE = chosen("prac.15000psi", "prac.10000psi", "prac.pressure_")
COVERS = [
    *ids(PRESSURES + DEPTHS + DENSITIES + FRESH + GRAVITIES + OLD_DENSITIES + PRACTICE),
    *OTHERS,
    "prac.1dbar_1m",
]


@pytest.mark.parametrize("published", PRESSURES, ids=ids(PRESSURES))
def test_pressure_from_depth(published: Entry) -> None:
    depths = np.atleast_1d(published.inputs.get("depth_m", -np.asarray(published.inputs.get("z_m", 0.0))))
    ours = np.atleast_1d(seawater.pressure(depths, published.inputs["lat_deg"]))
    assert ours == pytest.approx(np.atleast_1d(published.expected), abs=published.tolerance["abs"])


@pytest.mark.parametrize("published", DEPTHS, ids=ids(DEPTHS))
def test_depth_from_pressure(published: Entry) -> None:
    ours = np.atleast_1d(seawater.depth(np.atleast_1d(published.inputs["p_dbar"]), published.inputs["lat_deg"]))
    assert ours == pytest.approx(np.abs(np.atleast_1d(published.expected)), abs=published.tolerance["abs"])


@pytest.mark.parametrize("published", PRESSURES, ids=ids(PRESSURES))
def test_weight_of_a_standard_column_gives_the_same_pressure(published: Entry) -> None:
    """Ours a second way: dp = rho g dz through our own column of the standard ocean (35, 0 degC), to 0.2 % as
    the entries ask of a simple model."""
    depths = np.atleast_1d(published.inputs.get("depth_m", -np.asarray(published.inputs.get("z_m", 0.0)))).astype(float)
    # standard ocean: conservative temperature 0, so in situ 0 at the top and 1.27 at 11 000 dbar (TEOS-10)
    rows = [(0.0, 0.0, 35.0), (5000.0, 0.44, 35.0), (10900.0, 1.27, 35.0)]
    column = WaterColumn(rows, published.inputs["lat_deg"], -30.0, float(depths.max()))
    assert column.pressure(depths) == pytest.approx(np.atleast_1d(published.expected), rel=0.002)


@pytest.mark.parametrize("published", DENSITIES, ids=ids(DENSITIES))
def test_density_of_sea_water(published: Entry) -> None:
    import gsw

    values = published.inputs
    in_situ = gsw.t_from_CT(values["SA_g_kg"], values["CT_degC"], values["p_dbar"])
    practical = values["SA_g_kg"] / REFERENCE_SALINITY
    published.holds(float(seawater.density(practical, in_situ, values["p_dbar"], *INLAND)))


@pytest.mark.parametrize("published", FRESH, ids=ids(FRESH))
def test_density_of_fresh_water(published: Entry) -> None:
    assert published.inputs["p_abs_Pa"] == 101325
    published.holds(float(seawater.density(0.0, published.inputs["t_degC"], 0.0, *INLAND)))


def test_density_of_standard_sea_water_at_100_mpa() -> None:
    published = entry("sw.iapws08.rho_Sn_0C_100MPa")
    gauge = (published.inputs["p_abs_MPa"] * 1e6 - 101325.0) / 1e4
    practical = published.inputs["SA_g_kg"] / REFERENCE_SALINITY
    published.holds(float(seawater.density(practical, published.inputs["t_degC"], gauge, *INLAND)))


@pytest.mark.parametrize("published", OLD_DENSITIES, ids=ids(OLD_DENSITIES))
def test_density_beside_the_older_equation_of_state(published: Entry) -> None:
    """The entry checks EOS-80 (formula in `eos80`, exact tolerance); ours is TEOS-10, within 0.03 kg/m3 of it where
    water exists at all, and refused where it does not (25 and 40 degC at 10 000 dbar)."""
    values = published.inputs
    salinity, t68, dbar = values.get("S_pss78", values.get("S")), values["T68_degC"], values["p_dbar"]
    offset = 1000.0 if "sigma" in published.id else 0.0
    published.holds(eos80.density(salinity, t68, dbar) - offset)
    if salinity > 0 and t68 > 20 and dbar > 9000:
        with pytest.raises(OutOfRange, match="range of ocean waters"):
            seawater.density(salinity, t68 / 1.00024, dbar, *INLAND)
    else:
        ours = float(seawater.density(salinity, t68 / 1.00024, dbar, *INLAND)) - offset
        # pure water at 10 000 dbar: EOS-80 itself is 0.2 kg/m3 off there (IAPWS-95, by our own function)
        assert ours == pytest.approx(published.expected, abs=0.25 if salinity == 0 and dbar > 0 else 0.03)


def test_depth_beside_the_older_formula() -> None:
    """EOS-80 depth leaves out the dynamic height of TEOS-10's standard ocean: 1 m at 10 000 dbar."""
    published = entry("sw.eos80.depth_10000dbar_30")
    published.holds(eos80.depth(10_000.0, 30.0))
    assert float(seawater.depth(10_000.0, 30.0)) == pytest.approx(published.expected, abs=1.5)


def test_freezing_point_beside_the_older_formula() -> None:
    published = entry("sw.eos80.freezing_40_500")
    published.holds(eos80.freezing(40.0, 500.0))
    assert float(seawater.freezing_point(40.0, 500.0, *INLAND)) == pytest.approx(published.expected, abs=0.02)


def test_quadratic_depth_formula_is_not_ours() -> None:
    """Trap: the 1981 quadratic formula is 12 to 13 dbar high at 10 900 m; ours must not be it."""
    published = entry("sw.saunders81.pres_7321.45_30")
    published.holds(eos80.quadratic_pressure(7321.45, 30.0))
    too_high = eos80.quadratic_pressure(10_900.0, 30.0) - float(seawater.pressure(10_900.0, 30.0))
    assert 11.0 < too_high < 14.0
    assert float(seawater.pressure(7321.45, 30.0)) == pytest.approx(published.expected, abs=2.0)


@pytest.mark.parametrize("published", GRAVITIES, ids=ids(GRAVITIES))
def test_gravity(published: Entry) -> None:
    published.holds(float(seawater.gravity(published.inputs["lat_deg"])))


def test_simple_product_is_less_than_our_pressure() -> None:
    """rho g h with 1025 and 9.81 is 0.38 % under TEOS-10 at 1000 m, 30 degrees (the entry's note)."""
    published = entry("sw.simple.1025x9.81x1000")
    product = 1025 * 9.81 * 1000 / 1e6
    published.holds(product)
    assert product / (float(seawater.pressure(1000.0, 30.0)) / 100.0) - 1 == pytest.approx(-0.0038, abs=1e-4)


@pytest.mark.parametrize("published", PRACTICE, ids=ids(PRACTICE))
def test_pressure_in_psi(published: Entry) -> None:
    if "psi_gauge" in published.inputs:
        dbar = published.inputs["psi_gauge"] * seawater.DBAR_PER_PSI
        published.holds(float(seawater.depth(dbar, published.inputs["lat"])))
    else:
        dbar = float(seawater.pressure(published.inputs["depth_m"], published.inputs["lat"]))
        published.holds(dbar / 100.0, "MPa")
        published.holds(float(seawater.psi(dbar)), "psi")


def test_a_decibar_is_nearly_a_metre() -> None:
    published = entry("prac.1dbar_1m")
    metre_a_decibar = float(seawater.depth(1000.0, 30.0)) / 1000.0
    published.holds(metre_a_decibar)
    assert metre_a_decibar == pytest.approx(published.expected, rel=1e-9)
