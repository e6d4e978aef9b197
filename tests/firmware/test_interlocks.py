"""What keeps the release from firing, and what makes it fire: one test for each, so that none can go unnoticed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from host_rig import HOUR, Rig
from settings_dives import make_plan, window

from schedgen.firmware.host import BROWN_OUT, POWER, SOFTWARE, WATCHDOG
from schedgen.link.frames import crc16
from schedgen.link.messages import FAULTS, STATES, Values
from schedgen.plan.model import ChooseLevel, Firing, Interlocks, Plan, ShiftRelease
from schedgen.settings.code import code_number
from schedgen.settings.encode import encode
from schedgen.settings.slot import pack_slot

AT, NOT_BEFORE, LATEST, END = 4 * HOUR, 2 * HOUR, 6 * HOUR, 20 * HOUR
FIRE, TRIES, PAUSE = 100, 3, 50


def dive(rig: Rig, trigger: str = "water", **changes: Any) -> tuple[Plan, bytes]:
    """Camera from 60 s on for an hour, beacon from release until the pack is empty, release at 4 h."""
    windows = [
        window("camera", "OUT1", 60, HOUR),
        replace(window("beacon", "OUT2", AT, None), start_moves=True),
        window("lamp", "OUT3", AT - 600, AT + 600),
        *changes.pop("more", []),
    ]
    limits = changes.pop("limits", {})
    interlocks = Interlocks(NOT_BEFORE, LATEST, False, 3.1, 2.9, 3, ("OUT2",))
    plan = make_plan(
        windows,
        AT,
        END,
        trigger=trigger,
        board_type=rig.board.board_type,
        primary=Firing("REL1", AT, FIRE, TRIES, PAUSE),
        backup=None,
        interlocks=replace(interlocks, **limits),
    )
    plan = replace(plan, **changes)
    return plan, encode(plan, rig.names, round(rig.board.eeprom.size.nominal)).block


def first_firing(rig: Rig, zero: int, until: int, frames_every: int = 0) -> int | None:
    """Elapsed second at which a release output first goes on, None where it does not before `until`."""
    rig.host.edges()
    while rig.host.host.second - zero < until:
        rig.host.seconds(min(frames_every or 600, until - (rig.host.host.second - zero)))
        if frames_every:
            rig.identify()
        for edge in rig.host.edges():
            if rig.names[edge.output].startswith("REL") and edge.level:
                return edge.second - zero
    return None


def state_of(rig: Rig) -> str:
    return STATES[rig.identify().number("state")]


def faults_of(rig: Rig) -> set[str]:
    bits = rig.identify().number("faults")
    return {name for bit, name in enumerate(FAULTS) if bits >> bit & 1}


# --- when it fires


def test_it_fires_at_the_planned_second(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    assert first_firing(halyard, zero, END) == AT


def test_it_fires_by_latest_whatever_else_is_planned(halyard: Rig) -> None:
    plan, block = dive(halyard, limits={"latest_s": 3 * HOUR})
    assert first_firing(halyard, halyard.begin(plan, block), END) == 3 * HOUR


def test_without_a_primary_the_backup_fires_at_latest(halyard: Rig) -> None:
    backup = Firing("REL2", LATEST, FIRE, TRIES, PAUSE)
    zero = halyard.begin(*dive(halyard, primary=None, backup=backup))
    assert first_firing(halyard, zero, END) == LATEST


def test_it_never_fires_before_not_before_even_with_an_empty_pack(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.host.pack_mv = 8000
    assert first_firing(halyard, zero, END) == NOT_BEFORE


def test_nothing_fires_after_the_end(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, "command", limits={"without_water": False}))
    halyard.host.host.wet = 0
    halyard.host.seconds(END)
    halyard.host.host.wet = 1  # the latch comes too late
    assert first_firing(halyard, zero, END + 20 * HOUR) is None


def test_a_board_that_is_not_armed_fires_nothing(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.host.host.wet = 1
    assert first_firing(halyard, halyard.host.host.second, END) is None


# --- water


def test_a_water_start_needs_a_minute_without_a_break(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.arm(block)
    for _ in range(5):
        halyard.host.host.wet = 1
        halyard.host.seconds(59)
        halyard.host.host.wet = 0
        halyard.host.seconds(1)
    assert state_of(halyard) == "armed"
    halyard.host.host.wet = 1
    halyard.host.seconds(60)
    assert (state_of(halyard), halyard.elapsed) == ("descending", 60)


def test_without_a_wet_minute_it_never_fires(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, "command"))
    halyard.host.host.wet = 0
    for _ in range(2 * HOUR // 60):
        halyard.host.seconds(1)
        halyard.host.host.wet = 1
        halyard.host.seconds(59)
        halyard.host.host.wet = 0
    assert first_firing(halyard, zero, END) is None


def test_dry_readings_block_nothing_after_the_wet_minute(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.host.wet = 0
    assert first_firing(halyard, zero, END) == AT


def test_without_water_fires_without_a_wet_minute(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, "command", limits={"without_water": True}))
    halyard.host.host.wet = 0
    assert first_firing(halyard, zero, END) == AT


def test_a_wet_minute_before_the_start_does_not_count(halyard: Rig) -> None:
    _, block = dive(halyard, "command")
    halyard.load(block)
    halyard.arm(block)
    halyard.host.host.wet = 1
    halyard.host.seconds(100)
    halyard.ask("start", code=code_number(block))
    zero = halyard.host.host.second
    halyard.host.seconds(30)
    halyard.host.host.wet = 0
    assert first_firing(halyard, zero, END) is None


# --- bench lead and hold


def test_the_bench_lead_with_frames_holds_it_and_fifteen_minutes_more(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.host.lead = 1
    assert first_firing(halyard, zero, LATEST + HOUR, frames_every=30) is None
    halyard.host.host.lead = 0
    gone = halyard.host.host.second - zero
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert fired == gone + 900


def test_a_flooded_detect_pin_alone_holds_nothing(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.host.lead = 1
    assert first_firing(halyard, zero, END) == AT


def test_on_deck_the_lead_holds_it_without_frames(halyard: Rig) -> None:
    plan, block = dive(halyard, "command", limits={"without_water": True, "not_before_s": 0})
    plan = replace(plan, events={k: v for k, v in plan.events.items() if k != "bottom"})
    zero = halyard.begin(plan, block)
    halyard.host.host.wet = 0
    halyard.host.host.lead = 1
    # the bottom, 4321 s and so 73 min, has not passed: the pack is empty, and it is still on deck
    halyard.host.host.pack_mv = 8000
    assert first_firing(halyard, zero, 4300) is None


def test_a_try_stops_when_the_lead_is_plugged_in_and_counts(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(AT + 10 - 60)
    assert halyard.levels()["REL1"] == 100
    halyard.host.host.lead = 1
    halyard.identify()
    halyard.host.seconds(2)
    assert halyard.levels()["REL1"] == 0
    halyard.host.host.lead = 0
    assert first_firing(halyard, zero, END) is not None
    assert halyard.host.host.second - zero > AT + 900


# --- voltage


def test_low_voltage_asks_for_the_release_after_three_minutes(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(3 * HOUR - 60)
    halyard.host.host.pack_mv = 8690
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert 3 * HOUR + 170 <= fired <= 3 * HOUR + 200


def test_two_minutes_of_low_voltage_ask_for_nothing(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(3 * HOUR - 60)
    for _ in range(6):
        halyard.host.host.pack_mv = 8000
        halyard.host.seconds(160)
        halyard.host.host.pack_mv = 12_000
        halyard.host.seconds(20)
    assert first_firing(halyard, zero, END) == AT


def test_a_reading_under_a_volt_a_cell_is_a_broken_sensor(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR + 600)
    halyard.host.host.pack_mv = 2990
    halyard.host.seconds(600)
    assert "sense" in faults_of(halyard)
    assert first_firing(halyard, zero, END) == AT


def test_voltage_is_not_judged_while_anything_that_may_be_shed_is_on(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.host.pack_mv = 9000  # under shed, over release_below
    halyard.host.seconds(HOUR - 200)
    assert halyard.levels()["OUT1"] == 100
    halyard.host.seconds(500)
    assert state_of(halyard) == "surface only"


def test_shedding_leaves_the_beacon_and_the_release(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    halyard.host.host.pack_mv = 9000
    halyard.host.seconds(AT + 10 - HOUR - 60)
    assert halyard.levels() | {"PWM1": 0} == {**dict.fromkeys(halyard.names, 0), "OUT2": 100, "REL1": 100}
    assert halyard.host.host.second - zero == AT + 10


# --- resets


@pytest.mark.parametrize("cause", [BROWN_OUT, WATCHDOG, SOFTWARE])
def test_a_reset_without_loss_of_power_resumes_at_once(halyard: Rig, cause: int) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(AT - 30 - 60)
    halyard.host.boot(cause, 1)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert AT <= fired + 8 <= AT + 70


def test_a_power_on_reset_holds_it_for_fifteen_minutes(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(AT - 10 - 60)
    halyard.host.boot(POWER)
    assert "hold" in faults_of(halyard)
    fired = first_firing(halyard, zero, END)
    assert fired == AT - 10 + 900
    assert "hold" not in faults_of(halyard)


def test_a_power_on_reset_asks_the_contact_again(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(AT + HOUR)
    halyard.host.host.wet = 0  # in the workshop
    halyard.host.boot(POWER)
    assert first_firing(halyard, zero, END + 24 * HOUR) is None


def test_after_a_power_on_reset_a_dry_board_fires_nothing_that_was_still_to_come(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(AT - 60 - 60)
    halyard.host.host.wet = 0
    halyard.host.boot(POWER)
    assert first_firing(halyard, zero, END + HOUR) is None


def test_in_the_hold_the_buttons_stand_it_down(cleat: Rig) -> None:
    plan, block = dive(cleat, "command", backup=None, limits={"keep": ("OUT2",)})
    zero = cleat.begin(plan, block)
    cleat.host.seconds(AT - 10)
    cleat.host.boot(POWER)
    cleat.host.seconds(10)
    cleat.press(3, 5.5)
    assert state_of(cleat) == "on bench"
    assert first_firing(cleat, zero, END) is None


def test_a_watchdog_reset_does_not_end_the_hold(cleat: Rig) -> None:
    zero = cleat.begin(*dive(cleat, "command"))
    cleat.host.seconds(AT + 60)
    cleat.host.boot(POWER)
    cleat.host.seconds(60)
    cleat.host.boot(WATCHDOG, 1)
    begun = cleat.host.host.second - zero
    fired = first_firing(cleat, zero, END)
    assert fired is not None
    assert fired >= begun + 830


@pytest.mark.parametrize("cause", [BROWN_OUT, WATCHDOG])
def test_a_reset_in_the_first_second_of_the_hold_does_not_end_it(cleat: Rig, cause: int) -> None:
    zero = cleat.begin(*dive(cleat, "command"))
    cleat.host.seconds(AT - 10)
    cleat.host.boot(POWER)
    cleat.host.boot(cause, 1)  # the pack's plug has bounced
    assert "hold" in faults_of(cleat)
    fired = first_firing(cleat, zero, END)
    assert fired is not None
    assert AT + 880 <= fired <= AT + 900


def test_a_reset_does_not_end_the_wait_after_the_bench_lead(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.host.lead = 1
    assert first_firing(halyard, zero, AT + HOUR, frames_every=30) is None
    halyard.host.boot(WATCHDOG, 1)  # with the lead in, and no frame since
    assert first_firing(halyard, zero, AT + 2 * HOUR, frames_every=30) is None
    halyard.host.host.lead = 0
    gone = halyard.host.host.second
    halyard.host.seconds(60)
    halyard.host.boot(BROWN_OUT, 2)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert 890 <= zero + fired - gone <= 900


def test_without_a_contact_nothing_further_fires_after_a_power_on_reset(cleat: Rig) -> None:
    zero = cleat.begin(*dive(cleat, "command"))
    cleat.host.seconds(AT + 3 * (FIRE + PAUSE) + 100)
    cleat.host.boot(POWER)
    assert first_firing(cleat, zero, END + HOUR) is None


def test_what_is_over_is_not_resumed_after_a_power_on_reset(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.seconds(END + 100)
    assert halyard.levels()["OUT2"] == 100
    halyard.host.boot(WATCHDOG, 1)
    halyard.host.seconds(10)
    assert halyard.levels()["OUT2"] == 100, "the beacon goes on until the pack is empty"
    halyard.host.boot(POWER)
    halyard.host.seconds(HOUR)
    assert set(halyard.levels().values()) == {0}
    assert state_of(halyard) == "over"


def test_what_was_stood_down_stays_so_where_the_record_still_says_armed(halyard: Rig) -> None:
    plan, block = dive(halyard)
    zero = halyard.begin(plan, block)
    halyard.host.seconds(HOUR)
    halyard.ask("disarm")
    halyard.host.poke(halyard.row, halyard.essentials(block))
    halyard.host.boot(WATCHDOG, 1)
    assert state_of(halyard) == "over"
    assert first_firing(halyard, zero, END) is None


def test_what_runs_from_an_early_release_keeps_its_time_over_a_reset(halyard: Rig) -> None:
    moved = replace(window("strobe", "OUT4", AT + 2 * HOUR, AT + 3 * HOUR), start_moves=True, stop_moves=True)
    zero = halyard.begin(*dive(halyard, more=[moved], limits={"keep": ("OUT2", "OUT4")}))
    halyard.host.seconds(3 * HOUR - 60)
    halyard.host.host.pack_mv = 8690
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    halyard.host.seconds(HOUR // 2)
    halyard.host.boot(BROWN_OUT, 1)
    halyard.host.seconds(fired + 4 * HOUR - (halyard.host.host.second - zero))
    on = [edge.second - zero for edge in halyard.host.edges() if halyard.names[edge.output] == "OUT4" and edge.level]
    assert len(on) == 1
    assert fired + 2 * HOUR - 60 <= on[0] <= fired + 2 * HOUR + 62


def test_with_neither_journal_nor_essentials_nothing_fires(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    halyard.host.poke(halyard.layout.journal, bytes([0xFF]) * halyard.layout.journal_size)
    halyard.host.poke(halyard.row, bytes([0xFF]) * 32)
    halyard.host.boot(WATCHDOG, 1)
    assert first_firing(halyard, zero, 2 * END) is None
    assert set(halyard.levels().values()) == {0}


def test_with_the_journal_lost_and_the_contact_wet_it_counts_from_nought_with_the_beacon_only(
    halyard: Rig,
) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    halyard.host.poke(halyard.layout.journal, bytes([0xFF]) * halyard.layout.journal_size)
    halyard.host.boot(WATCHDOG, 1)
    zero = halyard.host.host.second
    assert "journal" in faults_of(halyard)
    assert state_of(halyard) == "surface only"
    assert first_firing(halyard, zero, END) == AT


def test_with_the_journal_lost_and_the_contact_dry_it_stays_armed(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    halyard.host.poke(halyard.layout.journal, bytes([0xFF]) * halyard.layout.journal_size)
    halyard.host.host.wet = 0
    halyard.host.boot(WATCHDOG, 1)
    assert state_of(halyard) == "armed"
    assert first_firing(halyard, zero, END) is None


def test_with_both_slots_bad_the_essentials_fly(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    halyard.host.poke(0, bytes(20))
    halyard.host.poke(halyard.layout.slot_b, bytes(20))
    halyard.host.boot(BROWN_OUT, 1)
    assert "settings" in faults_of(halyard)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert AT <= fired <= AT + 60
    assert halyard.levels()["OUT2"] == 100


def test_the_essentials_do_not_say_the_end_so_that_nothing_further_fires(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    halyard.host.poke(0, bytes(20))
    halyard.host.poke(halyard.layout.slot_b, bytes(20))
    halyard.host.boot(BROWN_OUT, 1)
    halyard.host.seconds(AT + TRIES * (FIRE + PAUSE) + 100 - HOUR)
    assert first_firing(halyard, zero, 2 * END) is None


def test_damaged_essentials_do_not_stop_a_dive(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    halyard.host.poke(halyard.row + 5, b"\x00")
    halyard.host.boot(WATCHDOG, 1)
    assert "essentials" in faults_of(halyard)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert AT <= fired <= AT + 60


def test_essentials_that_name_another_output_fire_nothing(halyard: Rig) -> None:
    plan, block = dive(halyard)
    zero = halyard.begin(plan, block)
    record = bytearray(halyard.essentials(block))
    # the three bits of primary_output, see fields.py: behind version, armed, code, three times, two flags
    at = 3 + 1 + 30 + 3 * 24 + 1 + 1
    for bit in range(at, at + 3):
        record[bit // 8] &= ~(0x80 >> bit % 8)
    record[-2:] = crc16(bytes(record[:-2])).to_bytes(2, "big")
    halyard.host.poke(halyard.row, bytes(record))
    halyard.host.poke(0, bytes(20))
    halyard.host.poke(halyard.layout.slot_b, bytes(20))
    halyard.host.boot(WATCHDOG, 1)
    halyard.host.edges()
    halyard.host.seconds(AT + HOUR)
    assert not [edge for edge in halyard.host.edges() if edge.level]
    assert zero < halyard.host.host.second


def test_once_armed_a_slot_with_another_code_never_counts(halyard: Rig) -> None:
    plan, block = dive(halyard)
    zero = halyard.begin(plan, block)
    _, other = dive(halyard, limits={"not_before_s": HOUR}, primary=Firing("REL1", AT, FIRE, 1, PAUSE))
    halyard.host.poke(0, pack_slot(9, other))
    halyard.host.boot(WATCHDOG, 1)
    assert halyard.identify().number("active") == 1
    halyard.host.seconds(AT + TRIES * (FIRE + PAUSE))
    tries = [edge for edge in halyard.host.edges() if halyard.names[edge.output] == "REL1" and edge.level]
    assert len(tries) == TRIES
    assert zero < halyard.host.host.second


def test_after_eight_resets_in_an_hour_only_the_surface_programme_is_left(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.seconds(100)
    for number in range(7):
        halyard.host.boot(BROWN_OUT, number)
        halyard.host.seconds(5)
    assert state_of(halyard) != "surface only"
    halyard.host.boot(BROWN_OUT, 8)
    assert state_of(halyard) == "surface only"
    assert "reduced" in faults_of(halyard)


def test_resets_that_a_load_brings_about_at_each_start_end_with_the_load_left_off(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    host = halyard.host.host
    host.sags = halyard.names.index("OUT1") + 1
    for number in range(12):
        host.cut_at = 0
        halyard.host.boot(BROWN_OUT, number)
        halyard.host.seconds(1)
        if halyard.levels()["OUT1"] == 0:
            break
    assert number == 7
    assert state_of(halyard) == "surface only"


def test_in_a_storm_of_watchdog_resets_time_goes_on(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    for number in range(10):
        halyard.host.boot(WATCHDOG, number)
    before = halyard.elapsed
    halyard.host.boot(WATCHDOG, 11)
    assert halyard.elapsed == before + 8


def test_a_try_that_a_reset_cut_counts_and_the_next_fires_alone(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.seconds(AT + 20 - 60)
    assert halyard.levels()["REL1"] == 100
    halyard.host.boot(BROWN_OUT, 1)
    halyard.host.edges()
    halyard.host.seconds(20)
    assert halyard.levels()["REL1"] == 0
    halyard.host.seconds(100)
    assert {name for name, level in halyard.levels().items() if level} == {"REL1"}, "everything else is off"
    halyard.host.seconds(2 * (FIRE + PAUSE))
    again = [edge for edge in halyard.host.edges() if halyard.names[edge.output] == "REL1" and edge.level]
    assert len(again) == TRIES - 1
    assert halyard.levels()["OUT2"] == 100


# --- clock


@pytest.mark.parametrize(("latest", "planned"), [(3 * HOUR, 3 * HOUR), (LATEST, AT)])
def test_on_the_internal_oscillator_latest_and_at_come_earlier(halyard: Rig, latest: int, planned: int) -> None:
    plan, block = dive(halyard, limits={"latest_s": latest})
    zero = halyard.begin(plan, block)
    halyard.host.clock_failed()
    assert "clock" in faults_of(halyard)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert planned * 7 // 8 - 10 <= fired <= planned * 9 // 10


def test_on_the_internal_oscillator_it_never_fires_before_the_stretched_not_before(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.clock_failed()
    halyard.host.host.pack_mv = 8000
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert NOT_BEFORE * 11 // 10 <= fired <= NOT_BEFORE * 9 // 8 + 10


# --- buttons


def test_both_buttons_stand_it_down_before_splash(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, "command"))
    halyard.host.host.wet = 0
    halyard.host.seconds(30)
    halyard.press(3, 5.5)
    assert state_of(halyard) == "on bench"
    halyard.host.host.wet = 1
    assert first_firing(halyard, zero, END) is None


def test_four_seconds_are_not_enough_to_stand_it_down(halyard: Rig) -> None:
    halyard.begin(*dive(halyard, "command"))
    halyard.host.host.wet = 0
    halyard.host.seconds(30)
    halyard.press(3, 4.5)
    assert state_of(halyard) == "on deck"


def test_in_the_water_the_buttons_do_nothing(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(100)
    halyard.press(3, 20)
    assert first_firing(halyard, zero, END) == AT


def test_after_surfacing_both_buttons_stand_it_down(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.seconds(AT + 3 * HOUR)
    assert state_of(halyard) == "at surface"
    halyard.press(3, 5.5)
    assert state_of(halyard) == "on bench"
    assert set(halyard.levels().values()) == {0}


def test_a_change_that_the_block_forbids_is_not_taken(halyard: Rig) -> None:
    changes = (ShiftRelease(1800, 0, 1), ChooseLevel("PWM1", (70, 45)))
    plan, block = dive(halyard, field_changes=changes, allowed_changes=(True, True, False, True))
    zero = halyard.begin_changed(block)
    assert first_firing(halyard, zero, END) == AT
    assert plan.primary is not None


def test_the_second_change_goes_round_by_itself(halyard: Rig) -> None:
    changes = (ShiftRelease(1800, 0, 1), ChooseLevel("PWM1", (70, 45)))
    plan, block = dive(halyard, field_changes=changes, allowed_changes=(True,) * 4)
    halyard.load(block)
    halyard.arm(block)
    for buttons in (1, 2, 2, 3):  # later; the second level, the first again; confirmed
        halyard.press(buttons, 0.5)
    halyard.host.host.wet = 1
    halyard.host.seconds(60)
    zero = halyard.host.host.second - 60
    assert first_firing(halyard, zero, END + 1800) == AT + 1800
    assert plan.primary is not None


def test_a_confirmed_change_survives_resets_and_not_another_arming(halyard: Rig) -> None:
    plan, block = dive(halyard, field_changes=(ShiftRelease(600, 0, 2),), allowed_changes=(True, True, True))
    halyard.load(block)
    halyard.arm(block)
    halyard.press(1, 0.5)
    halyard.press(3, 0.5)
    halyard.host.boot(POWER)
    halyard.host.host.wet = 1
    halyard.host.seconds(60)
    zero = halyard.host.host.second - 60
    halyard.host.boot(WATCHDOG, 1)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert AT + 600 <= fired <= AT + 660
    halyard.ask("disarm")
    halyard.arm(block)
    halyard.host.seconds(60)
    zero = halyard.host.host.second - 60
    assert first_firing(halyard, zero, END) == AT
    assert plan.primary is not None


@pytest.mark.parametrize("odd", [0, 1])
def test_where_the_journal_does_not_tell_the_change_the_plan_is_flown(halyard: Rig, odd: int) -> None:
    changes = (ShiftRelease(600, -1, 1),)
    zero = halyard.begin(*dive(halyard, field_changes=changes, allowed_changes=(True, True, True)))
    halyard.host.seconds(HOUR)
    journal = halyard.layout.journal
    for place in range(5):  # the sequence, whose odd entries tell the lowest voltage, is the first three bits
        if halyard.host.memory[journal + 6 * place] >> 5 & 1 != odd:
            halyard.host.poke(journal + 6 * place, b"\xff" * 6)
    halyard.host.boot(WATCHDOG, 1)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert AT <= fired <= AT + 120


def test_no_change_is_taken_after_the_start(halyard: Rig) -> None:
    changes = (ShiftRelease(600, 0, 2),)
    zero = halyard.begin(*dive(halyard, "command", field_changes=changes, allowed_changes=(True, True, True)))
    halyard.host.host.wet = 0
    halyard.press(1, 0.5)
    halyard.press(3, 0.5)
    halyard.host.host.wet = 1
    assert first_firing(halyard, zero, END) == AT


def test_an_unconfirmed_change_is_none(halyard: Rig) -> None:
    _, block = dive(halyard, field_changes=(ShiftRelease(600, 0, 2),), allowed_changes=(True, True, True))
    halyard.load(block)
    halyard.arm(block)
    halyard.press(1, 0.5)
    halyard.host.host.wet = 1
    halyard.host.seconds(60)
    zero = halyard.host.host.second - 60
    assert first_firing(halyard, zero, END) == AT


def test_the_light_is_dark_from_splash_to_surfacing(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.arm(block)
    halyard.host.seconds(100)
    assert halyard.host.host.blinks > 5
    halyard.host.host.wet = 1
    halyard.host.seconds(62)
    before = halyard.host.host.blinks
    halyard.host.seconds(AT)
    assert halyard.host.host.blinks == before
    assert halyard.host.host.lit == 0
    halyard.host.seconds(3 * HOUR)
    assert halyard.host.host.blinks > before


# --- the bench


def test_a_release_is_pulsed_only_with_the_code_not_armed_and_for_ten_seconds_at_most(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.identify()
    code = code_number(block)
    release = halyard.names.index("REL1")
    assert halyard.ask("pulse", output=release, steps=64, level=100, code=code ^ 1) == "wrong code"
    assert halyard.ask("pulse", output=release, steps=641, level=100, code=code) == "out of range"
    assert halyard.levels()["REL1"] == 0
    assert isinstance(halyard.ask("pulse", output=release, steps=640, level=100, code=code), Values)
    assert halyard.levels()["REL1"] == 100
    halyard.host.seconds(11)
    assert halyard.levels()["REL1"] == 0
    halyard.arm(block)
    assert halyard.ask("pulse", output=release, steps=64, level=100, code=code) == "armed"
    assert halyard.levels()["REL1"] == 0


def test_a_pulse_ends_with_arming(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.identify()
    code = code_number(block)
    halyard.ask("pulse", output=halyard.names.index("REL1"), steps=640, level=100, code=code)
    halyard.arm(block)
    assert halyard.levels()["REL1"] == 0


def test_settings_with_a_window_on_a_release_output_are_refused(halyard: Rig) -> None:
    plan, _ = dive(halyard)
    windows = [window("camera", "REL2", 60, HOUR)]
    wrong = make_plan(windows, AT, END, board_type=halyard.board.board_type, primary=plan.primary, backup=None)
    block = encode(wrong, halyard.names).block
    halyard.load(block)
    assert halyard.identify().number("active") == 255
