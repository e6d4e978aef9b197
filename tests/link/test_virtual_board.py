"""The virtual board keeps the rules: slots, commit, arming, pulses, repetitions, and the plain question."""

from __future__ import annotations

import zlib

import pytest
from bench_rig import BOARD_TYPE, LARGE_PLATE, NEW, OLD, PLATE, again, blank_board, port_to, settings_of
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import BlockError, LinkError
from schedgen.link import deck
from schedgen.link.client import Client, Refused
from schedgen.link.eeprom import Memory, Nameplate, blank_image
from schedgen.link.frames import Frame, FrameDecoder, encode_frame
from schedgen.link.messages import NO_CODE, REPLIES, REQUESTS, encode
from schedgen.link.ports import VirtualPort
from schedgen.link.virtual import VirtualBoard
from schedgen.settings.code import code_number
from schedgen.settings.slot import pack_slot

SENTENCE = b"halyard-4809 holds no dive, state on bench, pack 12.000 V, clock 0 s.\r\n"


@pytest.fixture
def board() -> VirtualBoard:
    """A board with one dive on it."""
    board = blank_board()
    deck.upload(port_to(board), OLD, BOARD_TYPE)
    return board


def client_of(board: VirtualBoard) -> Client:
    client = Client(port_to(board), limit_s=1e9)
    client.identify()
    return client


def refused(client: Client, name: str, **values: int | bytes | str) -> str:
    before = client.port._device.memory.image[:]  # type: ignore[attr-defined]
    with pytest.raises(Refused) as caught:
        client.request(name, **values)
    assert client.port._device.memory.image == before  # type: ignore[attr-defined]
    return caught.value.reason


def frame(sequence: int, name: str, **values: int | bytes | str) -> bytes:
    return encode_frame(Frame(sequence, REQUESTS[name].number, encode(REQUESTS[name], values)))


def test_a_blank_board_says_so() -> None:
    identity = client_of(blank_board()).identify()
    assert (identity.code, identity.active, identity.codes) == (None, None, (None, None))
    assert (identity.board, identity.board_type, identity.part) == ("halyard-4809", BOARD_TYPE, "ATmega4809")
    assert (identity.eeprom_size, identity.slot_size) == (256, 112)
    assert (identity.state, identity.armed, identity.faults) == ("on bench", False, ())


def test_uploads_take_the_two_slots_in_turn_and_the_newest_counts() -> None:
    board = blank_board()
    results = [deck.upload(port_to(board), dive, BOARD_TYPE) for dive in (OLD, NEW, OLD, NEW)]
    assert [(r.slot, r.sequence) for r in results] == [("A", 1), ("B", 2), ("A", 3), ("B", 4)]
    assert board.holdings.active_block() == NEW.block


def test_sequence_numbers_go_round() -> None:
    board = blank_board()
    board.memory.write(0, pack_slot(254, OLD.block))
    for dive, expected in ((NEW, 255), (OLD, 0), (NEW, 1)):
        assert deck.upload(port_to(board), dive, BOARD_TYPE).sequence == expected
        assert board.holdings.active_block() == dive.block


def test_the_slot_that_counts_cannot_be_written(board: VirtualBoard) -> None:
    client = client_of(board)
    assert refused(client, "write", slot=0, offset=3, length=1, data=b"x") == "out of range"
    client.request("write", slot=1, offset=3, length=1, data=b"x")


@pytest.mark.parametrize(("offset", "length"), [(108, 1), (77, 32), (65535, 1), (0, 0)])
def test_a_write_past_the_room_for_a_block_is_refused(board: VirtualBoard, offset: int, length: int) -> None:
    values: dict[str, int | bytes | str] = {"slot": 1, "offset": offset, "length": length, "data": bytes(length)}
    assert refused(client_of(board), "write", **values) == "out of range"


