"""A line that drops, doubles, delays, flips and cuts bytes: what is called verified is so, and nothing is mixed."""

from __future__ import annotations

import pytest
from bench_rig import BOARD_TYPE, NEW, OLD, BadLine, again, blank_board, port_to

from schedgen.errors import Differs, LinkError
from schedgen.link import deck
from schedgen.link.client import LIMIT_S
from schedgen.link.ports import VirtualPort

RUNS = 300
BATCH = 50


def upload_over_a_bad_line(seed: int) -> str:
    """One run; returns how it ended. Replay one with `upload_over_a_bad_line(SEED)`."""
    board = blank_board()
    deck.upload(port_to(board), OLD, BOARD_TYPE)
    port = VirtualPort(BadLine(board, seed))
    try:
        result = deck.upload(port, NEW, BOARD_TYPE)
        ended = "verified"
        assert result.code == NEW.code
        assert board.holdings.active_block() == NEW.block
    except (LinkError, Differs) as error:
        ended = type(error).__name__
    assert port.now() <= LIMIT_S
    board = again(board)
    assert board.holdings.active_block() in (OLD.block, NEW.block)
    assert board.holdings.essentials() is None
    assert not board.pulses
    result = deck.upload(port_to(board), NEW, BOARD_TYPE)
    assert board.holdings.active_block() == NEW.block
    return ended


@pytest.mark.parametrize("first", range(0, RUNS, BATCH))
def test_an_upload_over_a_bad_line_is_verified_or_fails_and_never_lies(first: int) -> None:
    ended = set()
    for seed in range(first, first + BATCH):
        try:
            ended.add(upload_over_a_bad_line(seed))
        except AssertionError as error:
            raise AssertionError(f"replay with upload_over_a_bad_line({seed})") from error
    assert "verified" in ended  # the lines are not all hopeless ...
    assert len(ended) > 1  # ... and not all good


@pytest.mark.parametrize("seed", range(60))
def test_arming_over_a_bad_line_arms_this_dive_or_none(seed: int) -> None:
    board = blank_board()
    deck.upload(port_to(board), OLD, BOARD_TYPE)
    deck.upload(port_to(board), NEW, BOARD_TYPE)
    port = VirtualPort(BadLine(board, seed))
    try:
        assert deck.arm(port, NEW.code).armed
        assert board.holdings.armed_code is not None
    except (LinkError, Differs):
        pass
    assert port.now() <= LIMIT_S
    assert board.holdings.active_block() == NEW.block
    record = board.holdings.essentials()
    assert record is None or record.dive_code == NEW.code


@pytest.mark.parametrize("seed", range(60))
def test_reading_back_over_a_bad_line_gives_what_is_there_or_fails(seed: int) -> None:
    board = blank_board()
    deck.upload(port_to(board), OLD, BOARD_TYPE)
    before = bytes(board.memory.image)
    port = VirtualPort(BadLine(board, seed))
    try:
        held = deck.readback(port)
        assert (held.block, held.code) == (OLD.block, OLD.code)
    except (LinkError, Differs):
        pass
    assert port.now() <= LIMIT_S
    assert bytes(board.memory.image) == before
