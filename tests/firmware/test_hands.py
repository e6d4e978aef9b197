"""What people do to a board: buttons and bench lead, one test for each rule that keeps a slip from doing harm."""

from __future__ import annotations

import pytest
from host_rig import HOUR, Rig
from test_interlocks import AT, END, dive, first_firing, state_of

from schedgen.firmware.host import WATCHDOG
from schedgen.link.frames import Frame, encode_frame
from schedgen.link.messages import REQUESTS, Values, encode
from schedgen.plan.model import ShiftRelease
from schedgen.settings.code import code_number

SHIFT = {"field_changes": (ShiftRelease(600, -1, 1),), "allowed_changes": (True, True, True)}


def armed(rig: Rig, trigger: str = "water", **changes: object) -> bytes:
    _, block = dive(rig, trigger, **changes)
    rig.load(block)
    rig.arm(block)
    return block


# --- the bench lead in the water


def lead_in_the_water(rig: Rig) -> int:
    zero = rig.begin(*dive(rig))
    rig.host.host.lead = 1
    return zero


def test_a_frame_holds_it_for_a_minute_and_fifteen_more_in_the_water(halyard: Rig) -> None:
    zero = lead_in_the_water(halyard)
    halyard.host.seconds(AT - 30 - 60)
    halyard.identify()
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert AT - 30 + 960 <= fired <= AT - 30 + 961


def test_noise_in_a_flooded_plug_holds_nothing(halyard: Rig) -> None:
    zero = lead_in_the_water(halyard)
    while halyard.host.host.second - zero < AT - 30:
        halyard.host.seconds(20)
        halyard.host.receive(b"\x05\x31\x00\x11\x00\xff?\x00")
    assert first_firing(halyard, zero, END) == AT


def test_a_reset_with_a_flooded_plug_holds_nothing(halyard: Rig) -> None:
    zero = lead_in_the_water(halyard)
    halyard.host.seconds(AT - 60 - 60)
    halyard.host.boot(WATCHDOG, 1)
    fired = first_firing(halyard, zero, END)
    assert fired is not None
    assert AT <= fired <= AT + 62


def test_while_armed_what_writes_or_drives_is_refused(halyard: Rig) -> None:
    block = armed(halyard)
    halyard.host.host.lead = 1
    halyard.host.seconds(1)
    code, before = code_number(block), halyard.host.memory
    refused = [
        halyard.ask("write", slot=1, offset=0, length=1, data=b"\x01"),
        halyard.ask("commit", slot=0, crc=0),
        halyard.ask("pulse", output=0, level=100, steps=6, code=code),
        halyard.ask("name", given_name="somebody"),
        halyard.ask("measure"),
        halyard.ask("play", elapsed=100, code=code),
    ]
    assert refused == ["armed"] * 6
    assert halyard.host.memory == before
    assert set(halyard.levels().values()) == {0}


@pytest.mark.parametrize("cut", range(1, 14))
def test_what_is_said_to_be_armed_is_so_in_the_memory(halyard: Rig, cut: int) -> None:
    """From some write on the memory takes nothing: it is noticed, or it does not matter."""
    _, block = dive(halyard)
    halyard.load(block)
    halyard.host.poke(halyard.layout.slot_b, bytes(112))
    halyard.host.boot()
    halyard.identify()
    halyard.host.host.cut_at = halyard.host.host.writes + cut
    answer = halyard.ask("arm", code=code_number(block))
    halyard.host.host.cut_at = 0
    told = halyard.identify().number("armed")
    assert told == isinstance(answer, Values)
    assert told or answer == "memory failed"
    memory = halyard.host.memory
    halyard.host.boot()
    if told:
        assert halyard.identify().number("armed") == 1
        assert memory[: len(block) + 5] == memory[halyard.layout.slot_b :][: len(block) + 5]


@pytest.mark.parametrize("place", ["copy", "its checksum", "record", "the record's last byte"])
def test_a_byte_that_the_memory_does_not_take_refuses_the_arming(halyard: Rig, place: str) -> None:
    _, block = dive(halyard)
    layout = halyard.layout
    places = {"copy": layout.slot_b + 9, "its checksum": layout.slot_b + len(block) + 3, "record": halyard.row + 6}
    halyard.load(block)
    halyard.host.poke(layout.slot_b, bytes(112))
    record = halyard.essentials(block)
    halyard.host.poke(halyard.row, bytes(byte ^ 0xFF for byte in record))
    halyard.host.boot()
    halyard.identify()
    halyard.host.host.stuck = 1 + places.get(place, halyard.row + len(record) - 1)
    assert halyard.ask("arm", code=code_number(block)) == "memory failed"
    assert state_of(halyard) == "on bench"
    halyard.host.boot()
    assert state_of(halyard) == "on bench"