def test_a_commit_checks_what_the_memory_really_holds(board: VirtualBoard) -> None:
    client = client_of(board)
    body = pack_slot(2, NEW.block)[:-4]
    for at in range(0, len(body), 32):
        client.request("write", slot=1, offset=at, length=len(body[at : at + 32]), data=body[at : at + 32])
    board.memory.image[112 + 50] ^= 1  # a cell that does not keep its bit
    crc = zlib.crc32(body)
    commit = {"slot": 1, "crc": crc}
    assert refused(client, "commit", **commit) == "bad checksum"
    assert board.holdings.active_block() == OLD.block
    board.memory.image[112 + 50] ^= 1
    assert client.request("commit", **commit).number("code") == code_number(NEW.block)
    assert board.holdings.active_block() == NEW.block
    changes = board.memory.changes
    client.request("commit", **commit)  # once more: answered, nothing written
    assert board.memory.changes == changes


def test_settings_for_another_board_are_refused_by_the_board_itself(board: VirtualBoard) -> None:
    client = client_of(board)
    other = settings_of(board_type=BOARD_TYPE + 1)
    body = pack_slot(2, other.block)[:-4]
    for at in range(0, len(body), 32):
        client.request("write", slot=1, offset=at, length=len(body[at : at + 32]), data=body[at : at + 32])
    commit = {"slot": 1, "crc": zlib.crc32(body)}
    with pytest.raises(Refused, match="cannot obey"):
        client.request("commit", **commit)
    assert client.identify().code == OLD.code


def test_bytes_that_are_no_settings_never_count(board: VirtualBoard) -> None:
    client = client_of(board)
    body = bytes((2, 20)) + b"\xa5" * 19
    client.request("write", slot=1, offset=0, length=len(body), data=body)
    commit = {"slot": 1, "crc": zlib.crc32(body)}
    with pytest.raises(Refused, match="cannot obey"):
        client.request("commit", **commit)
    assert client.identify().code == OLD.code
    board.memory.write(112, body + zlib.crc32(body).to_bytes(4, "little"))  # even where they got there
    assert board.holdings.active_block() == OLD.block


def test_arming_needs_the_code_of_what_counts(board: VirtualBoard) -> None:
    client = client_of(board)
    assert refused(client_of(blank_board()), "arm", code=1) == "no settings"
    assert refused(client, "arm", code=code_number(NEW.block)) == "wrong code"
    assert refused(client, "arm", code=NO_CODE) == "wrong code"


def test_arming_copies_the_settings_and_locks_the_board(board: VirtualBoard) -> None:
    code = code_number(OLD.block)
    client = client_of(board)
    client.request("arm", code=code)
    layout = board.holdings.layout
    size = len(OLD.block) + 5
    assert board.memory.read(layout.slot_a, size) == board.memory.read(layout.slot_b, size)
    record = board.holdings.essentials()
    assert record is not None
    assert (record.armed, record.dive_code) == (True, OLD.code)
    assert (record.at_s, record.not_before_s, record.latest_s) == (9 * 3600, 3 * 3600, 14 * 3600)
    assert (record.output, record.fire_s, record.tries, record.pause_s) == (6, 480, 3, 300)
    assert record.keep == 0b1010  # OUT2 and OUT4
    for slot in (0, 1):
        assert refused(client, "write", slot=slot, offset=0, length=1, data=b"x") == "armed"
        assert refused(client, "commit", slot=slot, crc=0) == "armed"
    assert refused(client, "pulse", output=0, steps=7, level=100, code=NO_CODE) == "armed"
    assert refused(client, "pulse", output=6, steps=7, level=100, code=code) == "armed"
    assert refused(client, "name", given_name="x") == "armed"
    assert refused(client, "arm", code=code ^ 1) == "armed"
    changes = board.memory.changes
    client.request("arm", code=code)  # once more: done already
    assert board.memory.changes == changes
    assert again(board).holdings.armed_code == code  # the power may go
    client.request("disarm")
    client.request("write", slot=1, offset=3, length=1, data=b"x")


