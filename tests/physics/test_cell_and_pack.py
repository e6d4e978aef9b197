"""One cell and a pack: floats and arrays do the same arithmetic, exact updates are exact, bounds are named."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import OutOfRange
from schedgen.physics import pack as physics_pack
from schedgen.physics.cell import CellTables, Curves, charge_felt, decay, relaxation_mean, relaxed
from schedgen.physics.pack import (
    PackModel,
    Step,
    charge_from_rest,
    current_for_power,
    discharge,
    largest_current_share,
    rest_uncertainty,
    strings_left,
    terminal_voltage,
)

CURVES = Curves(
    charge=[0.0, 0.1, 0.5, 1.0],
    open_circuit_v=[2.8, 3.3, 3.7, 4.2],
    resistance_charge=[0.0, 0.5, 1.0],
    temperature_c=[-20.0, 0.0, 25.0],
    resistance_ohm=[[0.3, 0.12, 0.1], [0.15, 0.06, 0.05], [0.06, 0.024, 0.02]],
    relaxation_ohm=[[0.3, 0.12, 0.1], [0.1, 0.05, 0.04], [0.05, 0.02, 0.02]],
    time_constant_s=300.0,
    cold_c=[-20.0, 0.0, 25.0],
    cold_nominal=[0.9, 0.95, 1.0],
    cold_pessimistic=[0.6, 0.8, 1.0],
)
TABLES = CellTables(CURVES)
CHARGES = st.floats(0.0, 1.0)
WARMTH = st.floats(-40.0, 80.0)


@settings(deadline=None, max_examples=200)
@given(st.lists(st.tuples(CHARGES, WARMTH, st.floats(0.0, 1.0)), min_size=1, max_size=8))
def test_floats_and_arrays_agree_to_rounding(points: list[tuple[float, float, float]]) -> None:
    charge, warmth, pessimism = (np.array(column) for column in zip(*points, strict=True))
    many = TABLES.at(charge, warmth)
    cold = TABLES.cold_share(warmth, pessimism)
    for k, (z, t, p) in enumerate(points):
        for one, all_of_them in zip(TABLES.at(z, t), many, strict=True):
            assert isinstance(one, float)
            assert one == pytest.approx(all_of_them[k], rel=1e-14)
        assert TABLES.cold_share(t, p) == pytest.approx(cold[k], rel=1e-14)


POSITIVE = st.floats(1e-3, 50.0)


@settings(deadline=None, max_examples=200)
@given(st.floats(3.0, 30.0), st.floats(0.001, 1.0), st.floats(0.0, 200.0), st.floats(0.0, 5.0), st.floats(0.0, 1.0))
def test_the_voltage_under_load_obeys_its_own_equation(
    emf: float, ohm: float, watt: float, ampere: float, siemens: float
) -> None:
    volts, headroom = terminal_voltage(emf, ohm, watt, ampere, siemens)
    many, room = terminal_voltage(np.array([emf]), np.array([ohm]), np.array([watt]), np.array([ampere]), siemens)
    assert (many[0], room[0]) == pytest.approx((volts, headroom), rel=1e-13)
    if headroom > 0.0 and volts > 0.1:
        assert emf - ohm * (watt / volts + ampere + siemens * volts) == pytest.approx(volts, abs=1e-6)
    elif headroom < 0.0:
        assert volts == pytest.approx(0.5 * (emf - ohm * ampere) / (1.0 + ohm * siemens))


def test_a_power_that_cannot_be_fed_says_so_and_gives_the_greatest_instead() -> None:
    current, headroom = current_for_power(3.0, 1.0, 5.0)
    assert headroom < 0.0
    assert current * (3.0 - current) == pytest.approx(physics_pack.greatest_power(3.0, 1.0))


def test_relaxing_in_two_steps_is_relaxing_in_one() -> None:
    once = relaxed(0.01, 2.0, 0.03, decay(90.0, 300.0))
    twice = relaxed(relaxed(0.01, 2.0, 0.03, decay(40.0, 300.0)), 2.0, 0.03, decay(50.0, 300.0))
    assert twice == pytest.approx(once, rel=1e-14)


def test_the_mean_of_the_relaxation_is_its_integral() -> None:
    seconds = np.linspace(0.0, 600.0, 60001)
    fine = np.trapezoid(relaxed(np.full_like(seconds, 0.02), 1.5, 0.04, decay(seconds, 300.0)), seconds) / 600.0
    assert relaxation_mean(0.02, 1.5, 0.04, 600.0, 300.0) == pytest.approx(fine, rel=1e-9)


def test_the_tables_go_through_the_points_of_the_file() -> None:
    for charge, volts in zip(CURVES.charge, CURVES.open_circuit_v, strict=True):
        assert TABLES.open_circuit(charge) == pytest.approx(volts)
    for warmth, ohms in zip(CURVES.temperature_c, CURVES.resistance_ohm, strict=True):
        for charge, ohm in zip(CURVES.resistance_charge, ohms, strict=True):
            assert TABLES.resistance(charge, warmth) == pytest.approx(ohm)


def test_between_rows_the_resistance_is_linear_in_its_logarithm_and_goes_on_outside() -> None:
    assert TABLES.resistance(1.0, -10.0) == pytest.approx(math.sqrt(0.1 * 0.05))
    assert TABLES.resistance(1.0, 50.0) == pytest.approx(0.02 * 0.02 / 0.05)


@pytest.mark.parametrize(
    ("charge", "warmth"), [(-0.01, 20.0), (1.01, 20.0), (0.5, -41.0), (0.5, 81.0), (math.nan, 0.0)]
)
def test_outside_the_tables_the_bound_is_named(charge: float, warmth: float) -> None:
    for values in ((charge, warmth), (np.array([0.5, charge]), np.array([20.0, warmth]))):
        with pytest.raises(OutOfRange, match="charge 0 to 1 and -40 to 80 degC"):
            TABLES.at(*values)


def test_a_cold_cell_is_empty_early_and_full_when_full() -> None:
    assert charge_felt(1.0, 0.8) == 1.0
    assert charge_felt(0.2, 0.8) == pytest.approx(0.0)
    model = PackModel(TABLES, 1, 1, 5.0)
    assert model.at(0.2, 25.0, 0.8)[0] == pytest.approx(2.8)
    with pytest.raises(OutOfRange):
        model.at(0.19, 25.0, 0.8)


def test_a_pack_scales_voltage_and_resistance() -> None:
    one, many = PackModel(TABLES, 1, 1, 5.0).at(0.5, 0.0), PackModel(TABLES, 3, 5, 5.0, 1.5).at(0.5, 0.0)
    assert many == pytest.approx((3 * one[0], 1.5 * 3 / 5 * one[1], 1.5 * 3 / 5 * one[2]))


def test_the_reference_integrator_agrees_with_a_fine_independent_one() -> None:
    from scipy.integrate import solve_ivp

    model = PackModel(TABLES, 3, 2, 5.0)

    def slopes(_: float, y: np.ndarray) -> list[float]:
        ocv, ohm, slow = model.at(float(y[0]), 4.0)
        emf = ocv - y[1]
        amp = (emf - math.sqrt(emf * emf - 4 * ohm * 18.0)) / (2 * ohm)
        return [-amp / (3600 * 10.0), (amp * slow - y[1]) / 300.0]

    exact = solve_ivp(slopes, (0.0, 4 * 3600.0), [1.0, 0.0], rtol=1e-9, atol=1e-12, max_step=20.0)
    run = discharge(model, [Step(4 * 3600.0, power_w=18.0)], 4.0, step_s=10.0)
    assert run.charge[-1] == pytest.approx(exact.y[0, -1], abs=1e-5)
    assert run.energy_wh == pytest.approx(72.0, rel=1e-6)


def test_one_lost_string() -> None:
    assert strings_left(5) == 4
    with pytest.raises(OutOfRange, match="at least 1"):
        strings_left(1)


def test_currents_share_by_conductance() -> None:
    # by hand: 0.85 and twice 1.15 ohm: 1/0.85 of (1/0.85 + 2/1.15)
    assert largest_current_share(3, 0.15) == pytest.approx((1 / 0.85) / (1 / 0.85 + 2 / 1.15))
    with pytest.raises(OutOfRange, match=r"0 to 0\.5"):
        largest_current_share(3, 0.6)


def test_charge_from_a_rested_voltage_is_an_interval_around_the_table() -> None:
    low, nominal, high = charge_from_rest(TABLES, (11.08, 11.1, 11.12), 3, 7200.0, 5.0)
    assert nominal == pytest.approx(0.5)  # 3.7 V a cell
    assert low < nominal < high
    spread = rest_uncertainty(TABLES, 7200.0, 5.0, 0.005)
    assert spread == pytest.approx(0.005 + 2.5 * 0.02 * math.exp(-4.0))
    assert high - nominal == pytest.approx((0.02 / 3 + spread) / 1.0, rel=1e-6)  # 1 V a unit of charge there


def test_a_full_pack_that_rests_high_is_full_and_not_more() -> None:
    assert charge_from_rest(TABLES, (12.58, 12.6, 12.62), 3, 3600.0, 5.0)[1:] == (1.0, 1.0)


@pytest.mark.parametrize(("volts", "rested_s", "words"), [
    (13.2, 7200.0, "4.400 V a cell over 3 in series"), (6.0, 7200.0, "2.000 V a cell"),
    (11.1, 600.0, "at least 30 min"),
])  # fmt: skip
def test_a_rested_voltage_that_cannot_be_is_refused(volts: float, rested_s: float, words: str) -> None:
    with pytest.raises(OutOfRange, match=words):
        charge_from_rest(TABLES, (volts, volts, volts), 3, rested_s, 5.0)


@pytest.mark.parametrize("call", [
    lambda: physics_pack.label(0, 1, 5.0, 3.6), lambda: physics_pack.mean_power([]),
    lambda: physics_pack.affordable_power(17.0, 8.0, 0.0), lambda: physics_pack.parallel_for_capacity(0.0, 3.0),
])  # fmt: skip
def test_nonsense_is_refused(call: object) -> None:
    with pytest.raises(OutOfRange):
        call()  # type: ignore[operator]
