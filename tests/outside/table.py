"""Prints the table of the README: quantity, our value, published value, source, difference.

    python tests/outside/table.py

Every published value comes from `published.yaml`, every value of ours from the function that the program uses.
"""

from __future__ import annotations

import datetime as calendar
import math
import sys
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path[:0] = [path for path in (str(HERE), str(HERE.parents[1])) if path not in sys.path]

from published import Entry, entry  # noqa: E402

from schedgen.board.load import load_cell  # noqa: E402
from schedgen.physics import (  # noqa: E402
    clock,
    daylight,
    drag,
    fluids_at,
    heat,
    light,
    motion,
    nodes,
    pack,
    packing,
    release,
    seawater,
    storage,
)

INLAND = (45.0, 100.0)


@dataclass(frozen=True)
class Row:
    """One line: `ours` is computed when asked for; `allowed` is how far it may be off."""

    quantity: str
    unit: str
    digits: int
    ours: Callable[[], float]
    published: float
    source: str
    allowed: float

    @property
    def off(self) -> float:
        """Ours minus published."""
        return self.ours() - self.published


def of(
    name: str,
    quantity: str,
    unit: str,
    digits: int,
    ours: Callable[[Entry], float],
    source: str,
    key: str | None = None,
    scale: float = 1.0,
    allowed_share: float | None = None,
) -> Row:
    """A row from the published entry `name` (its `key`), in `unit` after multiplying by `scale`."""
    found = entry(name)
    value = float(found.expected if key is None else found.expected[key])
    allowed = found.allowed(value) if allowed_share is None else allowed_share * abs(value)
    return Row(quantity, unit, digits, lambda: ours(found) * scale, value * scale, source, allowed * scale)


def _wire_seconds(found: Entry) -> float:
    values = found.inputs
    charge = release.wire_charge("iron", values["d_mm"] * 1e-3, values["L_mm"] * 1e-3)
    return float(release.dissolving_time(charge, values["I_mA"] * 1e-3))


def _film_in_sea_water(found: Entry) -> float:
    sea = fluids_at.water(6.0, 35.16504)
    return float(heat.film_horizontal_cylinder(sea, found.inputs["Lc_m"], found.inputs["dT_K"]))


def _cell_energy(found: Entry) -> float:
    cell = load_cell("nmc-21700-5000")
    one = pack.PackModel(cell.tables, 1, 1, cell.capacity.nominal)
    steps = [pack.Step(40 * 3600.0, current_a=found.inputs["current_A"])]
    return pack.discharge(one, steps, found.inputs["T_degC"], cut_off_v=2.5, step_s=20.0).energy_wh


def _sunset() -> Row:
    found = entry("sun.Bergen.sunset")
    expected = datetime.fromisoformat(found.expected)
    midnight = expected.replace(hour=0, minute=0, second=0)

    def ours() -> float:
        day = calendar.date.fromisoformat(found.inputs["local_date"])
        times = daylight.sun_times(found.inputs["lat_deg"], found.inputs["lon_deg_E"], day, 1.0)
        assert times.sunset is not None
        return (times.sunset - midnight).total_seconds() / 60

    return Row(
        "sunset, 60.39 N 5.32 E, 2025-03-20, after 0 h UTC",
        "min",
        1,
        ours,
        (expected - midnight).total_seconds() / 60,
        "VSOP87 through ephem",
        found.tolerance["abs_s"] / 60,
    )


