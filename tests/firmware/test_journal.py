"""Which journal entries are believed: a damaged one whose CRC-8 happens to be right must not decide a dive.

Entries are laid out here by hand after the table in core/journal.h; the checksum is that of crccheck 1.3.1 (its
CRC-8/SMBUS: polynomial 0x07 from 0).
"""

from __future__ import annotations

from dataclasses import replace

import pytest
from crccheck.crc import Crc8Smbus
from host_rig import HOUR, Rig
from settings_dives import make_plan, window

from schedgen.firmware.host import BROWN_OUT, POWER
from schedgen.link.journal import journal_in
from schedgen.link.messages import STATES
from schedgen.plan.model import Firing, Interlocks, ShiftRelease
from schedgen.settings.code import code_number
from schedgen.settings.encode import encode
from schedgen.settings.meaning import combinations

AT, FLOWN = 4 * HOUR, 2 * HOUR
STARTED, OVER = 1, 3
ENTRY, PLACES = 6, 5


def flown(rig: Rig, at: int = AT, until: int = FLOWN, changes: tuple[ShiftRelease, ...] = ()) -> bytes:
    """A dive under way for two hours; its block."""
    plan = make_plan(
        [
            window("camera", "OUT1", 60, HOUR),
            replace(window("beacon", "OUT2", at + HOUR, None), start_moves=True),
        ],
        at,
        at + 16 * HOUR,
        board_type=rig.board.board_type,
        primary=Firing("REL1", at, 100, 3, 50),
        backup=None,
        interlocks=Interlocks(60, at + 2 * HOUR, False, 3.1, 2.9, 3, ("OUT2",)),
    )
    plan = replace(plan, field_changes=changes, allowed_changes=(True,) * len(combinations(changes)) if changes else ())
    block = encode(plan, rig.names, round(rig.board.eeprom.size.nominal)).block
    rig.begin(plan, block)
    rig.host.seconds(until - 60)
    assert rig.elapsed == until
    return block


def area(rig: Rig) -> bytes:
    return rig.host.memory[rig.layout.journal : rig.layout.journal + rig.layout.journal_size]


def ring(rig: Rig) -> list[bytes]:
    return [area(rig)[place * ENTRY : (place + 1) * ENTRY] for place in range(PLACES)]


def sequence_of(entry: bytes) -> int:
    return entry[0] >> 5


def newest(rig: Rig) -> int:
    """The place of the entry that the firmware wrote last: the greatest time, as nothing was written twice at one."""
    return max(range(PLACES), key=lambda place: int.from_bytes(ring(rig)[place][:3], "big") & 0x7FFFF)


