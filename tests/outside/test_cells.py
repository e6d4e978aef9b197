"""The generic 21700 cell against curves made with PyBaMM from two published sets of parameters, and the circuit
itself against PyBaMM's Thevenin model.

The two sets describe one kind of cell but differ by 5 % in capacity (5.12 and 4.85 Ah at C/5 and 25 degC); the cell of
the library is labelled 5 Ah and lies between. Charge is a share of the capacity at C/5 and 25 degC everywhere in the
project, so the curves are compared share by share: currents and powers are scaled by 5 Ah / the set's capacity.
`test_..._in_ampere_hours` compare without any scaling. Curves: `reference/`, each with its origin in its first line.
"""

import csv
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from published import Entry, chosen, entry, ids

from schedgen.board.derive_cell import CAPACITY_AH, OHM_KNOTS, Curve, fit, read_curves
from schedgen.board.load import load_cell
from schedgen.physics.cell import CellTables, Curves
from schedgen.physics.pack import Discharge, PackModel, Step, discharge

FOLDER = Path(__file__).parent / "reference"
HOURS_12 = [(50.0, 0.75), (10.0, 3.0)] * 12
"""The pulsed profile: (minutes, watts)."""

DISCHARGES = chosen("bat.pybamm.Chen2020.", "bat.pybamm.ORegan2022.")
PULSES = chosen("bat.pybamm.pulse.Chen2020.", "bat.pybamm.pulse.ORegan2022.")
KIND_TO_THE_COLD = [
    e for e in DISCHARGES if "Chen2020" in e.id and e.inputs["T_degC"] < 20 and e.inputs["current_A"] > 2
]
"""The first set in the cold at C/2 and 1C: kinetics only and too good. Ours must stay below."""
FOLLOWED = [e for e in DISCHARGES if e not in KIND_TO_THE_COLD]
COVERS = [
    *ids(DISCHARGES + PULSES), "bat.pybamm.pulse.Thevenin_const", "bat.pybamm.cc.Thevenin_const.C5",
    "bat.R10s_ORegan2022",
]  # fmt: skip


@cache
def pack() -> PackModel:
    """One cell of the library, new and true to its label."""
    cell = load_cell("nmc-21700-5000")
    return PackModel(cell.tables, 1, 1, cell.capacity.nominal)


@cache
def curves() -> dict[str, Curve]:
    return {curve.name: curve for curve in read_curves(FOLDER)}


def cc(current_a: float, temperature_c: float, cut_off_v: float = 2.5) -> Discharge:
    return discharge(pack(), [Step(40 * 3600.0, current_a=current_a)], temperature_c, cut_off_v=cut_off_v, step_s=20.0)


@cache
def pulsed(scale: float, temperature_c: float) -> Discharge:
    steps = [Step(minutes * 60.0, power_w=watts * scale) for minutes, watts in HOURS_12]
    return discharge(pack(), steps, temperature_c, step_s=20.0)


def at_times(run: Discharge, time_s: np.ndarray) -> np.ndarray:
    """Voltage at given times; where a step of load stands at that very time, the value just before it."""
    clock = np.array(run.time_s)
    index = np.clip(np.searchsorted(clock, time_s - 1e-6, side="left"), 0, len(clock) - 1)
    after = np.array(run.voltage_v)[index]
    before = np.array(run.voltage_v)[np.maximum(index - 1, 0)]
    span = clock[index] - clock[np.maximum(index - 1, 0)]
    part = np.where(span > 0, (time_s - clock[np.maximum(index - 1, 0)]) / np.where(span > 0, span, 1.0), 1.0)
    return before + (after - before) * np.clip(part, 0.0, 1.0)


CONSTANT = [
    *(f"Chen2020 {rate}C 25 degC" for rate in ("0.2", "0.5", "1")),
    *(f"ORegan2022 {rate}C {warmth} degC" for rate in ("0.2", "0.5") for warmth in ("25", "5", "0")),
    "ORegan2022 0.2C -10 degC", "ORegan2022 0.2C -20 degC",
]  # fmt: skip


@pytest.mark.parametrize("name", CONSTANT)
def test_the_discharge_curve_agrees_to_30_mv_and_3_percent(name: str) -> None:
    curve = curves()[name]
    run = cc(float(curve.current_a[0]) * 5.0 / CAPACITY_AH[curve.parameters], curve.temperature_c)
    ours = np.interp(-curve.charge, -np.array(run.charge), run.voltage_v)
    off = (ours - curve.voltage_v)[curve.charge >= 0.1]
    assert np.sqrt(np.mean(off**2)) < 0.030
    reference_wh = 5.0 * float(np.trapezoid(curve.voltage_v, -curve.charge))
    assert run.energy_wh == pytest.approx(reference_wh, rel=0.03)


