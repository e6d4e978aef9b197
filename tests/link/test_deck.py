"""Upload, readback, arm and disarm: what they check before, what they prove after, and what they say."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from bench_rig import BOARD_TYPE, LARGE_PLATE, NEW, OLD, blank_board, port_to, settings_of

from schedgen.errors import BlockError, BoardRefused, BoardSilent, Differs, OutOfRange, UsageError, WrongBoard
from schedgen.link import deck, messages, virtual
from schedgen.link.client import LIMIT_S, Client, Refused
from schedgen.link.frames import Frame, FrameDecoder, encode_frame
from schedgen.link.messages import REQUESTS
from schedgen.link.ports import VirtualPort
from schedgen.link.virtual import VirtualBoard


class Spy:
    """A board whose traffic is looked at and, if wished, meddled with after a request of a kind was obeyed."""

    def __init__(self, board: VirtualBoard) -> None:
        self.board = board
        self.kinds: list[int] = []
        self.sequences: list[int] = []
        self.after: dict[str, Callable[[], None]] = {}
        self._decoder = FrameDecoder()

    def feed(self, data: bytes, now_s: float) -> bytes:
        answer = self.board.feed(data, now_s)
        for frame in self._decoder.feed(data):
            self.kinds.append(frame.kind)
            self.sequences.append(frame.sequence)
            for name, meddle in self.after.items():
                if frame.kind == REQUESTS[name].number:
                    meddle()
        return answer

    def count(self, name: str) -> int:
        return self.kinds.count(REQUESTS[name].number)


def spied() -> tuple[Spy, VirtualPort]:
    spy = Spy(blank_board())
    return spy, VirtualPort(spy)


def test_the_same_upload_twice_writes_nothing_and_is_verified_all_the_same() -> None:
    spy, port = spied()
    first = deck.upload(port, NEW, BOARD_TYPE)
    assert (first.unchanged, first.written) == (False, len(NEW.block) + 5)
    changes = spy.board.memory.changes
    second = deck.upload(port, NEW, BOARD_TYPE)
    assert (second.unchanged, second.slot, second.sequence) == (True, first.slot, first.sequence)
    assert spy.board.memory.changes == changes
    assert second.before == second.after == first.after


def test_a_bit_that_changes_after_the_commit_is_never_verified() -> None:
    for address in (0, 1, 50, len(NEW.block) + 4):
        spy, port = spied()

        def flip(spy: Spy = spy, address: int = address) -> None:
            spy.board.memory.image[address] ^= 0x10

        spy.after["commit"] = flip
        with pytest.raises(Differs, match=f"byte {address} of slot A") as caught:
            deck.upload(port, NEW, BOARD_TYPE)
        assert caught.value.exit_code == 1


def test_a_slot_that_stops_counting_while_it_is_read_back_is_never_verified() -> None:
    spy, port = spied()
    deck.upload(port, OLD, BOARD_TYPE)
    reads = [0]

    def forget() -> None:
        reads[0] += 1
        if reads[0] == 8:  # the last piece of the readback: four before the commit, four after
            spy.board.memory.image[112] ^= 1

    spy.after["read"] = forget
    with pytest.raises(Differs, match=f"says that {OLD.code} counts"):
        deck.upload(port, NEW, BOARD_TYPE)
    assert reads == [8]


def test_nothing_is_written_to_a_board_of_another_type() -> None:
    board = blank_board(LARGE_PLATE)
    before = bytes(board.memory.image)
    spy = Spy(board)
    with pytest.raises(WrongBoard, match="This board is cleat-328p, type 0x328b; the dive is for type 0x4d2e"):
        deck.upload(VirtualPort(spy), NEW, BOARD_TYPE)
    assert spy.count("write") == spy.count("commit") == 0
    assert bytes(board.memory.image) == before


def test_settings_that_cannot_be_for_the_board_are_refused_before_the_port_is_used() -> None:
    spy, port = spied()
    for block, board_type in ((NEW.block, BOARD_TYPE + 1), (b"\x05junk", BOARD_TYPE)):
        with pytest.raises(BlockError):
            deck.upload(port, replace(NEW, block=block), board_type)
    assert not spy.kinds


def test_settings_too_long_for_the_slot_are_refused_before_anything_is_written() -> None:
    spy, port = spied()
    with pytest.raises(WrongBoard, match=r"\d+ bytes, a slot of this board holds 107"):
        deck.upload(port, settings_of(count=15, eeprom=1024), BOARD_TYPE)
    assert spy.count("write") == 0


@pytest.mark.parametrize("action", [lambda port: deck.upload(port, NEW, BOARD_TYPE), deck.readback])
def test_another_layout_version_is_refused(
    monkeypatch: pytest.MonkeyPatch, action: Callable[[VirtualPort], object]
) -> None:
    monkeypatch.setattr(virtual, "LAYOUT_VERSION", 7)
    with pytest.raises(WrongBoard, match="newer than this program: it reads layout 7"):
        action(spied()[1])


def test_another_protocol_version_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(messages, "PROTOCOL_VERSION", 9)
    with pytest.raises(WrongBoard, match="protocol version 9"):
        deck.readback(spied()[1])


def test_an_armed_board_takes_no_upload_and_says_with_what_it_is_armed() -> None:
    spy, port = spied()
    deck.upload(port, OLD, BOARD_TYPE)
    deck.arm(port, OLD.code)
    writes = spy.count("write")
    with pytest.raises(BoardRefused, match=f"armed with dive {OLD.code}") as caught:
        deck.upload(port, NEW, BOARD_TYPE)
    assert "schedgen disarm" in caught.value.next_step
    assert spy.count("write") == writes


def test_arming_with_another_code_says_what_to_do() -> None:
    _, port = spied()
    deck.upload(port, OLD, BOARD_TYPE)
    with pytest.raises(Refused) as caught:
        deck.arm(port, NEW.code)
    assert caught.value.reason == "wrong code"
    assert caught.value.exit_code == 3
    assert "readback" in caught.value.next_step


@pytest.mark.parametrize("code", ["", "ABC", "ABCDEFG", "AB CDE", "ÄBCDEF", "ABCDE!"])
def test_what_is_no_dive_code_never_reaches_the_board(code: str) -> None:
    spy, port = spied()
    with pytest.raises(UsageError):
        deck.arm(port, code)
    assert not spy.kinds


def test_a_code_may_be_typed_in_small_letters() -> None:
    _, port = spied()
    deck.upload(port, OLD, BOARD_TYPE)
    assert deck.arm(port, f" {OLD.code.lower()} ").armed


def test_readback_of_a_blank_board_finds_nothing_and_changes_nothing() -> None:
    spy, port = spied()
    before = bytes(spy.board.memory.image)
    held = deck.readback(port)
    assert (held.block, held.code, held.slots, held.essentials) == (None, None, (None, None), None)
    assert bytes(spy.board.memory.image) == before
    assert set(spy.kinds) == {REQUESTS["identify"].number, REQUESTS["read"].number}


def test_readback_gives_both_slots_and_which_counts() -> None:
    _, port = spied()
    deck.upload(port, OLD, BOARD_TYPE)
    deck.upload(port, NEW, BOARD_TYPE)
    held = deck.readback(port)
    assert [slot and slot.block for slot in held.slots] == [OLD.block, NEW.block]
    assert (held.identity.active, held.code, held.block) == (1, NEW.code, NEW.block)
    assert held.raw[1][1 : 1 + len(NEW.block)] == NEW.block


def test_an_upload_costs_few_bytes_beyond_its_own() -> None:
    spy, port = spied()
    deck.upload(port, NEW, BOARD_TYPE)
    assert spy.count("write") == 4
    assert spy.count("read") == 8
    assert spy.count("identify") == 2


def test_the_whole_session_keeps_its_limit_on_a_line_that_always_answers_late() -> None:
    board = blank_board()

    class Slow:
        def __init__(self) -> None:
            self.waiting = b""

        def feed(self, data: bytes, now_s: float) -> bytes:
            late, self.waiting = self.waiting, board.feed(data, now_s)
            return late if not data else b""

    port = VirtualPort(Slow())
    port.read(1.0)
    begun = port.now()
    try:
        deck.upload(port, NEW, BOARD_TYPE)
    except BoardSilent:
        assert port.now() - begun <= LIMIT_S
    else:
        assert board.holdings.active_block() == NEW.block
        assert port.now() - begun <= LIMIT_S


def test_another_dive_whose_code_happens_to_be_the_same_is_uploaded(monkeypatch: pytest.MonkeyPatch) -> None:
    spy, port = spied()
    deck.upload(port, OLD, BOARD_TYPE)
    monkeypatch.setattr("schedgen.link.deck.dive_code", lambda block: "000000")
    monkeypatch.setattr("schedgen.link.holdings.code_number", lambda block: 0)
    assert not deck.upload(port, NEW, BOARD_TYPE).unchanged
    assert spy.board.holdings.active_block() == NEW.block


def test_a_board_that_answers_armed_and_has_no_record_of_it_is_not_believed() -> None:
    spy, port = spied()
    deck.upload(port, OLD, BOARD_TYPE)

    def forget() -> None:
        spy.board.memory.image[256] ^= 0x40

    spy.after["arm"] = forget
    with pytest.raises(Differs, match="does not confirm"):
        deck.arm(port, OLD.code)


def test_a_board_that_stays_armed_is_not_called_disarmed() -> None:
    spy, port = spied()
    deck.upload(port, OLD, BOARD_TYPE)
    deck.arm(port, OLD.code)
    record = bytes(spy.board.memory.image[256:276])

    def stay() -> None:
        spy.board.memory.image[256:276] = record

    spy.after["disarm"] = stay
    with pytest.raises(Differs, match="still armed"):
        deck.disarm(port)


def test_a_late_answer_to_an_earlier_session_is_passed_over() -> None:
    board = blank_board()
    late = board.feed(encode_frame(Frame(0, 1, b"\x12\x34")), 0.0)  # a blank board, said to somebody else
    deck.upload(port_to(board), OLD, BOARD_TYPE)

    class Late:
        def __init__(self) -> None:
            self.first = late

        def feed(self, data: bytes, now_s: float) -> bytes:
            first, self.first = self.first, b""
            return first + board.feed(data, now_s)

    assert Client(VirtualPort(Late())).identify().code == OLD.code


def test_sessions_number_their_requests_differently() -> None:
    spy, port = spied()
    begun = []
    for _ in range(8):
        Client(port).request("disarm")
        begun.append(spy.sequences[-1])
    assert 0 not in begun
    assert len(set(begun)) > 5


def test_a_session_counts_past_255_without_the_number_of_identify() -> None:
    spy, port = spied()
    client = Client(port, limit_s=1e9)
    for _ in range(600):
        client.request("disarm")
    assert spy.sequences[0] == 0
    assert set(spy.sequences[1:]) == set(range(1, 256))


def test_half_a_frame_on_the_line_costs_no_repetition() -> None:
    _, port = spied()
    port.write(b"\x09half", 1.0)
    begun = port.now()
    assert Client(port).identify().code is None
    assert port.now() == begun


def test_a_silent_board_costs_its_limit_and_not_a_moment_more() -> None:
    class Silent:
        def feed(self, data: bytes, now_s: float) -> bytes:
            return b""

    for limit in (0.0, 0.1, 1.0, 4.9):
        port = VirtualPort(Silent())
        with pytest.raises(BoardSilent):
            Client(port, limit_s=limit).identify()
        assert port.now() == pytest.approx(limit)


def test_a_session_that_has_used_up_its_time_asks_nothing_more() -> None:
    spy, port = spied()
    client = Client(port, limit_s=2.0)
    client.identify()
    port.read(port.now() + 3.0)
    asked = len(spy.kinds)
    with pytest.raises(BoardSilent):
        client.request("disarm")
    assert len(spy.kinds) == asked


def test_a_name_that_a_board_cannot_hold_is_refused_with_its_bound() -> None:
    spy, port = spied()
    with pytest.raises(OutOfRange, match="at most 8 printable ASCII"):
        deck.rename(port, "Kittiwake")
    assert spy.count("name") == 0


def test_every_reason_for_a_refusal_has_its_own_sentence_and_step() -> None:
    said = {reason: Refused(reason) for reason in messages.REASONS.values()}
    assert len({error.message for error in said.values()}) == len(said)
    assert all(error.next_step.endswith(".") and error.message.endswith(".") for error in said.values())
    assert not any(error.message.startswith("The board refused:") for error in said.values())