def test_once_armed_a_slot_with_another_code_never_counts(board: VirtualBoard) -> None:
    deck.arm(port_to(board), OLD.code)
    newer = pack_slot(9, NEW.block)
    board.memory.write(112, newer)
    assert board.holdings.active_block() == OLD.block
    board.memory.write(0, newer)
    assert board.holdings.active_block() is None
    identity = client_of(board).identify()
    assert identity.armed
    assert identity.faults == ("no slot holds valid settings for the armed dive",)
    assert client_of(board).request("disarm") == {}
    assert not again(board).holdings.armed_code


def test_an_eeprom_that_does_not_keep_the_copy_is_not_armed(board: VirtualBoard) -> None:
    def stuck(address: int, value: int) -> None:
        board.memory.store(address, value ^ 1 if address == 112 + 40 else value)

    board.memory.on_write = stuck
    image = bytearray(board.memory.image)
    with pytest.raises(Refused) as caught:
        client_of(board).request("arm", code=code_number(OLD.block))
    assert caught.value.reason == "memory failed"
    assert "Do not fly this board" in caught.value.next_step
    assert board.holdings.armed_code is None
    assert board.memory.image[:112] == image[:112]


def test_a_copy_that_disturbs_the_slot_it_comes_from_is_not_armed(board: VirtualBoard) -> None:
    def disturb(address: int, value: int) -> None:
        board.memory.store(address, value)
        if address == 112 + 40:
            board.memory.store(40, board.memory.image[40] ^ 1)

    board.memory.on_write = disturb
    with pytest.raises(Refused) as caught:
        client_of(board).request("arm", code=code_number(OLD.block))
    assert caught.value.reason == "memory failed"
    assert board.holdings.armed_code is None


@pytest.mark.parametrize("action", ["arm", "disarm"])
def test_the_essentials_record_is_void_from_its_first_change_to_its_last(board: VirtualBoard, action: str) -> None:
    deck.arm(port_to(board), OLD.code)
    deck.disarm(port_to(board))
    if action == "disarm":
        deck.arm(port_to(board), OLD.code)
    row = 256
    seen: list[tuple[int, bool]] = []

    def watch(address: int, value: int) -> None:
        board.memory.store(address, value)
        if address >= row:
            seen.append((address, board.memory.image[row] == 0xFF))

    board.memory.on_write = watch
    client_of(board).request(action, **({"code": code_number(OLD.block)} if action == "arm" else {}))
    assert len(seen) >= 3
    assert seen[0] == (row, True)
    assert all(void for _, void in seen[:-1])
    assert seen[-1] == (row, False)


@pytest.mark.parametrize("output", [6, 7])
def test_a_release_is_pulsed_only_with_the_code_and_at_most_ten_seconds(board: VirtualBoard, output: int) -> None:
    client, code = client_of(board), code_number(OLD.block)
    assert refused(client, "pulse", output=output, steps=7, level=100, code=NO_CODE) == "wrong code"
    assert refused(client, "pulse", output=output, steps=641, level=100, code=code) == "out of range"
    assert not board.pulses
    client.request("pulse", output=output, steps=640, level=100, code=code)
    (pulse,) = board.pulses
    assert (pulse.output, pulse.steps, pulse.level) == (output, 10 * 64, 100)


def test_a_release_of_a_board_without_settings_is_never_pulsed() -> None:
    board = blank_board()
    assert refused(client_of(board), "pulse", output=6, steps=7, level=100, code=NO_CODE) == "no settings"


def test_a_pulse_ends_by_itself_and_can_be_ended_sooner(board: VirtualBoard) -> None:
    port = port_to(board)
    client = Client(port, limit_s=1e9)
    client.request("pulse", output=4, steps=128, level=30, code=NO_CODE)
    assert board.level_of(4) == 30
    assert refused(client, "pulse", output=5, steps=1, level=30, code=NO_CODE) == "busy"
    port.read(port.now() + 1.9)
    assert board.level_of(4) == 30
    port.read(port.now() + 0.2)
    assert board.level_of(4) == 0
    client.request("pulse", output=5, steps=128, level=30, code=NO_CODE)
    client.request("pulse", output=5, steps=0, level=0, code=NO_CODE)
    assert board.level_of(5) == 0


