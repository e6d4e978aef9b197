"""The firmware answers as the virtual board does, request by request, and keeps what it is told over any power cut."""

from __future__ import annotations

import random
import zlib
from contextlib import suppress
from dataclasses import replace

import pytest
from host_rig import HOUR, Rig
from test_interlocks import AT, dive

from schedgen.errors import SchedgenError
from schedgen.link import deck
from schedgen.link.client import Client, Refused
from schedgen.link.eeprom import Memory, Nameplate, blank_image
from schedgen.link.frames import Frame, crc16, encode_frame
from schedgen.link.last_dive import last_dive
from schedgen.link.messages import NO_CODE, REQUESTS
from schedgen.link.ports import VirtualPort
from schedgen.link.virtual import VirtualBoard
from schedgen.settings.code import code_number, dive_code
from schedgen.settings.encode import encode
from schedgen.settings.slot import pack_slot

ASKED_ALIKE = ("identify", "read", "write", "commit", "arm", "disarm", "start", "pulse", "name")


def fresh(rig: Rig) -> VirtualPort:
    rig.host.clear()
    rig.host.boot()
    return VirtualPort(rig.host)


def test_upload_readback_arm_and_disarm_work_as_on_any_board(halyard: Rig) -> None:
    plan, _ = dive(halyard)
    made = encode(plan, halyard.names)
    port = fresh(halyard)
    assert deck.upload(port, made, halyard.board.board_type).code == made.code
    assert deck.readback(port).block == made.block
    assert deck.arm(port, made.code).armed
    record = deck.readback(port).essentials
    assert record is not None
    assert (record.dive_code, record.at_s, record.keep) == (made.code, AT, 2)
    assert not deck.disarm(port).armed
    assert deck.rename(port, "number 3").given_name == "number 3"


ADDRESSES = (0, 5, 112, 180, 270, 288, 290, 319, 320, 400)


def random_request(rng: random.Random, name: str, block: bytes) -> bytes:
    values = {
        "identify": [rng.randbytes(2)],
        "read": [rng.choice(ADDRESSES).to_bytes(2, "little") + bytes([rng.randrange(40)])],
        "commit": [
            bytes([rng.randrange(3)]) + rng.choice((rng.randbytes(4), zlib.crc32(b"\1" + block).to_bytes(4, "little")))
        ],
        "arm": [code_number(block).to_bytes(4, "little"), rng.randbytes(4)],
        "disarm": [b"", b"x"],
        "start": [code_number(block).to_bytes(4, "little"), rng.randbytes(4)],
        "pulse": [
            bytes([rng.randrange(10), rng.choice((0, 1, 50, 100, 101))])
            + rng.choice((0, 1, 32, 641)).to_bytes(2, "little")
            + rng.choice((code_number(block), NO_CODE)).to_bytes(4, "little")
        ],
        "name": [b"abc\0\0\0\0\0", b"12345678"],
    }  # fmt: skip
    if name == "write":
        length = rng.choice((0, 1, 16, 32))
        head = bytes([rng.randrange(3), rng.choice((0, 50, 107, 108, 200)), 0, length])
        return head + rng.randbytes(length)
    return rng.choice(values[name])


@pytest.mark.parametrize("seed", range(8))
def test_any_request_gets_the_answer_of_the_virtual_board(halyard: Rig, seed: int) -> None:
    rng = random.Random(seed)
    plan, block = dive(halyard, "command")
    plate = replace(Nameplate.of(halyard.board))
    image = bytearray(blank_image(plate))
    image[: len(block) + 5] = pack_slot(1, block)
    virtual = VirtualBoard(Memory(bytes(image)))
    halyard.host.clear(bytes(image[:256]))
    halyard.host.boot()
    assert plan.primary is not None
    sequence = 0
    for turn in range(250):
        name = rng.choice(ASKED_ALIKE)
        sequence = 0 if name == "identify" else sequence % 255 + 1
        line = encode_frame(Frame(sequence, REQUESTS[name].number, random_request(rng, name, block)))
        expected = virtual.feed(line, 0.0)
        got = halyard.host.receive(line)
        assert got == expected, (turn, name, line.hex())
        assert halyard.host.memory[:224] == bytes(virtual.memory.image[:224]), (turn, name)
        assert halyard.host.memory[256:288] == bytes(virtual.memory.image[256:288]), (turn, name)