def test_arming_ends_what_is_shown_for_good(halyard: Rig) -> None:
    _, block = dive(halyard, "command")
    code = code_number(block)
    halyard.load(block)
    halyard.identify()
    halyard.host.host.lead = 1
    halyard.host.seconds(30)
    assert isinstance(shown(halyard, code, HOUR // 2), Values)
    halyard.arm(block)
    halyard.ask("start", code=code)
    halyard.host.seconds(30)
    assert (halyard.elapsed, state_of(halyard)) == (30, "on deck")


def test_a_command_starts_what_it_is_to_start_and_once(halyard: Rig) -> None:
    code = code_number(armed(halyard, "button"))
    assert halyard.ask("start", code=code) == "out of range"
    assert state_of(halyard) == "armed"
    code = code_number(armed(halyard, "command"))
    assert halyard.ask("start", code=code ^ 1) == "wrong code"
    halyard.ask("start", code=code)
    halyard.host.seconds(40)
    halyard.ask("start", code=code)
    assert halyard.elapsed == 40


def test_a_damaged_frame_does_nothing_and_gets_no_answer(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.identify()
    values = {"output": 0, "level": 100, "steps": 4000, "code": code_number(block)}
    line = encode_frame(Frame(9, REQUESTS["pulse"].number, encode(REQUESTS["pulse"], values)))
    halyard.host.edges()
    for bit in range(8 * (len(line) - 1)):
        damaged = bytearray(line)
        damaged[bit // 8] ^= 1 << bit % 8
        assert halyard.host.receive(bytes(damaged) + b"\0") == b"", bit
    assert not halyard.host.edges()


# --- buttons


def test_one_button_alone_stands_nothing_down(halyard: Rig) -> None:
    armed(halyard)
    for which in (1, 2):
        halyard.press(which, 7)
    assert state_of(halyard) == "armed"


def test_a_press_that_lasts_into_the_splash_stands_nothing_down(halyard: Rig) -> None:
    armed(halyard)
    host = halyard.host.host
    host.wet = 1
    halyard.host.seconds(57)
    halyard.press(3, 8)
    assert state_of(halyard) == "descending"


def test_two_seconds_on_b_start_nothing(halyard: Rig) -> None:
    armed(halyard, "button")
    halyard.press(2, 2.5)
    assert state_of(halyard) == "armed"
    halyard.press(2, 3.2)
    assert state_of(halyard) == "on deck"


@pytest.mark.parametrize("trigger", ["water", "command"])
def test_b_starts_only_what_a_button_is_to_start(halyard: Rig, trigger: str) -> None:
    armed(halyard, trigger)
    halyard.press(2, 4)
    assert state_of(halyard) == "armed"


def test_b_starts_it_once(halyard: Rig) -> None:
    zero = halyard.begin(*dive(halyard, "button"))
    halyard.host.host.wet = 0
    halyard.host.seconds(100)
    halyard.press(2, 4)
    assert halyard.elapsed == halyard.host.host.second - zero


def test_a_change_is_taken_in_the_first_minute_after_a_button_start_and_not_later(halyard: Rig) -> None:
    for wait, expected in ((30, AT + 600), (70, AT)):
        zero = halyard.begin(*dive(halyard, "button", **SHIFT))
        halyard.host.host.wet = 0
        halyard.host.seconds(wait)
        halyard.press(1, 0.5)
        halyard.press(3, 0.5)
        halyard.host.host.wet = 1
        assert first_firing(halyard, zero, END) == expected


def test_a_change_is_void_after_another_arming_though_earlier_and_later_were_on_offer(halyard: Rig) -> None:
    block = armed(halyard, **SHIFT)
    halyard.press(1, 0.5)
    halyard.press(3, 0.5)
    halyard.ask("disarm")
    halyard.arm(block)
    halyard.host.host.wet = 1
    halyard.host.seconds(60)
    assert first_firing(halyard, halyard.host.host.second - 60, END) == AT


# --- seconds shown on the bench


def shown(rig: Rig, code: int, elapsed: int) -> Values | str:
    return rig.ask("play", elapsed=elapsed, code=code)


def test_seconds_are_shown_only_with_lead_and_code_and_end_by_themselves(halyard: Rig) -> None:
    _, block = dive(halyard)
    code = code_number(block)
    halyard.load(block)
    halyard.identify()
    halyard.host.seconds(1)
    assert shown(halyard, code, HOUR // 2) == "no bench lead"
    halyard.host.host.lead = 1
    halyard.host.seconds(1)
    assert shown(halyard, code ^ 1, HOUR // 2) == "wrong code"
    for end in ("silence", "unplugged", "armed"):
        assert isinstance(shown(halyard, code, HOUR // 2), Values)
        assert halyard.levels()["OUT1"] == 100
        assert shown(halyard, code ^ 1, HOUR // 2) == "wrong code"
        assert halyard.ask("pulse", output=0, level=100, steps=6, code=code) == "busy"
        if end == "unplugged":
            halyard.host.host.lead = 0
        if end == "armed":
            halyard.arm(block)
        halyard.host.seconds(1 if end != "silence" else 60)
        assert set(halyard.levels().values()) == {0}, end
        halyard.host.host.lead = 1
        halyard.host.seconds(1)


def test_no_release_is_driven_while_its_second_is_shown(halyard: Rig) -> None:
    _, block = dive(halyard)
    halyard.load(block)
    halyard.identify()
    halyard.host.host.lead = 1
    halyard.host.seconds(1)
    assert isinstance(shown(halyard, code_number(block), AT + 5), Values)
    assert halyard.host.host.lit == 1, "the light stands in its place"
    assert halyard.levels()["REL1"] == 0
    halyard.host.edges()
    halyard.host.seconds(30)
    assert not [edge for edge in halyard.host.edges() if halyard.names[edge.output].startswith("REL")]


def test_nothing_is_shown_while_an_output_is_pulsed(halyard: Rig) -> None:
    _, block = dive(halyard)
    code = code_number(block)
    halyard.load(block)
    halyard.identify()
    halyard.host.host.lead = 1
    halyard.host.seconds(1)
    halyard.ask("pulse", output=halyard.names.index("REL1"), level=100, steps=640, code=code)
    assert shown(halyard, code, 100) == "busy"
    assert halyard.ask("pulse", output=0, level=100, steps=6, code=code) == "busy"