@pytest.mark.parametrize(("output", "steps", "level"), [(0, 7, 50), (6, 7, 50), (0, 0, 100), (4, 0, 1)])
def test_a_pulse_that_makes_no_sense_is_refused(board: VirtualBoard, output: int, steps: int, level: int) -> None:
    values = {"output": output, "steps": steps, "level": level, "code": code_number(OLD.block)}
    assert refused(client_of(board), "pulse", **values) == "out of range"


def test_an_output_that_the_board_lacks_is_refused() -> None:
    client = client_of(blank_board(LARGE_PLATE))
    assert refused(client, "pulse", output=4, steps=7, level=100, code=NO_CODE) == "out of range"


def test_a_repeated_request_gets_the_same_answer_and_is_not_obeyed_again(board: VirtualBoard) -> None:
    board.feed(frame(0, "identify", token=7), 0.0)
    once = frame(40, "pulse", output=0, steps=32, level=100, code=NO_CODE)
    answer = board.feed(once, 0.1)
    assert board.feed(once, 5.0) == answer  # long after the pulse has ended
    assert len(board.pulses) == 1
    off = frame(41, "pulse", output=6, steps=32, level=100, code=1)
    assert board.feed(off, 5.1) == board.feed(off, 5.2)  # a refusal is an answer too
    assert len(board.pulses) == 1


def test_a_new_session_forgets_the_last_answer(board: VirtualBoard) -> None:
    pulse = frame(40, "pulse", output=0, steps=7, level=100, code=NO_CODE)
    for now in (0.0, 10.0):
        board.feed(frame(0, "identify", token=7), now)
        board.feed(pulse, now + 1)
    assert len(board.pulses) == 2


@pytest.mark.parametrize(
    "bad",
    [
        Frame(0, REQUESTS["disarm"].number),  # sequence 0 is for identify alone
        Frame(3, REQUESTS["identify"].number, b"\1\2"),
        Frame(3, 55, b""),
    ],
)
def test_a_readable_frame_that_is_no_request_is_refused(board: VirtualBoard, bad: Frame) -> None:
    (reply,) = FrameDecoder().feed(board.feed(encode_frame(bad), 0.0))
    assert reply == Frame(bad.sequence, 255, bytes((bad.kind, 5)))


def test_frames_of_the_wrong_length_and_replies_get_no_answer(board: VirtualBoard) -> None:
    for silent in (Frame(3, 6, b"\0"), Frame(3, 1 + 128, b"\0\0"), Frame(3, 255, b"\1\1"), Frame(3, 3, b"\0\0\0\2x")):
        assert board.feed(encode_frame(silent), 0.0) == b""


def test_a_frame_that_lost_its_last_zero_byte_is_not_obeyed(board: VirtualBoard) -> None:
    # A CRC without final inversion stays right when a trailing zero goes missing; the length does not.
    for token in range(1 << 16):
        whole = frame(0, "identify", token=token)
        if whole[-2] == 1:  # the CRC's low byte is zero
            assert board.feed(whole[:-2] + b"\0", 0.0) == b""
            assert board.feed(whole, 0.0) != b""
            return
    raise AssertionError("no such token")


def test_reading_goes_no_further_than_the_memory(board: VirtualBoard) -> None:
    client = client_of(board)
    assert client.read_area("slot A", 112) == bytes(board.memory.image[:112])
    assert client.read_area("history") == b"\xff" * 32  # the second half of the user row
    assert refused(client, "read", address=320 - 12, length=13) == "out of range"
    assert refused(client, "read", address=0xFFFF, length=1) == "out of range"
    assert client.read_area("journal", 32) == b"\xff" * 32


