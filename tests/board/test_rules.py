"""Each rule of a board file, named after it: a shipped board with one fault must be refused at the fault's place."""

from __future__ import annotations

import pytest

from schedgen.board.load import board_from_tree, find_board
from schedgen.board.rules import WITH_PART, WITHOUT_PART
from schedgen.errors import FileProblems, Problem
from schedgen.files.tree import parse_tree


def problems_of(board: str, *changes: tuple[str, str]) -> list[Problem]:
    text = find_board(board).read_text(encoding="utf-8")
    for old, new in changes:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    with pytest.raises(FileProblems) as caught:
        board_from_tree(parse_tree(text, "my board.yaml"))
    return list(caught.value.problems)


def only(board: str, *changes: tuple[str, str]) -> Problem:
    found = problems_of(board, *changes)
    assert len(found) == 1, [problem.message for problem in found]
    return found[0]


def under(problem: Problem) -> str:
    """What stands under the caret, to the next comma, brace or end."""
    rest = problem.source[problem.column - 1 :]
    for stop in ",}:":
        rest = rest.split(stop)[0]
    return rest.strip()


def test_every_rule_of_the_module_has_a_test_of_its_name() -> None:
    names = {rule.__name__ for rule in (*WITHOUT_PART, *WITH_PART)}
    assert names <= {name.removeprefix("test_") for name in globals()}


def test_two_functions_on_a_pin() -> None:
    problem = only("halyard-4809", ("OUT2: {pin: PA5,", "OUT2: {pin: PA4,"))
    assert "PA4 is output OUT2 and output OUT1" in problem.message
    assert (under(problem), problem.next) == ("PA4", "Give one of the two another pin.")


def test_two_functions_on_a_pin_are_found_between_any_two_keys() -> None:
    assert "water_contact and pack_sense" in only("halyard-4809", ("contact: {pin: PD4", "contact: {pin: PD3")).message
    assert "serial receive and bench_lead" in only("cleat-328p", ("receive: PD0", "receive: PD4")).message


def test_pin_the_part_lacks() -> None:
    problem = only("thole-1608", ("light: {pin: PA2", "light: {pin: PC7"))
    assert "ATmega1608 has no pin PC7" in problem.message
    assert under(problem) == "PC7"
    assert "PC0 to PC3" in problem.expected


def test_the_reset_pin_cannot_drive_an_output() -> None:
    problem = only("thole-1608", ("OUT3: {pin: PA6", "OUT3: {pin: PF6"))
    assert "reset pin" in problem.message
    assert under(problem) == "PF6"


def test_level_without_timer() -> None:
    # ATmega4809: PA7 carries no timer output (data sheet pinout, from memory)
    problem = only("halyard-4809", ("PWM1: {pin: PD0", "PWM1: {pin: PD7"))
    assert "No timer of the ATmega4809 can drive pin PD7" in problem.message
    assert under(problem) == "PD7"


def test_a_timer_that_does_not_reach_the_pin() -> None:
    problem = only("cleat-328p", ("pin: PB1, kind: level", "pin: PB3, kind: level"))
    assert "TC1 cannot drive pin PB3" in problem.message
    assert problem.expected == "TC2"
    assert under(problem) == "TC1"


def test_a_level_needs_timer_and_frequency_and_nothing_else_has_them() -> None:
    found = problems_of("halyard-4809", ("limit: 5 A, timer: TCA0, frequency: 500 Hz", "limit: 5 A"))
    assert [problem.message for problem in found] == [
        "Level output PWM1 has no timer.", "Level output PWM1 has no frequency.",
    ]  # fmt: skip
    problem = only("halyard-4809", ("rail: five, limit: 500 mA}", "rail: five, limit: 500 mA, frequency: 1 kHz}"))
    assert "OUT3 is switched; frequency means nothing" in problem.message


def test_timers_that_clash() -> None:
    problem = only(
        "halyard-4809", ("limit: 1 A, timer: TCA0, frequency: 500 Hz", "limit: 1 A, timer: TCA0, frequency: 1 kHz")
    )
    assert "PWM2 wants 1 kHz and PWM1 500 Hz, but both hang on TCA0" in problem.message
    assert under(problem) == "1 kHz"


def test_one_timer_cannot_be_led_to_two_ports() -> None:
    problem = only("halyard-4809", ("PWM2: {pin: PD1", "PWM2: {pin: PE1"))
    assert "TCA0 can be led to one port only" in problem.message
    assert under(problem) == "PE1"


def test_the_timer_of_the_clock_is_not_free() -> None:
    problem = only(
        "cleat-328p",
        ("pin: PB1, kind: level", "pin: PB3, kind: level"),
        ("timer: TC1, frequency: 500 Hz}\n  PWM2", "timer: TC2, frequency: 500 Hz}\n  PWM2"),
    )
    assert "TC2, which keeps time" in problem.message


def test_no_adc_on_pin() -> None:
    problem = only("cleat-328p", ("pack_sense: {pin: PC0", "pack_sense: {pin: PB3"))
    assert "PB3 of the ATmega328P has no analogue input" in problem.message
    assert "PC0" in problem.expected


def test_release_without_pull() -> None:
    problem = only("thole-1608", ("kind: release, active: high, pull: down", "kind: release, active: high, pull: none"))
    assert "REL1 has no pull" in problem.message
    assert problem.example == "pull: down"
    assert under(problem) == "none"


