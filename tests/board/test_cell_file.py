"""A cell file that cannot be is refused with the bound and the place."""

from __future__ import annotations

import pytest

from schedgen.board.cell import Cell
from schedgen.board.load import cell_names, library_text, load_cell
from schedgen.errors import FileProblems, Problem
from schedgen.files.bind import bind
from schedgen.files.quantity import Quantity
from schedgen.files.tree import parse_tree

SMALL = """format: 1
cell: small
chemistry: nmc
size: "14500"
capacity: 800 mAh
nominal: 3.6 V
cut_off: 2.5 V
full: 4.2 V
rated_current: 2 A
rated_current_by_temperature: {0 degC: 1 A, 20 degC: 2 A}
rated_temperature: -10 degC .. 50 degC
mass: 20 g
diameter: 14 mm
length: 50 mm
resistance_spread: 10 %
self_discharge: 2 %
open_circuit:
  source: a test
  charge_percent: [0, 50, 100]
  volts: [2.9, 3.7, 4.2]
resistance:
  source: a test
  charge_percent: [0, 100]
  milliohms:
    25 degC: [100, 80]
    0 degC: [200, 160]
relaxation:
  source: a test
  time_constant: 60 s
  charge_percent: [0, 100]
  milliohms:
    0 degC: [100, 80]
    25 degC: [50, 40]
cold_capacity:
  source: a test
  rows:
    0 degC: {nominal: 95 %, pessimistic: 80 %}
    25 degC: {nominal: 100 %, pessimistic: 100 %}
"""


def cell(text: str = SMALL) -> Cell:
    return bind(Cell, parse_tree(text, "small.yaml"))[0]


def refused(old: str, new: str) -> Problem:
    assert SMALL.count(old) == 1, old
    with pytest.raises(FileProblems) as caught:
        cell(SMALL.replace(old, new))
    assert len(caught.value.problems) == 1, [problem.message for problem in caught.value.problems]
    return caught.value.problems[0]


def test_a_table_that_does_not_fall_with_charge_is_refused_at_the_number() -> None:
    problem = refused("[2.9, 3.7, 4.2]", "[2.9, 3.7, 3.6]")
    assert problem.message == ("The open-circuit voltage does not fall with charge: 3.6 V at 100 % but 3.7 V at 50 %.")
    assert problem.expected == "above 3.7 V"
    assert (problem.line, problem.column) == (20, 21)


def test_a_flat_table_is_refused_too() -> None:
    assert "does not fall" in refused("[2.9, 3.7, 4.2]", "[3.7, 3.7, 4.2]").message


def test_charges_rise_from_0_to_100() -> None:
    assert "run from 10 to 100" in refused("charge_percent: [0, 50, 100]", "charge_percent: [10, 50, 100]").message
    problem = refused("charge_percent: [0, 50, 100]", "charge_percent: [0, 50, 50, 100]")
    assert "50 stands after 50" in problem.message
    assert (problem.line, problem.column) == (19, 27)


def test_each_charge_has_its_number() -> None:
    assert "2 numbers here for 3 charges" in refused("[2.9, 3.7, 4.2]", "[2.9, 4.2]").message
    problem = refused("25 degC: [100, 80]", "25 degC: [100, 90, 80]")
    assert "3 numbers here for 2 charges" in problem.message
    assert problem.line == 25


def test_resistances_are_above_0() -> None:
    problem = refused("[200, 160]", "[200, -160]")
    assert "-160 milliohm cannot be" in problem.message
    assert (problem.line, problem.column) == (26, 19)


def test_rows_that_are_too_steep_are_refused() -> None:
    problem = refused(
        "    25 degC: [100, 80]\n    0 degC: [200, 160]", "    25 degC: [0.001, 80]\n    0 degC: [2000, 160]"
    )
    assert "too steep" in problem.message
    assert problem.line == 24


def test_numbers_are_numbers() -> None:
    assert '"4,2" is not a number' in refused("[2.9, 3.7, 4.2]", '[2.9, 3.7, "4,2"]').message
    assert "is not a number" in refused("[2.9, 3.7, 4.2]", "[2.9, 3.7, .nan]").message


def test_rows_are_keyed_by_temperature() -> None:
    assert refused("    25 degC: [100, 80]", "    25: [100, 80]").line == 25


def test_both_resistances_stand_on_one_grid() -> None:
    assert "differ in their charges or temperatures" in refused("25 degC: [50, 40]", "20 degC: [50, 40]").message


def test_a_full_cell_does_not_rest_above_its_charging_voltage() -> None:
    problem = refused("[2.9, 3.7, 4.2]", "[2.9, 3.7, 4.25]")
    assert "above its charging voltage 4.2 V" in problem.message
    assert (problem.line, problem.column) == (20, 21)


def test_voltages_rise_from_cut_off_to_full() -> None:
    assert "cut_off 3.7 V, nominal 3.6 V" in refused("cut_off: 2.5 V", "cut_off: 3.7 V").message


def test_the_pessimistic_cold_is_not_above_the_nominal() -> None:
    problem = refused("0 degC: {nominal: 95 %, pessimistic: 80 %}", "0 degC: {nominal: 75 %, pessimistic: 80 %}")
    assert problem.expected == "at most 75 %"
    assert problem.column == 42
    assert "cannot be" in refused("nominal: 95 %, pessimistic: 80 %", "nominal: 95 %, pessimistic: 0 %").message


def test_a_resistance_spread_has_a_bound() -> None:
    assert refused("resistance_spread: 10 %", "resistance_spread: 60 %").expected == "0 % to 50 %"


def test_rows_come_in_order_of_temperature_whatever_the_file() -> None:
    assert list(cell().resistance.milliohms) == [0.0, 25.0]
    assert cell().tables.resistance(1.0, 0.0) == pytest.approx(0.160)
    assert cell().tables.resistance(0.5, 25.0) == pytest.approx(0.090)


def test_rated_current_over_temperature() -> None:
    assert [cell().rated_current_at(warmth) for warmth in (-10.0, 10.0, 40.0)] == [1.0, 1.5, 2.0]
    without = SMALL.replace("rated_current_by_temperature: {0 degC: 1 A, 20 degC: 2 A}\n", "")
    assert cell(without).rated_current_at(-10.0) == 2.0


@pytest.mark.parametrize("name", cell_names())
def test_every_table_of_the_library_has_a_source_and_falls(name: str) -> None:
    found = load_cell(name)
    for table in (found.open_circuit, found.resistance, found.relaxation, found.cold_capacity):
        assert len(table.source) > 20
    assert found.open_circuit.volts[0] > found.cut_off.nominal
    ohms = [found.tables.resistance(0.5, warmth) for warmth in (-20.0, 0.0, 25.0, 45.0)]
    assert ohms == sorted(ohms, reverse=True)


def test_the_flat_plateau_of_lfp_makes_a_rested_voltage_say_little() -> None:
    def width(name: str, volts: float) -> float:
        share = load_cell(name).charge_from_rest(Quantity(3 * volts - 0.02, 3 * volts, 3 * volts + 0.02), 3, 7200.0)
        assert share.low < share.nominal < share.high
        return share.high - share.low

    assert width("nmc-21700-5000", 3.75) < 0.06
    assert width("lfp-26650-3300", 3.29) > 0.25


def test_a_cell_file_printed_by_the_library_can_be_read_again() -> None:
    for name in cell_names():
        assert cell(library_text(name)).cell == name
