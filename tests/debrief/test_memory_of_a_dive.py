"""Journal and voltage history from the bytes on the board, against an encoder that shares nothing with the decoder."""

from __future__ import annotations

from dataclasses import replace

import pytest
from bench_rig import LARGE_PLATE, PLATE, blank_board, settings_of
from crccheck.crc import Crc8Smbus
from hypothesis import given, settings
from hypothesis import strategies as st
from memory import early, entry, remember

from schedgen.link.client import Client
from schedgen.link.eeprom import Memory, Nameplate, blank_image
from schedgen.link.journal import Stage, crc8, history_in, journal_in
from schedgen.link.last_dive import last_dive
from schedgen.link.ports import VirtualPort
from schedgen.link.virtual import VirtualBoard
from schedgen.measured.journal import Journal
from schedgen.settings.code import code_number

DIVE = settings_of()
CODE = code_number(DIVE.block)


def told(board: VirtualBoard) -> Journal | None:
    return last_dive(Client(VirtualPort(board)))


@given(st.binary(max_size=40), st.integers(0, 255))
def test_the_checksum_is_that_of_an_independent_library(data: bytes, start: int) -> None:
    assert crc8(b"123456789") == 0xF4  # the check value of CRC-8/SMBUS in the catalogue of parametrised CRCs
    assert crc8(data, start) == Crc8Smbus.calc(data, initvalue=start)


@settings(deadline=None, max_examples=200)
@given(
    st.integers(0, 7), st.integers(0, 7), st.integers(1, 3), st.integers(1, 2_000_000), st.integers(0, 15),
    st.integers(0, 31), st.integers(0, 31), st.integers(1, 9), st.integers(0, 4095), st.integers(0, (1 << 30) - 1),
)  # fmt: skip
def test_the_newest_entry_of_a_ring_counts_wherever_it_stands(
    first: int, turn: int, stage: int, elapsed: int, tries: int, choice: int, lowest: int, count: int, minutes: int,
    code: int,
) -> None:  # fmt: skip
    area = bytearray(b"\xff" * 30 + early(minutes))
    for k in range(count):
        sequence, place = first + k, (turn + k) % 5
        last = k == count - 1
        extra = lowest if sequence % 2 else choice
        area[6 * place : 6 * place + 6] = entry(
            code, sequence, stage if last else 1, elapsed - (not last), extra, tries
        )
    found = journal_in(bytes(area), code)
    assert found is not None
    assert found.stage is Stage(stage)
    assert elapsed - 62 < found.elapsed_s <= elapsed
    assert (found.tries, found.early_s) == (tries, 60 * minutes)
    if count > 1:
        assert found.choice == choice
        assert found.lowest_cell_mv == (None if lowest == 31 else 2000 + 80 * lowest)
    assert journal_in(bytes(area), code ^ 1) is None
    area[-2:] = (int.from_bytes(area[-2:], "little") ^ 1 << minutes % 16).to_bytes(2, "little")
    found = journal_in(bytes(area), code)
    assert found is not None
    assert found.early_s == 0


@settings(deadline=None, max_examples=300)
@given(st.binary(min_size=32, max_size=32))
def test_any_bytes_are_a_journal_or_none(area: bytes) -> None:
    found = journal_in(area, CODE)
    assert found is None or found.elapsed_s >= 0


def test_a_flipped_bit_takes_the_entry_away_and_leaves_the_one_before() -> None:
    for bit in range(48):
        first, second = entry(CODE, 1, 1, 600, 20), entry(CODE, 2, 1, 660, 0)
        spoiled = (int.from_bytes(second, "big") ^ 1 << bit).to_bytes(6, "big")
        found = journal_in(first + spoiled + b"\xff" * 20, CODE)
        assert found is not None
        assert found.elapsed_s == 600, bit


def test_readings_are_of_the_whole_pack_and_erased_cells_say_nothing() -> None:
    # By hand: 3 cells, (2.00 V + 0.01 V x (175 - 1)) x 3 = 11.22 V.
    assert history_in(bytes((0, 1, 175, 254, 255)), 3) == [0, 6000, 11220, 13590, 0]


@pytest.mark.parametrize("plate", [PLATE, LARGE_PLATE, replace(PLATE, part="ATmega1608")], ids=["32", "192", "slots"])
def test_the_history_is_found_in_row_eeprom_or_behind_the_settings(plate: Nameplate) -> None:
    dive = settings_of(count=3, board_type=plate.board_type, eeprom=plate.eeprom_size)
    board = blank_board(plate)
    room = 112 - 5 - len(dive.block)
    cells = {"ATmega4809": 32, "ATmega328P": 192, "ATmega1608": 2 * room}[plate.part]
    series = dive.dive.interlocks.series
    spacing = dive.dive.end_s // cells + 1
    due = dive.dive.end_s // spacing
    volts = [3500 + 10 * (k % 60) for k in range(due)]
    in_row = volts if plate.part != "ATmega1608" else ()
    remember(board, dive.block, dive.dive.end_s, in_row, tries=3)
    if plate.part == "ATmega1608":
        assert cells >= 24
        bytes_ = bytes((one - 2000) // 10 + 1 for one in volts)
        board.memory.write(5 + len(dive.block), bytes_[:room])
        board.memory.write(112 + 5 + len(dive.block), bytes_[room:])
    journal = told(board)
    assert journal is not None
    assert [(one.at_s, round(one.volts * 1000)) for one in journal.readings] == [
        ((k + 1) * spacing, one * series) for k, one in enumerate(volts)
    ]
    assert (journal.state, journal.tries) == ("over", 3)


@pytest.mark.parametrize(("stage", "elapsed"), [(0, 0), (3, 0), (0, 600)])
def test_a_dive_that_was_armed_and_never_started_is_none(stage: int, elapsed: int) -> None:
    board = blank_board()
    remember(board, DIVE.block, elapsed, stage=stage)
    assert told(board) is None


def test_settings_that_came_after_the_dive_take_it_away() -> None:
    board = blank_board()
    remember(board, DIVE.block, 3600)
    assert told(board) is not None
    other = settings_of(10).block
    remember(board, other, 3600, code=CODE)  # the journal is still that of the first
    assert told(board) is None


def test_the_first_firing_is_as_planned_or_earlier_by_whole_minutes() -> None:
    board = blank_board()
    remember(board, DIVE.block, 40_000, tries=2)
    journal = told(board)
    assert journal is not None
    assert journal.first_firing_s == 9 * 3600
    remember(board, DIVE.block, 40_000, tries=2, early_minutes=75)
    journal = told(board)
    assert journal is not None
    assert journal.first_firing_s == 9 * 3600 - 75 * 60
    remember(board, DIVE.block, 40_000, tries=0)
    journal = told(board)
    assert journal is not None
    assert journal.first_firing_s is None


@settings(deadline=None, max_examples=100)
@given(st.binary(min_size=320, max_size=320))
def test_any_memory_whatever_tells_of_a_dive_or_of_none(noise: bytes) -> None:
    image = bytearray(blank_image(PLATE))
    image[: len(noise)] = noise
    told(VirtualBoard(Memory(bytes(image))))