@pytest.mark.parametrize("name", [f"{p} pulses {t} degC" for p in ("Chen2020", "ORegan2022") for t in ("25", "0")])
def test_the_pulsed_profile_agrees_to_30_mv_warm_and_cold(name: str) -> None:
    curve = curves()[name]
    run = pulsed(5.0 / CAPACITY_AH[curve.parameters], curve.temperature_c)
    inside = (curve.charge >= 0.1) & (curve.time_s > 0)
    off = at_times(run, curve.time_s) - curve.voltage_v
    edge = np.abs(curve.time_s[:, None] - np.cumsum([m * 60.0 for m, _ in HOURS_12])[None, :]).min(axis=1) < 1.0
    inside &= ~edge  # at the very second of a step of load the two columns need not mean the same side of it
    assert inside.sum() > 150
    assert np.sqrt(np.mean(off[inside] ** 2)) < 0.030
    assert 1.0 - run.charge[-1] == pytest.approx(1.0 - curve.charge[-1], rel=0.03)


@pytest.mark.parametrize("rate", ["0.2", "0.5", "1"])
def test_the_energy_at_25_degc_agrees_to_3_percent_in_ampere_hours(rate: str) -> None:
    curve = curves()[f"Chen2020 {rate}C 25 degC"]
    run = cc(float(rate) * 5.0, 25.0)
    discharged = (1.0 - curve.charge) * CAPACITY_AH["Chen2020"]
    assert run.energy_wh == pytest.approx(float(np.trapezoid(curve.voltage_v, discharged)), rel=0.03)


@pytest.mark.parametrize("name", ["Chen2020 pulses 25 degC", "ORegan2022 pulses 25 degC", "ORegan2022 pulses 0 degC"])
def test_the_pulsed_profile_agrees_to_30_mv_in_ampere_hours(name: str) -> None:
    curve = curves()[name]
    run = pulsed(1.0, curve.temperature_c)
    edge = np.abs(curve.time_s[:, None] - np.cumsum([m * 60.0 for m, _ in HOURS_12])[None, :]).min(axis=1) < 1.0
    off = (at_times(run, curve.time_s) - curve.voltage_v)[~edge & (curve.time_s > 0)]
    assert np.sqrt(np.mean(off**2)) < 0.030


def _against(published: Entry) -> list[tuple[str, float, float]]:
    """(key, ours, published), both as shares: charge of the C/5 capacity, energy of that capacity x 1 V."""
    name = published.inputs["pset"].split()[0]
    out = []
    for cut_v in (2.5, 3.0):
        run = cc(published.inputs["current_A"] * 5.0 / CAPACITY_AH[name], published.inputs["T_degC"], cut_v)
        ours = {"Q_to_{}V_Ah": 1.0 - run.charge[-1], "E_to_{}V_Wh": run.energy_wh / 5.0}
        for key, value in ours.items():
            key = key.format(cut_v)
            if key in published.expected:
                out.append((key, value, published.expected[key] / CAPACITY_AH[name]))
    return out


@pytest.mark.parametrize("published", FOLLOWED, ids=ids(FOLLOWED))
def test_charge_and_energy_to_both_cut_offs(published: Entry) -> None:
    share = published.tolerance["rel_other_model"]
    for key, ours, theirs in _against(published):
        assert ours == pytest.approx(theirs, rel=share), key


@pytest.mark.parametrize("published", KIND_TO_THE_COLD, ids=ids(KIND_TO_THE_COLD))
def test_the_cell_is_never_better_in_the_cold_than_the_set_that_is_too_kind(published: Entry) -> None:
    for key, ours, theirs in _against(published):
        assert 0.65 * theirs < ours < theirs, key


