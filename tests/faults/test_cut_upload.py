"""Cutting the link or the power at every byte of an upload leaves the old or the new settings, never a mix."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from bench_rig import BOARD_TYPE, NEW, OLD, CutPort, PowerCut, again, blank_board, count_writes, cut_power, port_to

from schedgen.errors import LinkError
from schedgen.link import deck
from schedgen.link.virtual import VirtualBoard

HOW = ("before", "torn", "after")


def board_with(*uploads: bytes) -> VirtualBoard:
    """A board on which these blocks were uploaded, one after the other."""
    board = blank_board()
    for settings in (s for block in uploads for s in (OLD, NEW) if s.block == block):
        deck.upload(port_to(board), settings, BOARD_TYPE)
    return board


# What the board held before: nothing, one dive, two dives, and two dives of which the older comes again.
BEFORE = {
    "blank": (),
    "one dive": (OLD.block,),
    "the other slot full": (OLD.block, OLD.block, NEW.block, OLD.block),
}


@pytest.fixture(params=BEFORE.values(), ids=BEFORE.keys())
def image(request: pytest.FixtureRequest) -> bytes:
    return bytes(board_with(*request.param).memory.image)


def from_image(image: bytes) -> VirtualBoard:
    board = blank_board()
    board.memory.image[:] = image
    return again(board)


def lengths_of(image: bytes) -> tuple[int, int]:
    """Bytes that a whole upload sends and receives."""
    port = CutPort(port_to(from_image(image)))
    deck.upload(port, NEW, BOARD_TYPE)
    return port.count_sent, port.count_received


def assert_old_or_new(board: VirtualBoard, old: bytes | None) -> None:
    assert board.holdings.active_block() in (old, NEW.block)


def assert_can_be_repeated(board: VirtualBoard) -> None:
    result = deck.upload(port_to(board), NEW, BOARD_TYPE)
    assert board.holdings.active_block() == NEW.block
    assert deck.readback(port_to(board)).block == NEW.block
    assert result.code == NEW.code


@pytest.mark.parametrize("way", ["sent", "received"])
def test_cutting_the_link_after_every_byte_leaves_old_or_new(image: bytes, way: str) -> None:
    old = from_image(image).holdings.active_block()
    total = lengths_of(image)[way == "received"]
    seen = set()
    for count in range(total):
        board = from_image(image)
        cut = CutPort(port_to(board), **{way: count})
        with pytest.raises(LinkError):
            deck.upload(cut, NEW, BOARD_TYPE)
        assert_old_or_new(board, old)
        assert not board.holdings.armed_code
        seen.add(board.holdings.active_block())
        assert_can_be_repeated(board)
        assert_old_or_new(again(board), NEW.block)
    assert seen == {old, NEW.block}  # both happen: the test cuts on either side of the commit


@pytest.mark.parametrize("how", HOW)
def test_cutting_the_power_at_every_write_of_an_upload_leaves_old_or_new(image: bytes, how: str) -> None:
    old = from_image(image).holdings.active_block()
    total = count_writes(board := from_image(image), lambda: deck.upload(port_to(board), NEW, BOARD_TYPE))
    for count in range(1, total + 1):
        board = from_image(image)
        cut_power(board, count, how)
        with pytest.raises(PowerCut):
            deck.upload(port_to(board), NEW, BOARD_TYPE)
        board = again(board)
        assert_old_or_new(board, old)
        if count == total:  # the last byte of the CRC decides, unless it was torn into another value
            assert board.holdings.active_block() == (NEW.block if how == "after" else old)
        assert_can_be_repeated(board)


def dry_run(image: bytes, action: Callable[[VirtualBoard], object]) -> int:
    board = from_image(image)
    return count_writes(board, lambda: action(board))


@pytest.mark.parametrize("how", HOW)
@pytest.mark.parametrize("before", [(OLD.block,), (OLD.block, NEW.block)], ids=["one dive", "two dives"])
def test_cutting_the_power_at_every_write_of_arming_leaves_armed_or_not(before: tuple[bytes, ...], how: str) -> None:
    image = bytes(board_with(*before).memory.image)
    code = from_image(image).holdings.active()
    block = from_image(image).holdings.active_block()
    dive = {OLD.block: OLD, NEW.block: NEW}[block or b""].code
    assert code is not None
    total = dry_run(image, lambda board: deck.arm(port_to(board), dive))
    assert total > 20
    for count in range(1, total + 1):
        board = from_image(image)
        cut_power(board, count, how)
        with pytest.raises(PowerCut):
            deck.arm(port_to(board), dive)
        board = again(board)
        assert board.holdings.active_block() == block
        if how != "torn":
            assert (board.holdings.armed_code is not None) == (count == total and how == "after")
        if board.holdings.armed_code is not None:
            slots = board.holdings.slots()
            assert slots[0] == slots[1]  # never armed before both slots hold the dive
        armed = deck.arm(port_to(board), dive)
        assert (armed.state, armed.code) == ("armed", dive)


@pytest.mark.parametrize("how", HOW)
def test_cutting_the_power_at_every_write_of_disarming_leaves_armed_or_not(how: str) -> None:
    board = board_with(OLD.block)
    deck.arm(port_to(board), OLD.code)
    image = bytes(board.memory.image)
    total = dry_run(image, lambda board: deck.disarm(port_to(board)))
    for count in range(1, total + 1):
        board = from_image(image)
        cut_power(board, count, how)
        with pytest.raises(PowerCut):
            deck.disarm(port_to(board))
        board = again(board)
        assert board.holdings.active_block() == OLD.block
        assert board.holdings.armed_code in (None, from_image(image).holdings.armed_code)
        assert deck.disarm(port_to(board)).state == "on bench"


def test_rearming_another_dive_never_flies_the_first_ones_essentials() -> None:
    board = board_with(OLD.block)
    deck.arm(port_to(board), OLD.code)
    deck.disarm(port_to(board))
    deck.upload(port_to(board), NEW, BOARD_TYPE)
    image = bytes(board.memory.image)
    total = dry_run(image, lambda board: deck.arm(port_to(board), NEW.code))
    for how in HOW:
        for count in range(1, total + 1):
            board = from_image(image)
            cut_power(board, count, how)
            with pytest.raises(PowerCut):
                deck.arm(port_to(board), NEW.code)
            record = again(board).holdings.essentials()
            assert record is None or record.armed == (record.dive_code == NEW.code)


def test_an_unfinished_upload_goes_on_where_it_was() -> None:
    board = board_with(OLD.block)
    sent, _ = lengths_of(bytes(board.memory.image))
    with pytest.raises(LinkError):
        deck.upload(CutPort(port_to(board), sent=sent * 6 // 10), NEW, BOARD_TYPE)
    assert board.holdings.active_block() == OLD.block
    result = deck.upload(port_to(board), NEW, BOARD_TYPE)
    assert 0 < result.written < len(NEW.block)
