"""Tries, later tries, and what a reset at a bad moment leaves of them: one test for each rule."""

from __future__ import annotations

from dataclasses import replace

import pytest
from host_rig import HOUR, Rig
from test_interlocks import AT, END, FIRE, LATEST, NOT_BEFORE, PAUSE, TRIES, dive, faults_of, first_firing, state_of

from schedgen.firmware.host import BROWN_OUT, POWER, WATCHDOG
from schedgen.link.client import Client
from schedgen.link.last_dive import last_dive
from schedgen.link.ports import VirtualPort
from schedgen.plan.model import Firing, ShiftRelease

BACKUP = Firing("REL2", LATEST, FIRE, TRIES, PAUSE)
LAST_END = AT + TRIES * (FIRE + PAUSE) - PAUSE


def tries_on(rig: Rig, output: str, zero: int, until: int) -> list[int]:
    """Elapsed seconds, up to `until`, at which an output has gone on since this was last asked."""
    rig.host.seconds(until - (rig.host.host.second - zero))
    return [edge.second - zero for edge in rig.host.edges() if rig.names[edge.output] == output and edge.level]


def lose_journal(rig: Rig) -> None:
    rig.host.poke(rig.layout.journal, b"\xff" * rig.layout.journal_size)


def lose_slots(rig: Rig) -> None:
    for address in rig.layout.slots:
        rig.host.poke(address, bytes(20))


# --- tries


def test_further_tries_come_every_six_hours_until_the_end(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(LAST_END + 10 - 60)
    halyard.host.edges()
    expected = list(range(LAST_END + 6 * HOUR, END, 6 * HOUR))
    assert tries_on(halyard, "REL1", zero, END + 13 * HOUR) == expected
    assert len(expected) == 2


def test_a_try_whose_load_takes_the_power_away_is_not_begun_again_without_end(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(AT - 30 - 60)
    host, begun = halyard.host.host, 0
    host.sags = halyard.names.index("REL1") + 1
    while host.second - zero < AT + HOUR:
        halyard.host.seconds(1)
        if host.cut_at:  # nothing was written after the output went on
            begun += 1
            host.cut_at = 0
            halyard.host.boot(BROWN_OUT, 1)
    assert begun == TRIES


def test_after_a_reset_right_after_the_first_firing_time_has_not_gone_back_before_it(halyard: Rig) -> None:
    odd = AT + 1
    halyard.begin(*dive(halyard, primary=Firing("REL1", odd, FIRE, TRIES, PAUSE)))
    halyard.host.seconds(odd - halyard.elapsed)
    assert halyard.levels()["REL1"] == 100
    halyard.host.boot(BROWN_OUT, 1)
    assert halyard.elapsed >= odd


def test_a_try_of_the_backup_that_a_reset_cut_is_followed_by_its_pause(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, backup=BACKUP))
    halyard.host.seconds(LATEST + 20 - 60)
    assert halyard.levels()["REL2"] == 100
    halyard.host.edges()
    halyard.host.boot(BROWN_OUT, 1)
    cut = halyard.host.host.second - zero
    again = tries_on(halyard, "REL2", zero, LATEST + HOUR)
    assert len(again) == TRIES - 1
    assert cut + PAUSE - 1 <= again[0] <= cut + PAUSE + 1
    assert again[1] == again[0] + FIRE + PAUSE


def test_without_a_contact_no_reset_brings_the_further_tries_back(cleat: Rig) -> None:
    zero = cleat.begin(*dive(cleat, "command"))
    cleat.host.seconds(LAST_END + 100)
    cleat.host.boot(POWER)
    cleat.host.seconds(20)
    cleat.host.boot(WATCHDOG, 1)
    assert first_firing(cleat, zero, END + HOUR) is None


# --- the pack's voltage


def test_a_broken_sensor_in_between_begins_the_three_minutes_anew(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard))
    halyard.host.seconds(2 * HOUR + 600 - 60)
    for _ in range(10):
        halyard.host.host.pack_mv = 8000
        halyard.host.seconds(160)
        halyard.host.host.pack_mv = 500
        halyard.host.seconds(20)
    halyard.host.host.pack_mv = 12_000
    assert first_firing(halyard, zero, END) == AT


def test_the_pack_is_not_judged_while_a_release_fires(halyard: Rig) -> None:
    halyard.begin(*dive(halyard, primary=Firing("REL1", AT, 10 * FIRE, 1, PAUSE)))
    halyard.host.seconds(AT + 5 - 60)
    halyard.host.host.pack_mv = 9000  # under shed
    halyard.host.seconds(10 * FIRE - 50)
    assert halyard.levels()["REL1"] == 100
    halyard.host.host.pack_mv = 12_000
    halyard.host.seconds(100)
    assert state_of(halyard) != "surface only"


# --- resets