@pytest.mark.parametrize("published", PULSES, ids=ids(PULSES))
def test_the_pulsed_profile_at_the_hours_published(published: Entry) -> None:
    name = published.inputs["pset"].split()[0]
    run = pulsed(5.0 / CAPACITY_AH[name], published.inputs["T_degC"])
    hours = np.array([float(hour) for hour in published.expected["V_at_h"]])
    ours = at_times(run, hours * 3600.0)
    allowed = published.tolerance["abs_V_other_model"]
    theirs = np.array(list(published.expected["V_at_h"].values()))
    assert np.all(ours - theirs < allowed)
    if name == "Chen2020" and published.inputs["T_degC"] < 20:  # too kind to the cold: ours may lie lower
        allowed = 0.06
    assert np.all(theirs - ours < allowed)
    used = (1.0 - run.charge[-1]) * CAPACITY_AH[name]
    assert used == pytest.approx(published.expected["Q_Ah"], rel=published.tolerance["rel_Q"])


def test_the_ten_second_resistance_over_temperature() -> None:
    published = entry("bat.R10s_ORegan2022")
    tables = pack().tables
    for key, milliohm in published.expected.items():
        _, series, slow = tables.at(0.5, float(key.removesuffix("C")))
        ours = series + slow * (1.0 - np.exp(-10.0 / tables.time_constant_s))
        assert ours * 1000.0 == pytest.approx(milliohm, rel=published.tolerance["rel"]), key


def test_the_tables_in_the_cell_file_are_what_the_script_derives() -> None:
    made, cell = fit(list(curves().values())), load_cell("nmc-21700-5000")
    assert np.allclose(cell.open_circuit.volts, made.open_circuit_v, atol=1.1e-4)
    assert np.allclose(np.array(cell.resistance.charge_percent) / 100.0, OHM_KNOTS)
    assert np.allclose(cell.resistance.ohms()[:-1], made.resistance_ohm, atol=1.1e-4)
    assert np.allclose(cell.relaxation.ohms()[:-1], made.relaxation_ohm, atol=1.1e-4)
    assert np.allclose(cell.resistance.ohms()[-1], 0.7 * made.resistance_ohm[-1], atol=1.1e-4)


def thevenin() -> PackModel:
    """The circuit of the published Thevenin run: the Chen2020 open-circuit curve, 30 and 20 milliohm, 30 s, 5 Ah."""
    with (FOLDER / "pybamm_ocv_Chen2020.csv").open(encoding="utf-8") as file:
        rows = [row for row in csv.reader(file) if not row[0].startswith("#")][1:]
    table = np.array([[float(value) for value in row] for row in rows])
    ohm = [[0.03, 0.03]]
    curves = Curves(table[:, 0].tolist(), table[:, 1].tolist(), [0, 1], [25], ohm, [[0.02, 0.02]], 30.0, [25], [1], [1])
    return PackModel(CellTables(curves), 1, 1, 5.0)


def test_the_circuit_agrees_with_the_thevenin_model_on_the_pulsed_profile() -> None:
    published = entry("bat.pybamm.pulse.Thevenin_const")
    steps = [Step(minutes * 60.0, power_w=watts) for minutes, watts in HOURS_12]
    run = discharge(thevenin(), steps, 25.0, charge=0.9999, step_s=10.0)
    hours = np.array([float(hour) for hour in published.expected["V_at_h"]])
    theirs = np.array(list(published.expected["V_at_h"].values()))
    assert np.max(np.abs(at_times(run, hours * 3600.0) - theirs)) < published.tolerance["abs_V"]
    assert (0.9999 - run.charge[-1]) * 5.0 == pytest.approx(
        published.expected["Q_Ah"], rel=published.tolerance["rel_Q"]
    )
    assert run.energy_wh == pytest.approx(published.expected["E_Wh"], rel=1e-4)


def test_the_circuit_agrees_with_the_thevenin_model_at_constant_current() -> None:
    published = entry("bat.pybamm.cc.Thevenin_const.C5")
    run = discharge(thevenin(), [Step(6 * 3600.0, current_a=1.0)], 25.0, charge=0.9999, cut_off_v=2.5, step_s=2.0)
    allowed, expected = published.tolerance["abs_V"], published.expected
    assert at_times(run, np.array([60.0]))[0] == pytest.approx(expected["V_60s"], abs=allowed)
    assert at_times(run, np.array([600.0]))[0] == pytest.approx(expected["V_600s"], abs=allowed)
    half = np.interp(-0.5, -np.array(run.charge), run.voltage_v)
    assert half == pytest.approx(expected["V_at_50pct"], abs=allowed)
    used = (0.9999 - run.charge[-1]) * 5.0
    assert used == pytest.approx(expected["Q_to_2.5V_Ah"], rel=published.tolerance["rel_Q"])
    assert run.energy_wh == pytest.approx(expected["E_to_2.5V_Wh"], rel=published.tolerance["rel_Q"])