def rows() -> list[Row]:
    """The lines of the table, in the order of the program's physics."""
    nu, beside = "ht library", "TEOS-10 manual, gsw 3.6.23"
    return [
        of("sw.p_at_6000m_lat60", "sea pressure at 6000 m, 60 degrees", "dbar", 2,
           lambda e: float(seawater.pressure(e.inputs["depth_m"], e.inputs["lat_deg"])), beside),
        of("sw.iapws08.rho_Sn_0C_100MPa", "standard sea water at 0 degC, 100 MPa", "kg/m3", 3,
           lambda e: float(seawater.density(35.0, 0.0, 9989.8675, *INLAND)), "IAPWS R13-08"),
        of("fw.rho_iapws95_4C", "fresh water at 4 degC", "kg/m3", 4,
           lambda e: float(seawater.density(0.0, 4.0, 0.0, *INLAND)), "IAPWS R6-95"),
        of("drag.vterm_glass20mm_sw4C", "glass ball of 20 mm sinking in sea water", "m/s", 3,
           lambda e: drag.sphere_speed(0.02, 2500.0, 1027.8, 0.00167), "fluids library, five methods 0.930 to 0.976"),
        of("drag.cyl_axial_ld4", "drag of a blunt cylinder along its axis, l/d 4", "-", 2,
           lambda e: float(drag.cylinder_along(4.0)), "White, Fluid Mechanics"),
        of("drag.fall_time_1000m", "fall of 1000 m from rest", "s", 2,
           lambda e: 1000.0 / e.inputs["vt"] + float(motion.start_delay(1000.0, e.inputs["vt"], e.inputs["tau"])),
           "closed form, scipy"),
        of("bat.pybamm.Chen2020.DFN.C5.25C", "energy of the 5 Ah NMC cell at C/5, 25 degC", "Wh", 2,
           _cell_energy, "PyBaMM DFN, Chen2020", "E_to_2.5V_Wh", allowed_share=0.03),
        Row("density of 7 equal circles in a circle", "-", 4, lambda: packing.density(7), 7 / 9,
            "Graham et al. 1998", 1e-9),
        of("th.hcyl_air20C_D150_dT15", "Nusselt number, tube of 150 mm in air, 15 K", "-", 2,
           lambda e: float(heat.nusselt_horizontal_cylinder(e.expected["Ra"], e.inputs["Pr"])),
           f"Churchill and Chu 1975, {nu}", "Nu"),
        of("th.hcyl_sw4C_D150_dT4", "film on a tube of 150 mm in sea water, 4 K", "W/(m2 K)", 0,
           _film_in_sea_water, f"Churchill and Chu 1975, {nu}", "h", allowed_share=0.02),
        of("th.wall_acetal_0.31", "acetal wall, 140/150 mm, 0.5 m", "K/W", 5,
           lambda e: float(heat.wall_cylinder(0.31, 0.14, 0.15, 0.5)), f"Fourier, {nu}"),
        of("th.rc_warm_3600s", "8 W, 1.2 K/W, 6000 J/K after 1 h from 4 degC", "degC", 3,
           lambda e: float(nodes.one_node(4.0, 4.0, 8.0, 1.2, 6000.0, 3600.0)), "closed form, scipy"),
        of("clk.xtal_2C_B-0.034", "32.768 kHz crystal at 2 degC over 24 h", "s", 3,
           lambda e: float(clock.reading_error(clock.crystal_deviation(2.0), clock.DAY_S)),
           "clock module manuals", "s_per_day"),
        of("wire.k_Ni2+", "electrochemical equivalent of nickel", "mg/C", 5,
           lambda e: release.equivalent(58.6934, 2) * 1e3, "Faraday, CODATA 2018"),
        of("wire.t_Fe_0.5x5_50mA", "iron wire 0.5 mm x 5 mm at 50 mA", "s", 1, _wire_seconds, "Faraday", "t_s"),
        _sunset(),
        of("light.colreg_2nm", "light seen 2 nautical miles, air 0.8", "cd", 3,
           lambda e: float(light.intensity_for(2.0)), "COLREGs 1972, annex I", "I_cd"),
        of("light.blondel_rey_20cd_0.3s", "range of a 20 cd flash of 0.3 s", "nautical miles", 3,
           lambda e: light.visible_range(light.effective_intensity(20.0, 0.3)), "Blondel and Rey, Allard",
           "range_nm_K0.8"),
        of("sto.rate_25Mbps", "an hour at 25 Mbit/s", "GB", 2,
           lambda e: storage.written(25e6, 3600.0) / storage.GB, "arithmetic, IEC 80000-13", "GB_per_h"),
    ]  # fmt: skip


def number(value: float, digits: int) -> str:
    """`value` with `digits` decimals and no minus zero."""
    text = f"{value:.{digits}f}"
    return text.lstrip("-") if float(text) == 0 else text


def table() -> str:
    """The table in Markdown. Differences in % of the published value, rounded to 0.01 %."""
    lines = ["| quantity | ours | published | source | difference |", "| --- | --- | --- | --- | --- |"]
    for row in rows():
        ours = row.ours()
        share = 100.0 * (ours - row.published) / row.published if row.published else math.nan
        unit = "" if row.unit == "-" else f" {row.unit}"
        lines.append(
            f"| {row.quantity} | {number(ours, row.digits)}{unit} | {number(row.published, row.digits)}{unit} "
            f"| {row.source} | {number(share, 2)} % |"
        )
    return "\n".join(lines)


if __name__ == "__main__":
    print(table())
