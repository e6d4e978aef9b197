"""What counts after damage or a fault, and what happens at the second of the first firing: one test for each rule."""

from __future__ import annotations

from dataclasses import replace

import pytest
from host_rig import HOUR, Rig
from settings_dives import window
from test_interlocks import AT, END, FIRE, LATEST, PAUSE, TRIES, dive, faults_of, first_firing, state_of

from schedgen.firmware.host import BROWN_OUT, POWER, WATCHDOG
from schedgen.link.frames import crc16
from schedgen.plan.model import Firing, ShiftRelease
from schedgen.settings.code import code_number
from schedgen.settings.encode import encode
from schedgen.settings.slot import pack_slot

BACKUP = Firing("REL2", LATEST, FIRE, TRIES, PAUSE)


# --- the clock


def test_a_crystal_that_failed_once_in_a_dive_is_not_trusted_again(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, limits={"latest_s": 3 * HOUR}))
    halyard.host.clock_failed()
    halyard.host.seconds(HOUR // 2)
    halyard.host.boot(WATCHDOG, 1)
    assert "clock" in faults_of(halyard)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert fired <= 3 * HOUR * 9 // 10


def test_a_crystal_that_does_not_start_after_a_reset_shortens_what_is_left(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, limits={"latest_s": 3 * HOUR}))
    halyard.host.seconds(HOUR - 60)
    halyard.host.boot(WATCHDOG, 1, clock_ok=False)
    assert "clock" in faults_of(halyard)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert HOUR + 2 * HOUR * 7 // 8 - 10 <= fired <= HOUR + 2 * HOUR * 9 // 10


# --- what counts


@pytest.mark.parametrize("started", [False, True])
def test_what_was_stood_down_stays_so_where_the_record_is_damaged_later(halyard: Rig, started: bool) -> None:
    _, block = dive(halyard, "command")
    halyard.load(block)
    halyard.arm(block)
    if started:
        halyard.begin(*dive(halyard, "command"))
        halyard.host.host.wet = 0
        halyard.host.seconds(30)
    halyard.press(3, 5.5)
    halyard.host.poke(halyard.row + 5, bytes((halyard.host.memory[halyard.row + 5] ^ 1,)))
    halyard.host.boot(POWER)
    assert state_of(halyard) == "on bench"