def test_a_given_name_is_kept_and_taken_away_again(board: VirtualBoard) -> None:
    assert deck.rename(port_to(board), "Tern 2").called == 'halyard-4809 "Tern 2"'
    assert deck.readback(port_to(again(board))).identity.given_name == "Tern 2"
    assert deck.rename(port_to(board), "").called == "halyard-4809"
    deck.arm(port_to(board), OLD.code)
    deck.disarm(port_to(board))
    assert board.holdings.given_name == ""


def test_start_needs_an_armed_board_whose_trigger_is_command(board: VirtualBoard) -> None:
    client, code = client_of(board), code_number(OLD.block)
    assert refused(client, "start", code=code) == "not armed"
    client.request("arm", code=code)
    assert refused(client, "start", code=code ^ 1) == "wrong code"
    assert refused(client, "start", code=code) == "out of range"  # this dive starts by water


def test_the_clock_of_a_dive_that_starts_by_command_runs_from_start() -> None:
    board = blank_board()
    dive = settings_of(trigger="command")
    deck.upload(port_to(board), dive, BOARD_TYPE)
    deck.arm(port_to(board), dive.code)
    port = port_to(board)
    client = Client(port, limit_s=1e9)
    client.request("start", code=code_number(dive.block))
    port.read(port.now() + 90)
    identity = client.identify()
    assert (identity.state, identity.elapsed_s) == ("on deck", 90)
    assert deck.disarm(port).state == "on bench"


def test_a_large_board_has_large_slots_and_its_row_inside_the_eeprom() -> None:
    board = blank_board(LARGE_PLATE)
    dive = settings_of(board_type=LARGE_PLATE.board_type, count=15, eeprom=1024)
    assert len(dive.block) > 107
    deck.upload(port_to(board), dive, LARGE_PLATE.board_type)
    deck.arm(port_to(board), dive.code)
    held = deck.readback(port_to(again(board)))
    assert held.block == dive.block
    assert held.essentials is not None
    assert held.identity.slot_size == 260
    assert bytes(board.memory.image[1024:1056]) == b"\xff" * 32


@pytest.mark.parametrize(
    ("line", "answered"),
    [
        (b"?\n", True),
        (b"?\r\n", True),
        (b"\0?\n", True),
        (b"\n?\n", True),
        (b"\r\n?\r\n", True),
        (b"\n\n\n?\n?\n", True),
        (b"help\n?\n", True),
        (b"x" * 100 + b"\n?\n", True),
        (b"\x05ab\n?\n", True),
        (b"??\n", False),
        (b"? \n", False),
        (b" ?\n", False),
        (b"help ?\n", False),
        (b"\x05ab?\n\0", False),
        (b"\x05ab\n?\n\0", False),
        (b"\x05ab\n?\nx", False),
    ],
)
def test_the_question_is_answered_at_the_beginning_of_a_line_once_there_is_silence(line: bytes, answered: bool) -> None:
    board = blank_board()
    assert board.feed(line, 0.0) == b""
    assert board.feed(b"", 0.09) == b""
    assert board.feed(b"", 0.11) == (SENTENCE if answered else b"")
    assert board.feed(b"", 5.0) == b""


def test_the_question_may_be_typed_slowly_and_after_a_silence() -> None:
    board = blank_board()
    assert board.feed(b"junk", 0.0) == b""
    assert board.feed(b"?", 5.0) == b""
    assert board.feed(b"\r", 9.0) == b""
    assert board.feed(b"\x05ab", 9.5) == SENTENCE
    assert board.feed(b"?\n", 9.55) == b""
    assert board.feed(b"?", 9.7) == b""  # 50 ms were no silence: the last question stood within a line
    assert board.feed(b"\n", 9.7) == b""
    assert board.feed(b"", 9.9) == SENTENCE