def forged(block: bytes, sequence: int, stage: int, elapsed_s: int) -> bytes:
    """A wrong entry with a right checksum; wet, and nothing else."""
    first = ((sequence % 8) << 21 | stage << 19 | elapsed_s // 2).to_bytes(3, "big")
    body = first + b"\x80\x1f"
    return body + bytes((Crc8Smbus.calc(code_number(block).to_bytes(4, "little") + body),))


def believed(rig: Rig, block: bytes) -> int:
    """Elapsed as the board resumes with it after a reset; what the computer reads is the same."""
    told = journal_in(area(rig), code_number(block))
    assert told is not None
    rig.host.boot(BROWN_OUT, 1)
    assert rig.elapsed == told.elapsed_s
    return told.elapsed_s


@pytest.mark.parametrize("place", range(PLACES))
@pytest.mark.parametrize("ahead", [0, 1, 3])
def test_one_damaged_entry_with_a_right_checksum_decides_nothing(halyard: Rig, place: int, ahead: int) -> None:
    block = flown(halyard)
    good = sequence_of(ring(halyard)[place])
    halyard.host.poke(halyard.layout.journal + place * ENTRY, forged(block, good + ahead, OVER, 20 * HOUR))
    assert FLOWN - 120 <= believed(halyard, block) <= FLOWN
    halyard.host.seconds(AT - FLOWN + 130)
    assert any(halyard.names[edge.output] == "REL1" and edge.level for edge in halyard.host.edges())


def test_an_entry_that_comes_next_but_much_later_is_not_believed(halyard: Rig) -> None:
    block = flown(halyard)
    last = newest(halyard)
    wrong = forged(block, sequence_of(ring(halyard)[last]) + 1, OVER, 3 * HOUR)
    halyard.host.poke(halyard.layout.journal + (last + 1) % PLACES * ENTRY, wrong)
    assert FLOWN - 60 <= believed(halyard, block) <= FLOWN


def test_an_entry_that_comes_next_but_earlier_is_not_believed(halyard: Rig) -> None:
    block = flown(halyard)
    last = newest(halyard)
    wrong = forged(block, sequence_of(ring(halyard)[last]) + 1, STARTED, HOUR)
    halyard.host.poke(halyard.layout.journal + (last + 1) % PLACES * ENTRY, wrong)
    assert FLOWN - 60 <= believed(halyard, block) <= FLOWN


def test_an_entry_of_the_right_time_and_another_sequence_is_not_believed(halyard: Rig) -> None:
    block = flown(halyard)
    last = newest(halyard)
    wrong = forged(block, sequence_of(ring(halyard)[last]) + 2, OVER, FLOWN + 60)
    halyard.host.poke(halyard.layout.journal + (last + 1) % PLACES * ENTRY, wrong)
    assert FLOWN - 60 <= believed(halyard, block) <= FLOWN


def test_one_entry_alone_is_believed(halyard: Rig) -> None:
    block = flown(halyard)
    last = newest(halyard)
    for place in set(range(PLACES)) - {last}:
        halyard.host.poke(halyard.layout.journal + place * ENTRY, b"\xff" * ENTRY)
    assert believed(halyard, block) == FLOWN


def test_after_another_arming_with_the_same_settings_the_old_entries_count_for_nothing(halyard: Rig) -> None:
    block = flown(halyard)
    for _ in range(PLACES):  # so that every place is once the one that is left of the old dive
        halyard.ask("disarm")
        halyard.arm(block)
        assert believed(halyard, block) == 0
        halyard.host.seconds(200)
        assert FLOWN // 60 > halyard.elapsed // 60 >= 2
        halyard.host.boot(BROWN_OUT, 1)
        assert halyard.elapsed >= 120


def test_entries_go_on_once_a_minute_beyond_six_days(halyard: Rig) -> None:
    late = 524_280 + 2 * HOUR
    block = flown(halyard, late + HOUR, late)
    halyard.host.seconds(59)
    assert believed(halyard, block) == late
    writes = halyard.host.host.writes
    halyard.host.seconds(600)
    assert halyard.host.host.writes - writes == 10


def test_an_entry_whose_checksum_is_wrong_is_not_believed(halyard: Rig) -> None:
    block = flown(halyard)
    last = newest(halyard)
    halyard.host.poke(halyard.layout.journal + last * ENTRY, bytes((ring(halyard)[last][0] | OVER << 3,)))
    assert believed(halyard, block) == FLOWN - 60
    assert halyard.identify().number("state") != STATES.index("over")


@pytest.mark.parametrize("turn", range(PLACES))
def test_entries_that_begin_anew_count_more_than_older_ones_of_the_same_dive(halyard: Rig, turn: int) -> None:
    block = flown(halyard)  # and armed again with the power cut between the record and the journal's last word
    old = [(STARTED, 540), (STARTED, 600), (OVER, 660)]
    for sequence, (stage, elapsed_s) in enumerate([*old, (OVER, 0), (OVER, 0)]):
        place = (turn + sequence) % PLACES
        halyard.host.poke(halyard.layout.journal + place * ENTRY, forged(block, sequence, stage, elapsed_s))
    halyard.host.boot(POWER)
    assert STATES[halyard.identify().number("state")] == "armed"


def test_a_second_arming_cut_at_any_write_leaves_it_armed_anew_or_not_at_all(halyard: Rig) -> None:
    host = halyard.host.host
    seen = set()
    for number in range(1, 40):
        block = flown(halyard, until=600)
        halyard.ask("disarm")
        host.wet = 0
        host.cut_at, host.cut_torn = host.writes + number, number % 2
        halyard.ask("arm", code=code_number(block))
        done = host.writes < host.cut_at
        host.cut_at = 0
        halyard.host.boot(POWER)
        seen.add(STATES[halyard.identify().number("state")])
        if halyard.identify().number("armed"):
            host.wet = 1
            halyard.host.seconds(70)
            assert halyard.elapsed == 70
        if done:
            break
    assert done
    assert seen == {"on bench", "armed"}


def test_in_a_storm_of_resets_an_entry_comes_every_ten_seconds(halyard: Rig) -> None:
    block = flown(halyard)
    for number in range(9):
        halyard.host.boot(BROWN_OUT, number)
    began = halyard.elapsed
    halyard.host.seconds(45)
    assert began + 35 <= believed(halyard, block) <= began + 45


@pytest.mark.parametrize("bit", range(16))
def test_a_note_of_an_early_firing_with_one_bit_flipped_moves_nothing_far(halyard: Rig, bit: int) -> None:
    flown(halyard, until=HOUR + 600)
    halyard.host.host.pack_mv = 8000
    halyard.host.seconds(400)
    assert halyard.levels()["REL1"] == 100, "low voltage asked for it, three hours early"
    halyard.host.host.pack_mv = 12_000
    note = int.from_bytes(area(halyard)[-2:], "little")
    damaged = (note ^ 1 << bit).to_bytes(2, "little")
    halyard.host.poke(halyard.layout.journal + halyard.layout.journal_size - 2, damaged)
    halyard.host.boot(BROWN_OUT, 1)
    assert halyard.levels()["OUT2"] == 0, "the beacon is on from an hour after the firing"
    halyard.host.seconds(HOUR)
    assert halyard.levels()["OUT2"] == 100


def test_a_change_that_is_none_of_the_blocks_is_not_flown(halyard: Rig) -> None:
    block = flown(halyard, changes=(ShiftRelease(600, -1, 1),))
    for place, entry in enumerate(ring(halyard)):
        if sequence_of(entry) % 2 == 0:
            body = entry[:4] + bytes((entry[4] | 0x1F,))
            code = code_number(block).to_bytes(4, "little")
            halyard.host.poke(halyard.layout.journal + place * ENTRY, body + bytes((Crc8Smbus.calc(code + body),)))
    assert believed(halyard, block) == FLOWN
    halyard.host.edges()
    halyard.host.seconds(AT - FLOWN - 1)
    assert not [edge for edge in halyard.host.edges() if edge.level]
    halyard.host.seconds(70)
    assert [edge for edge in halyard.host.edges() if halyard.names[edge.output] == "REL1" and edge.level]