def test_a_record_of_another_layout_arms_nothing(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    record = bytearray(halyard.essentials(block))
    record[0] ^= 0x40  # the version is the first three bits
    record[-2:] = crc16(bytes(record[:-2])).to_bytes(2, "big")
    halyard.host.poke(halyard.row, bytes(record))
    halyard.host.boot()
    assert halyard.identify().number("armed") == 0


def test_settings_for_another_board_do_not_count(halyard: Rig) -> None:
    plan, _ = dive(halyard)
    other = encode(replace(plan, board_type=plan.board_type ^ 1), halyard.names).block
    halyard.load(other)
    assert halyard.identify().number("active") == 255


def test_settings_that_fire_an_output_that_is_no_release_do_not_count(halyard: Rig) -> None:
    plan, block = dive(halyard, primary=None)
    wrong = encode(replace(plan, primary=Firing("OUT4", AT, FIRE, TRIES, PAUSE)), halyard.names).block
    halyard.load(wrong)
    assert halyard.identify().number("active") == 255
    halyard.load(block)
    assert halyard.identify().number("active") != 255


def test_settings_whose_tries_last_no_time_do_not_count(halyard: Rig) -> None:
    ones = [dive(halyard, primary=Firing("REL1", AT, fire, TRIES, PAUSE))[1] for fire in (1, 2, 3)]
    none = bytes(a ^ b ^ c for a, b, c in zip(*ones, strict=True))  # 1 ^ 2 ^ 3 is 0, and all else is alike
    halyard.load(none)
    assert halyard.identify().number("active") == 255
    halyard.load(ones[0])
    assert halyard.identify().number("active") != 255


def test_the_newer_of_two_slots_counts_over_the_turn_of_the_sequence(halyard: Rig) -> None:
    _, one = dive(halyard)
    _, two = dive(halyard, limits={"latest_s": 5 * HOUR})
    for first, second, counts in ((1, 2, 1), (2, 1, 0), (255, 0, 1), (0, 255, 0)):
        halyard.host.clear(pack_slot(first, one))
        halyard.host.poke(halyard.layout.slot_b, pack_slot(second, two))
        halyard.host.boot()
        assert halyard.identify().number("active") == counts, (first, second)


# --- the second of the first firing


def test_nothing_is_cut_at_the_planned_release_while_it_is_held(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(AT - 100 - 60)
    halyard.host.host.lead = 1
    for _ in range(10):
        halyard.identify()
        halyard.host.seconds(30)
    assert halyard.host.host.second - zero > AT
    assert halyard.levels()["OUT3"] == 100, "the lamp goes on to 600 s after the release, or its first try"


def test_what_the_first_firing_cuts_is_off_before_the_release_is_on(halyard: Rig) -> None:
    early = window("early", "PWM1", 60, AT + 100)
    halyard.begin(*dive(halyard, more=[early]))
    halyard.host.seconds(AT - 1 - 60)
    halyard.host.edges()
    halyard.host.seconds(1)
    edges = [(halyard.names[edge.output], edge.level > 0) for edge in halyard.host.edges()]
    off = [place for place, (_, on) in enumerate(edges) if not on]
    on = [place for place, (_, on) in enumerate(edges) if on]
    assert {name for name, on in edges if not on} == {"OUT3", "PWM1"}
    assert ("REL1", True) in edges
    assert max(off) < min(on)


def test_the_end_comes_earlier_by_as_much_as_an_early_firing(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(2 * HOUR + 600 - 60)
    halyard.host.host.pack_mv = 8000
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert fired < AT - HOUR
    end = END - (AT - fired)
    halyard.host.seconds(end - 10 - (halyard.host.host.second - zero))
    assert state_of(halyard) != "over"
    halyard.host.seconds(20)
    assert state_of(halyard) == "over"
    assert first_firing(halyard, zero, END + 10 * HOUR) is None


def test_where_the_backup_is_the_only_release_low_voltage_asks_for_it(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, primary=None, backup=BACKUP))
    halyard.host.seconds(2 * HOUR + 600 - 60)
    halyard.host.host.pack_mv = 8000
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert fired <= 2 * HOUR + 600 + 200


def test_low_voltage_does_not_fire_the_backup_beside_the_primary(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, backup=BACKUP))
    halyard.host.seconds(2 * HOUR + 600 - 60)
    halyard.host.host.pack_mv = 8000
    halyard.host.edges()
    halyard.host.seconds(LATEST - 10 - (halyard.host.host.second - zero))
    fired = {halyard.names[edge.output] for edge in halyard.host.edges() if edge.level}
    assert "REL1" in fired
    assert "REL2" not in fired


# --- the light


def test_a_word_under_way_at_the_splash_is_cut_short(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.arm(block)
    halyard.host.host.wet = 1
    halyard.host.seconds(57)
    halyard.press(1, 0.9)  # one long, and the code's first digit
    halyard.host.seconds(2)
    assert state_of(halyard) == "descending"
    blinks = halyard.host.host.blinks
    for _ in range(10):
        halyard.host.seconds(1)
        assert halyard.host.host.lit == 0
    assert halyard.host.host.blinks == blinks


def test_the_fault_word_speaks_in_the_hold_and_of_a_lost_record(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    quiet = halyard.host.host.blinks
    halyard.host.boot(BROWN_OUT, 1)
    halyard.host.seconds(30)
    assert halyard.host.host.blinks == quiet
    halyard.host.boot(POWER)
    halyard.host.seconds(35)
    assert halyard.host.host.blinks >= quiet + 16, "words of eight short blinks"
    halyard.host.seconds(900)
    dark = halyard.host.host.blinks
    halyard.host.seconds(100)
    assert halyard.host.host.blinks == dark


def test_the_words_for_armed_and_for_a_fault_before_the_start_are_told_apart(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.arm(block)
    halyard.host.seconds(20)
    before = halyard.host.host.blinks
    halyard.host.seconds(10)
    assert halyard.host.host.blinks == before + 1
    halyard.host.poke(halyard.row + 5, bytes((halyard.host.memory[halyard.row + 5] ^ 1,)))
    halyard.host.boot(WATCHDOG, 1)
    halyard.host.seconds(20)
    before = halyard.host.host.blinks
    halyard.host.seconds(10)
    assert halyard.host.host.blinks == before + 8


def blinks_of(rig: Rig, which: int) -> int:
    """Blinks in the 8 s from a short press on, which begins right after the light's own word."""
    host = rig.host.host
    rig.host.seconds(15)
    before = host.blinks
    while host.blinks == before:
        rig.host.seconds(1)
    before = host.blinks
    rig.press(which, 0.4)
    rig.host.seconds(7)
    return host.blinks - before


def test_a_press_says_armed_and_the_codes_first_digit(halyard: Rig) -> None:
    seen = set()
    for latest in range(LATEST, LATEST + 8):
        _, block = dive(halyard, limits={"latest_s": latest})
        halyard.load(block)
        halyard.arm(block)
        digit = code_number(block) >> 25
        seen.add(digit)
        assert blinks_of(halyard, 1) == 1 + digit // 8 + digit % 8
    assert len(seen) > 4


def test_arming_itself_says_so(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    before = halyard.host.host.blinks
    halyard.arm(block)
    halyard.host.seconds(1)
    assert halyard.host.host.blinks > before


def test_a_change_that_is_made_and_one_that_is_refused_are_told_apart(halyard: Rig) -> None:
    changes = (ShiftRelease(600, 0, 2),)
    _, block = dive(halyard, field_changes=changes, allowed_changes=(True, True, False))
    halyard.load(block)
    halyard.arm(block)
    assert blinks_of(halyard, 1) == 2, "the second of its values"
    assert blinks_of(halyard, 3) == 2 + 2, "two long, and the number of the combination"
    assert blinks_of(halyard, 1) == 3
    assert blinks_of(halyard, 3) == 8, "not offered"