def test_newline_question_newline_within_a_frame_is_data(board: VirtualBoard) -> None:
    board.feed(frame(0, "identify", token=1), 0.0)
    data = b"abc\n?\ndef"
    answer = board.feed(frame(8, "write", slot=1, offset=20, length=len(data), data=data), 0.0)
    assert [reply.kind for reply in FrameDecoder().feed(answer)] == [REPLIES["write"].number]
    assert answer.count(b"halyard") == 0
    assert board.memory.read(112 + 20, len(data)) == data


def test_the_sentence_names_dive_state_voltage_and_clock(board: VirtualBoard) -> None:
    board.pack.open_v = 11.056
    deck.arm(port_to(board), OLD.code)
    expected = f"halyard-4809 holds dive {OLD.code}, state armed, pack 11.056 V, clock 0 s.\r\n"
    assert board.feed(b"\0?\n", 50.0) == b""
    assert board.feed(b"", 50.2).decode("ascii") == expected


def test_a_silence_ends_an_unfinished_frame(board: VirtualBoard) -> None:
    whole = frame(0, "identify", token=9)
    board.feed(whole[:4], 0.0)
    assert board.feed(whole, 0.05) == b""  # still the same frame: damaged
    board.feed(whole[:4], 0.1)
    assert board.feed(whole, 0.3) != b""


@settings(deadline=None, max_examples=300)
@given(st.lists(st.tuples(st.binary(max_size=70), st.sampled_from((0.0, 0.01, 0.2)))))
def test_arbitrary_bytes_never_raise_and_change_nothing(pieces: list[tuple[bytes, float]]) -> None:
    board = busy_board()
    before = bytes(board.memory.image)
    now = 0.0
    for piece, pause in pieces:
        now += pause
        board.feed(piece, now)
    assert bytes(board.memory.image) == before  # 16 bits of CRC stand between noise and a request
    assert not board.pulses


FRAMES = st.builds(
    Frame,
    st.integers(0, 255),
    st.one_of(st.sampled_from([m.number for m in REQUESTS.values()]), st.integers(0, 255)),
    st.one_of(
        st.binary(max_size=54),
        st.integers(0, 32).flatmap(lambda n: st.binary(min_size=n + 4, max_size=n + 4)),
        st.just(code_number(OLD.block).to_bytes(4, "little")),
    ),
)


@settings(deadline=None, max_examples=300)
@given(st.lists(FRAMES, max_size=12))
def test_arbitrary_valid_frames_never_raise_and_are_answered_in_kind(frames: list[Frame]) -> None:
    board = busy_board()
    for asked in frames:
        replies = FrameDecoder().feed(board.feed(encode_frame(asked), 0.0))
        assert len(replies) <= 1
        assert board.holdings.active_block() == OLD.block  # no commit of theirs can have the right CRC-32
        for reply in replies:
            assert reply.sequence == asked.sequence


def busy_board() -> VirtualBoard:
    """A board with a dive on it, made from a kept image."""
    image = bytearray(blank_image(PLATE))
    slot = pack_slot(1, OLD.block)
    image[: len(slot)] = slot
    return VirtualBoard(Memory(bytes(image)))


@settings(deadline=None, max_examples=200)
@given(st.binary(min_size=256, max_size=288))
def test_any_memory_whatever_gives_a_board_that_answers(noise: bytes) -> None:
    image = bytearray(blank_image(PLATE))
    image[: len(noise)] = noise
    identity = deck.readback(VirtualPort(VirtualBoard(Memory(bytes(image))))).identity
    assert identity.code is None
    assert not identity.armed


def test_what_is_no_image_of_a_board_is_refused() -> None:
    good = blank_image(PLATE)
    for bad in (b"", good[:-1], good[:-1] + b"\0", bytes(320)):
        with pytest.raises(LinkError, match="not the image of a virtual board"):
            Nameplate.unpack(bad)
    assert Nameplate.unpack(good) == PLATE
    assert Nameplate.unpack(blank_image(LARGE_PLATE)) == LARGE_PLATE
    with pytest.raises(BlockError, match="no layout for an EEPROM of 512 bytes"):
        blank_image(Nameplate(1, "x", "ATmega4809", 512, ()))