def test_release_without_pull_is_seen_when_the_key_is_left_out() -> None:
    problem = only("thole-1608", ("kind: release, active: high, pull: down,", "kind: release, active: low,"))
    assert problem.example == "pull: up"
    assert under(problem) == "REL1"


def test_unknown_rail() -> None:
    problem = only("halyard-4809", ("rail: five, limit: 3.5 A", "rail: fife, limit: 3.5 A"))
    assert 'no rail "fife". Did you mean "five"?' in problem.message
    assert under(problem) == "fife"


def test_rail_that_cannot_be() -> None:
    assert "needs efficiency" in only("halyard-4809", ("efficiency: 87 % .. 93 %, ", "")).message
    wrong = only("thole-1608", ("pack:  {kind: direct", "pack:  {kind: linear, voltage: 5 V"))
    assert "and no other, is direct" in wrong.message
    boost = only("cleat-328p", ("input: 4.5 V .. 12.6 V", "input: 4.5 V .. 16 V"))
    assert "boosts to 14 V but its input goes up to 16 V" in boost.message


def test_the_rail_named_pack_must_be_there() -> None:
    messages = [problem.message for problem in problems_of("thole-1608", ("  pack:  {kind: direct, limit: 8 A}\n", ""))]
    assert "The rail pack is missing." in messages


def test_too_many_outputs() -> None:
    extra = "  REL2: {pin: PC1, kind: release, active: high, pull: down, rail: pack, limit: 3 A}\n"
    more = "  OUT9: {pin: PF2, kind: switched, active: high, rail: pack, limit: 1 A}\n"
    problem = only("halyard-4809", (extra, extra + more))
    assert "9 outputs; format 1 has at most 8" in problem.message
    assert under(problem) == "OUT9"


def test_sense_out_of_range() -> None:
    problem = only("halyard-4809", ("top: 680 kohm", "top: 330 kohm"))
    assert "At 17 V the divider gives 3.95 V, above the reference 2.5 V" in problem.message  # 17 * 100 / 430


def test_clock_that_cannot_be() -> None:
    assert "needs curvature" in only("thole-1608", (", curvature: -0.034 ppm/K2 ± 15 %", "")).message
    crystal = (
        ("clock: {kind: crystal", "clock: {kind: rc"),
        (", turnover: 25 degC ± 5 degC, curvature: -0.034 ppm/K2 ± 15 %", ""),
    )
    assert "needs over_temperature" in only("thole-1608", *crystal).message
    assert "turnover means nothing" in problems_of("thole-1608", crystal[0])[1].message


def test_crystal_of_another_frequency() -> None:
    problem = only("thole-1608", ("frequency: 32.768 kHz", "frequency: 100 kHz"))
    assert (problem.expected, under(problem)) == ("32.768 kHz", "100 kHz")


def test_supply_too_low_for_the_controller() -> None:
    problem = only("thole-1608", ("voltage: 5.5 V .. 17 V", "voltage: 3.4 V .. 17 V"))
    assert "may fall to 3.4 V, but the controller's rail logic needs 3.6 V" in problem.message


def test_a_frequency_out_of_reach_of_the_timers() -> None:
    problem = only("cleat-328p", ("timer: TC1, frequency: 500 Hz}\n  PWM2", "timer: TC1, frequency: 60 kHz}\n  PWM2"))
    assert "must be at most 25000 Hz" in problem.message


def test_crystal_pins_taken() -> None:
    assert "crystal clock needs it" in only("cleat-328p", ("light: {pin: PB0", "light: {pin: PB6")).message


def test_eeprom_of_another_size() -> None:
    problem = only("thole-1608", ("eeprom: {size: 256 B}", "eeprom: {size: 1 kB}"))
    assert "256 bytes of EEPROM, not 1000" in problem.message


def test_a_part_that_is_not_known_gets_a_guess() -> None:
    problem = only("halyard-4809", ("part: ATmega4809", "part: ATmega4890"))
    assert 'Did you mean "ATmega4809"?' in problem.message or 'Did you mean "ATmega4808"?' in problem.message


def test_unknown_keys_get_a_guess_at_their_place() -> None:
    problem = only("halyard-4809", ("water_contact:", "water_contacts:"))
    assert 'Did you mean "water_contact"?' in problem.message
    assert (problem.column, under(problem)) == (1, "water_contacts")


def test_all_problems_come_at_once_sorted_by_line() -> None:
    found = problems_of(
        "halyard-4809", ("OUT2: {pin: PA5,", "OUT2: {pin: PA4,"), ("top: 680 kohm", "top: 330 kohm"),
        ("eeprom: {size: 256 B}", "eeprom: {size: 512 B}"),
    )  # fmt: skip
    assert len(found) == 3
    assert [problem.line for problem in found] == sorted(problem.line for problem in found)
    assert all(problem.file == "my board.yaml" and problem.source for problem in found)


def test_a_pin_that_is_no_pin_says_what_to_write() -> None:
    problem = only("halyard-4809", ("bench_lead: {pin: PD5", "bench_lead: {pin: pd5"))
    assert (problem.next, under(problem)) == ("Write PD5.", "pd5")