def test_a_repeated_request_is_answered_again_and_not_done_again(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.identify()
    line = encode_frame(Frame(5, REQUESTS["pulse"].number, bytes([0, 100, 7, 0, 0xFF, 0xFF, 0xFF, 0xFF])))
    first = halyard.host.receive(line)
    halyard.host.seconds(2)
    assert halyard.levels()["OUT1"] == 0
    assert halyard.host.receive(line) == first
    assert halyard.levels()["OUT1"] == 0


def test_a_release_is_pulsed_only_with_the_code_and_at_most_ten_seconds(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.identify()
    output, code = halyard.names.index("REL1"), code_number(block)
    assert halyard.ask("pulse", output=output, level=100, steps=7, code=code ^ 1) == "wrong code"
    assert halyard.ask("pulse", output=output, level=100, steps=641, code=code) == "out of range"
    assert halyard.levels()["REL1"] == 0
    halyard.ask("pulse", output=output, level=100, steps=640, code=code)
    assert halyard.levels()["REL1"] == 100
    halyard.host.seconds(11)
    assert halyard.levels()["REL1"] == 0


@pytest.mark.parametrize("torn", [0, 1])
def test_a_power_cut_at_any_write_of_an_upload_leaves_the_old_settings_or_the_new(halyard: Rig, torn: int) -> None:
    old_plan, old = dive(halyard)
    new_plan, new = dive(halyard, limits={"latest_s": 5 * HOUR})
    assert old_plan != new_plan
    made = encode(new_plan, halyard.names)
    for cut in range(1, 12):
        halyard.load(old)
        halyard.host.host.writes = 0
        halyard.host.host.cut_at = cut
        halyard.host.host.cut_torn = torn
        with suppress(SchedgenError, Refused):
            deck.upload(VirtualPort(halyard.host), made, halyard.board.board_type)
        halyard.host.host.cut_at = 0
        halyard.host.boot()
        identity = deck.readback(VirtualPort(halyard.host))
        assert identity.block in (old, new), (cut, torn)


@pytest.mark.parametrize("torn", [0, 1])
def test_a_power_cut_at_any_write_of_arming_leaves_it_armed_or_not_and_never_started(halyard: Rig, torn: int) -> None:
    _, before = dive(halyard, limits={"latest_s": 5 * HOUR})
    _, block = dive(halyard)
    states = set()
    for cut in range(1, 14):
        halyard.begin(*dive(halyard, limits={"latest_s": 5 * HOUR}))  # the journal of another dive, started
        halyard.host.seconds(600)
        halyard.ask("disarm")
        halyard.host.host.wet = 0
        halyard.host.poke(0, pack_slot(7, block))
        halyard.identify()
        halyard.host.host.writes = 0
        halyard.host.host.cut_at = cut
        halyard.host.host.cut_torn = torn
        halyard.ask("arm", code=code_number(block))
        halyard.host.host.cut_at = 0
        halyard.host.boot()
        answer = halyard.identify()
        states.add(answer.number("state"))
        assert answer.number("state") in (0, 1), (cut, torn)
        if answer.number("state") == 1:
            assert answer.number("elapsed") == 0
    assert states == {0, 1}
    assert before != block


def test_the_journal_tells_of_the_last_dive(halyard: Rig) -> None:
    plan, block = dive(halyard)
    halyard.begin(plan, block)
    halyard.host.seconds(AT + 300 - 60)
    halyard.host.host.pack_mv = 11_000
    halyard.host.seconds(5 * HOUR)
    halyard.ask("disarm")
    told = last_dive(Client(VirtualPort(halyard.host)))
    assert told is not None
    assert told.code == dive_code(block)
    assert told.tries == 3
    assert told.first_firing_s == AT
    assert told.elapsed_s == AT + 300 + 5 * HOUR
    assert told.lowest_v is not None
    assert 10.7 <= told.lowest_v <= 11.0
    spacing = told.readings[-1].at_s - told.readings[-2].at_s
    assert told.readings[-1].at_s == told.elapsed_s // spacing * spacing
    for one in told.readings:
        expected = 12.0 if one.at_s < AT + 300 else 11.0
        assert abs(one.volts - expected) <= told.step_v, one


def test_a_pack_below_what_the_history_can_say_is_noted_as_the_least(halyard: Rig) -> None:
    halyard.begin(*dive(halyard))
    halyard.host.host.pack_mv = 5_000
    halyard.host.seconds(2 * HOUR)
    told = last_dive(Client(VirtualPort(halyard.host)))
    assert told is not None
    # 12 V until the camera was off, then three cells at 2 V, the least that a byte of the history says.
    assert {one.volts for one in told.readings} == {12.0, 6.0}


@pytest.mark.parametrize("calibration", [-1638, 0, 1638, 32767])
def test_the_battery_sense_is_calibrated_by_what_stands_in_the_row(halyard: Rig, calibration: int) -> None:
    halyard.host.clear()
    halyard.host.boot()
    assert not isinstance(halyard.ask("name", given_name="Tern 2"), str)
    memory, row = bytearray(halyard.host.memory), halyard.row
    memory[row + 20 : row + 22] = calibration.to_bytes(2, "little", signed=True)
    memory[row + 30 : row + 32] = crc16(bytes(memory[row + 20 : row + 30])).to_bytes(2, "big")
    halyard.host.clear(bytes(memory))
    halyard.host.host.pack_mv = 12_000
    halyard.host.boot()
    # As the row's description in messages.py says: in 1/65536; rounded down.
    assert halyard.identify().number("pack_mv") == 12_000 + 12_000 * calibration // 65_536


def test_a_board_that_never_dived_has_no_last_dive(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.arm(block)
    assert last_dive(Client(VirtualPort(halyard.host))) is None


def test_history_readings_are_at_least_twenty_four_and_each_cell_is_written_once(thole: Rig) -> None:
    plan, block = dive(thole)
    thole.begin(plan, block)
    thole.host.seconds(20 * HOUR - 120)
    told = last_dive(Client(VirtualPort(thole.host)))
    assert told is not None
    assert len(told.readings) >= 24
    assert thole.identify().number("active") == 0, "the settings before it are still whole"