def test_resets_of_an_hour_are_forgotten_in_the_next(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    for hour in range(3):
        for number in range(6):
            halyard.host.boot(BROWN_OUT, number)
            halyard.host.seconds(120)
        halyard.host.seconds((hour + 1) * HOUR + 200 - halyard.elapsed)
    assert "reduced" not in faults_of(halyard)
    assert state_of(halyard) != "surface only"


def test_a_storm_of_resets_is_not_forgotten(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    for number in range(9):
        halyard.host.boot(BROWN_OUT, number)
    halyard.host.seconds(HOUR + 100)
    halyard.host.boot(WATCHDOG, 10)
    before = halyard.elapsed
    halyard.host.boot(WATCHDOG, 11)
    assert halyard.elapsed == before + 8


def test_with_the_journal_lost_and_no_contact_fitted_it_counts_from_nought(cleat: Rig) -> None:
    cleat.begin(*dive(cleat, "command"))
    cleat.host.seconds(HOUR)
    lose_journal(cleat)
    cleat.host.boot(BROWN_OUT, 1)
    zero = cleat.host.host.second
    assert "journal" in faults_of(cleat)
    assert state_of(cleat) == "surface only"
    assert first_firing(cleat, zero, END) == AT


@pytest.mark.parametrize("cause", [BROWN_OUT, POWER])
def test_with_journal_and_slots_lost_the_essentials_count_from_nought(halyard: Rig, cause: int) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.seconds(HOUR)
    lose_journal(halyard)
    lose_slots(halyard)
    halyard.host.boot(cause, 1)
    zero = halyard.host.host.second
    assert state_of(halyard) == "surface only"
    assert first_firing(halyard, zero, END) == AT
    assert halyard.levels()["OUT2"] == 100


def test_without_a_contact_the_plan_to_be_on_the_bottom_says_that_it_is_in_the_water(cleat: Rig) -> None:
    zero = cleat.begin(*dive(cleat, "command"))
    cleat.host.seconds(4000)  # the bottom comes at 4321 s
    assert state_of(cleat) == "on deck"
    cleat.host.seconds(400)
    assert state_of(cleat) == "on bottom"
    cleat.host.host.lead = 1  # a flooded plug
    assert first_firing(cleat, zero, END) == AT


def test_where_the_bottom_is_not_known_not_before_says_that_it_is_in_the_water(cleat: Rig) -> None:
    plan, _ = dive(cleat, "command")
    plan = replace(plan, events={name: event for name, event in plan.events.items() if name != "bottom"})
    zero = cleat.begin(plan, cleat.block(plan))
    cleat.host.seconds(NOT_BEFORE - 10)
    assert state_of(cleat) == "on deck"
    cleat.host.seconds(20)
    assert state_of(cleat) == "descending"
    cleat.host.host.lead = 1  # a flooded plug
    assert first_firing(cleat, zero, END) == AT


def test_with_a_contact_only_its_wet_minute_says_that_it_is_in_the_water(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, "command"))
    halyard.host.host.wet = 0
    halyard.host.seconds(2 * HOUR)  # the plan says it is on the bottom; it lies on deck
    assert state_of(halyard) == "on deck"
    halyard.press(3, 5.5)
    assert state_of(halyard) == "on bench"
    halyard.host.host.wet = 1
    assert first_firing(halyard, zero, END) is None


def test_a_power_cut_at_any_write_of_a_stand_down_leaves_it_armed_or_stood_down(halyard: Rig) -> None:
    seen = set()
    for cut in range(1, 8):
        halyard.load(block := dive(halyard)[1])
        halyard.arm(block)
        host = halyard.host.host
        host.cut_at, host.cut_torn = host.writes + cut, cut % 2
        halyard.press(3, 5.5)
        host.cut_at = 0
        halyard.host.boot(POWER)
        seen.add(state_of(halyard))
        halyard.host.host.wet = 1
        halyard.host.seconds(70)
        assert state_of(halyard) in {"on bench", "descending"}
    assert seen == {"armed", "on bench"}


def test_a_shift_that_was_chosen_holds_where_the_block_is_read_again(halyard: Rig) -> None:
    """The note of an early firing and the change of the release are reckoned from the same planned second."""
    changes = (ShiftRelease(600, -1, 1),)
    _, block = dive(halyard, field_changes=changes, allowed_changes=(True, True, True))
    zero = halyard.begin_changed(block)
    halyard.host.seconds(AT + 600 + 20 - 60)
    assert halyard.levels()["REL1"] == 100
    halyard.host.boot(BROWN_OUT, 1)
    halyard.host.edges()
    assert len(tries_on(halyard, "REL1", zero, AT + HOUR)) == TRIES - 1
    assert halyard.levels()["OUT2"] == 100


def test_what_is_not_armed_is_dark_and_deaf_to_buttons(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.host.seconds(60)
    writes = halyard.host.host.writes
    halyard.press(3, 5.5)
    halyard.press(1, 0.5)
    assert halyard.host.host.blinks == 0
    assert halyard.host.host.writes == writes


def test_a_reset_right_after_the_start_does_not_undo_it(halyard: Rig) -> None:
    halyard.begin(*dive(halyard, "command"))
    halyard.host.host.wet = 0
    halyard.host.seconds(5)
    halyard.host.boot(WATCHDOG, 1)
    assert state_of(halyard) == "on deck"


def test_a_reset_right_after_the_wet_minute_does_not_undo_it(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, "command"))
    halyard.host.host.wet = 0
    halyard.host.seconds(20)
    halyard.host.host.wet = 1
    halyard.host.seconds(62)  # it ends between two full minutes
    halyard.host.boot(WATCHDOG, 1)
    halyard.host.host.wet = 0
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert AT <= fired <= AT + 62


def test_a_reset_does_not_write_a_reading_of_the_voltage_a_second_time(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.seconds(3 * HOUR + 1000)
    before = last_dive(Client(VirtualPort(halyard.host)))
    halyard.host.host.pack_mv = 11_000
    halyard.host.boot(BROWN_OUT, 1)
    halyard.host.seconds(12)
    after = last_dive(Client(VirtualPort(halyard.host)))
    assert before is not None
    assert after is not None
    assert len(before.readings) > 3
    assert after.readings[: len(before.readings)] == before.readings
