"""Encoding and decoding a settings block."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from any_dive import plans, random_plan
from hypothesis import example, given, settings
from hypothesis import strategies as st
from settings_dives import (
    COUNTED_CHANGES,
    HOUR,
    OUTPUTS,
    counted_plan,
    counted_windows,
    make_plan,
    repeating,
    window,
)

from schedgen.errors import BlockError, CounterRange, SettingsTooBig
from schedgen.plan.model import Bounds, Burst, ChooseLevel, Clip, Firing, Flash, Follow, Plan, ShiftRelease
from schedgen.settings.bits import BitReader, BitWriter
from schedgen.settings.decode import decode
from schedgen.settings.encode import encode, pack
from schedgen.settings.fields import HEADER, LAYOUT_VERSION, by_name
from schedgen.settings.meaning import NO_NAMES

DAY = 86400


def ending(plan: Plan, end_s: int) -> Plan:
    return replace(plan, events={**plan.events, "end": Bounds(end_s, end_s, end_s)})


def there_and_back(plan: Plan) -> None:
    made = encode(plan, OUTPUTS, 1024)
    again = decode(made.block, OUTPUTS)
    assert again == made.dive
    assert again.code == made.code
    assert pack(again) == made.block


@settings(deadline=None, max_examples=500)
@given(plans())
def test_encoding_decoding_and_encoding_again_gives_the_same_bytes(plan: Plan) -> None:
    there_and_back(plan)


@settings(deadline=None, max_examples=50)
@given(st.integers(0, 1 << 62))
def test_so_it_does_for_thousands_of_dives(seed: int) -> None:
    for number in range(80):
        there_and_back(random_plan(seed + number))


@settings(deadline=None, max_examples=150)
@given(plans(most_windows=3))
def test_a_block_says_what_the_plan_says(plan: Plan) -> None:
    said = decode(encode(plan, OUTPUTS, 1024).block, OUTPUTS)
    assert (said.board_type, said.trigger, said.at_s, said.end_s) == (
        plan.board_type,
        plan.trigger,
        plan.release_s,
        plan.end_s,
    )
    bottom, since = plan.events["bottom"].late, plan.primary.last_end_s if plan.primary else plan.release_s
    assert said.bottom_s == (60 * math.ceil(bottom / 60) if bottom <= 4094 * 60 else None)
    rise = plan.events["surface"].late - since
    assert said.rise_s == (60 * math.ceil(rise / 60) if 0 <= rise <= 1022 * 60 else None)
    assert (said.primary, said.backup) == (plan.primary, plan.backup)
    assert (said.field_changes, said.allowed_changes) == (plan.field_changes, plan.allowed_changes)
    limits, planned = said.interlocks, plan.interlocks
    assert replace(limits, shed_v=0.0, release_below_v=0.0) == replace(planned, shed_v=0.0, release_below_v=0.0)
    for held, wanted in ((limits.shed_v, planned.shed_v), (limits.release_below_v, planned.release_below_v)):
        assert wanted - 1e-9 <= held < wanted + 0.01  # rounded up to 10 mV, never down
    kept = ("output", "start_s", "stop_s", "level", "start_moves", "flash", "follow", "clip")
    wanted = sorted(plan.windows, key=lambda one: one.follow is not None)
    for one, other in zip(said.windows, wanted, strict=True):
        assert [getattr(one, name) for name in kept] == [getattr(other, name) for name in kept]


def test_two_names_of_the_same_thing_give_the_same_bytes() -> None:
    plan = counted_plan()
    renamed = replace(plan, name="another name", planned_plus_minus_s=600.0)
    assert encode(plan, OUTPUTS).block == encode(renamed, OUTPUTS).block


def test_the_counted_case_fits_a_slot_of_112_bytes() -> None:
    # The design's counted case: 4 plain, 3 repeating, 3 following, one shared `only`, 2 levels, two releases, 7 x 2
    # combinations. It fits up to an `end` of 12 days, where times begin to need a 21st bit.
    for end_s in (6 * DAY, 12 * DAY):
        made = encode(ending(counted_plan(), end_s), OUTPUTS, 256)
        assert made.capacity == 107
        assert made.bytes_used <= 107
        assert len(made.dive.clips) == 1


def test_a_dive_that_does_not_fit_says_how_many_bytes_and_what_costs_most() -> None:
    more = [window("second", "OUT2", 4 * HOUR, 5 * HOUR), repeating("x", "OUT1", 60, Burst(99, 9, 9))]
    windows = [*counted_windows(), *more]
    plan = make_plan(windows, field_changes=COUNTED_CHANGES, allowed_changes=(True,) * 14)
    with pytest.raises(SettingsTooBig) as caught:
        encode(plan, OUTPUTS, 256)
    trouble = caught.value
    fits = encode(plan, OUTPUTS, 1024)
    assert trouble.bytes_over == fits.bytes_used - 107 > 0
    assert trouble.capacity == 107
    assert f"{trouble.bytes_over} over" in trouble.message
    costs = [bits for _, bits in trouble.costs]
    assert costs == sorted(costs, reverse=True)
    assert -(-(trouble.fixed_bits + sum(costs)) // 8) == fits.bytes_used
    assert trouble.costs[0][0] == "camera (OUT1)"
    assert trouble.place is not None
    assert trouble.place.line == 40


def test_a_dive_too_big_for_any_slot_is_refused_even_with_a_large_eeprom() -> None:
    windows = [window("camera", "OUT1", hour * HOUR, hour * HOUR + 60) for hour in range(60)]
    with pytest.raises(SettingsTooBig) as caught:
        encode(make_plan(windows), OUTPUTS, 1024)
    assert caught.value.capacity == 255


def test_a_number_out_of_range_names_window_bound_unit_and_place() -> None:
    plan = make_plan([window("fan", "PWM2", None, None, follow=Follow("OUT1", 0, 5000))])
    with pytest.raises(CounterRange) as caught:
        encode(plan, OUTPUTS)
    trouble = caught.value
    assert (trouble.name, trouble.value, trouble.low, trouble.high, trouble.unit) == ("trail", 5000, 0, 2047, "s")
    assert trouble.message == "fan (PWM2): trail is 5000 s, the board holds 0 to 2047 s"
    assert trouble.place is not None
    assert trouble.place.line == 40


def test_a_shift_in_other_than_whole_minutes_is_refused() -> None:
    plan = make_plan([], field_changes=(ShiftRelease(90, 0, 1),), allowed_changes=(True, True))
    with pytest.raises(CounterRange, match="whole steps of 60 s"):
        encode(plan, OUTPUTS)


SPAN = {"start_s": 3600, "stop_s": 7200}
FIRING = Firing("REL1", 9 * HOUR, 480, 3, 300)
CLIPS = [Clip(60 + second, HOUR) for second in range(4)]
CONTRADICTIONS = {
    "a window on a release output": make_plan([window("camera", "REL1", 60, 90)]),
    "a window that stops before it starts": make_plan([window("camera", "OUT1", 90, 60)]),
    "a window past the end": make_plan([window("camera", "OUT1", 60, 73 * HOUR)]),
    "an output that the board lacks": make_plan([], primary=Firing("REL9", 9 * HOUR, 480, 3, 300)),
    "not_before after latest": make_plan([], interlocks=replace(make_plan([]).interlocks, not_before_s=15 * HOUR)),
    "the release after the end": make_plan([], at_s=73 * HOUR),
    "two releases on one output": make_plan([], backup=Firing("REL1", 14 * HOUR, 480, 3, 300)),
    "a backup that does not fire at latest": make_plan([], backup=Firing("REL2", 13 * HOUR, 480, 3, 300)),
    "a firing of no length": make_plan([], primary=Firing("REL1", 9 * HOUR, 0, 3, 300)),
    "a chain of followers": make_plan(
        [
            window("camera", "OUT1", 60, 90),
            window("lights", "PWM1", None, None, follow=Follow("OUT1")),
            window("fan", "PWM2", None, None, follow=Follow("PWM1")),
        ]
    ),
    "a follower of itself": make_plan([window("lights", "PWM1", None, None, follow=Follow("PWM1"))]),
    "a clip on a window of its own": make_plan([window("camera", "OUT1", 60, 90, clip=Clip(60, 80))]),
    "an empty clip": make_plan([window("lights", "PWM1", None, None, follow=Follow("OUT1"), clip=Clip(80, 80))]),
    "four different clips": make_plan(
        [window("lights", "PWM1", None, None, follow=Follow("OUT1"), clip=cut) for cut in CLIPS]
    ),
    "bursts longer than their gap": make_plan([repeating("camera", "OUT1", 60, Burst(10, 20, 2))]),
    "bursts that do not end with their window": make_plan([window("camera", "OUT1", 60, 100, burst=Burst(10, 2, 2))]),
    "a flash longer than its gap": make_plan([window("beacon", "OUT2", 60, 90, flash=Flash(64, 65))]),
    "bursts that flash": make_plan([window("beacon", "OUT2", 60, 72, flash=Flash(64, 6), burst=Burst(10, 2, 2))]),
    "two shifts": make_plan([], field_changes=(ShiftRelease(60, 0, 1),) * 2, allowed_changes=(True,) * 4),
    "two choices of one level": make_plan(
        [], field_changes=(ChooseLevel("PWM1", (50, 60)),) * 2, allowed_changes=(True,) * 4
    ),
    "three changes": make_plan(
        [],
        field_changes=(ShiftRelease(60, 0, 1), ChooseLevel("PWM1", (50,)), ChooseLevel("PWM2", (50,))),
        allowed_changes=(True,) * 2,
    ),
    "more than 32 combinations": make_plan(
        [],
        field_changes=(ShiftRelease(60, -15, 15),) * 1 + (ChooseLevel("PWM1", (1, 2)),),
        allowed_changes=(True,) * 62,
    ),
    "combinations that nobody judged": make_plan([], field_changes=(ShiftRelease(60, 0, 1),)),
    "a shift to before the start": make_plan(
        [], at_s=60, field_changes=(ShiftRelease(3600, -1, 0),), allowed_changes=(True,) * 2
    ),
    "a shift without the planned time": make_plan(
        [], field_changes=(ShiftRelease(60, 1, 2),), allowed_changes=(True,) * 2
    ),
}


@pytest.mark.parametrize("plan", CONTRADICTIONS.values(), ids=CONTRADICTIONS.keys())
def test_what_makes_no_sense_is_never_encoded(plan: Plan) -> None:
    with pytest.raises(BlockError):
        encode(plan, OUTPUTS, 1024)


def test_a_window_that_makes_no_sense_is_named_at_its_line() -> None:
    with pytest.raises(BlockError, match="a window of OUT1 stops at 60 s") as caught:
        encode(CONTRADICTIONS["a window that stops before it starts"], OUTPUTS)
    assert caught.value.place is not None
    assert caught.value.place.line == 40


def test_three_different_clips_are_held() -> None:
    windows = [window("camera", "OUT1", 60, 2 * HOUR)]
    windows += [window("lights", "PWM1", None, None, follow=Follow("OUT1"), clip=cut) for cut in CLIPS[:3]]
    made = encode(make_plan(windows), OUTPUTS)
    assert decode(made.block, OUTPUTS).clips == tuple(CLIPS[:3])


def test_a_block_taken_apart_by_hand_says_the_plan() -> None:
    # A second reading of the layout, with the widths written out here on purpose: header 8 3 16 2 1, four times 24,
    # twice 1 3 11 3 11, 12 10, 9 9 4 8 2 6 4 2; times in a dive of 3 days take 18 bits.
    block = encode(counted_plan(), OUTPUTS).block
    bits = "".join(f"{byte:08b}" for byte in block)
    position = 0

    def take(*widths: int) -> list[int]:
        nonlocal position
        taken = []
        for width in widths:
            taken.append(int(bits[position : position + width], 2))
            position += width
        return taken

    assert take(8, 3, 16, 2, 1) == [len(block), 1, 0x4D2E, 0, 0]
    assert take(24, 24, 24, 24) == [9 * HOUR, 3 * HOUR, 14 * HOUR, 72 * HOUR]
    assert take(1, 3, 11, 3, 11) == [1, 6, 480, 3 - 1, 300]
    assert take(1, 3, 11, 3, 11) == [1, 7, 480, 3 - 1, 300]
    assert take(12, 10) == [73, 51]  # 4321 s and 3001 s in minutes, up
    assert take(9, 9, 4, 8) == [310, 295, 3, 0b00001010]
    assert take(2, 6, 4, 2) == [1, 7, 3, 2]
    assert take(1, 18, 1, 18) == [0, 1800, 1, 9 * HOUR]
    assert take(2, 3, 1, 1, 18, 1, 18) == [0, 0, 0, 0, 60, 0, 3 * HOUR]
    assert take(2, 3, 1, 1, 18, 16, 14, 1, 13, 1) == [2, 0, 0, 0, 4 * HOUR, 1800, 360, 0, 9 - 1, 1]
    position += 2 * 44 + 2 * 70 + 44 - 0  # OUT2 and OUT3 plain and repeating, OUT4 plain
    assert take(3, 3, 1, 1, 9, 11, 2) == [3, 1, 0, 0, 3, 1, 1]
    assert take(3, 3, 1, 7, 1, 9, 11, 2) == [4, 0, 1, 70, 0, 3, 0, 1]
    assert take(3, 3, 1, 7, 1, 9, 11, 2) == [5, 0, 1, 60, 0, 0, 240, 1]
    assert take(1, 8, 4, 4) == [0, 30, 2, 4]
    assert take(1, 3, 2, 7, 7) == [1, 4, 2 - 1, 70, 45]
    assert take(14) == [0b11111111111111]
    assert int(bits[position:] or "0", 2) == 0
    assert len(bits) - position < 8


@settings(deadline=None, max_examples=1500)
@given(st.binary(max_size=130))
@example(b"")
@example(b"\x00")
@example(b"\xff" * 107)
@example(b"\x00" * 107)
def test_any_bytes_decode_or_are_refused(data: bytes) -> None:
    refused_or_canonical(data)


def refused_or_canonical(data: bytes) -> None:
    try:
        dive = decode(data)
    except BlockError:
        return
    assert pack(dive) == data


def looks_right(length: int, fixed: list[int], rest: bytes) -> bytes:
    """Random bits behind a length and a version that fit, every fixed field in its range."""
    writer = BitWriter()
    for one, number in zip(HEADER, fixed, strict=True):
        steps = (one.high - one.low) // one.scale + 1
        value = {"length": length, "layout_version": LAYOUT_VERSION}.get(one.name, one.low + number % steps * one.scale)
        writer.put(one, value)
    return (writer.bytes() + rest)[:length].ljust(length, b"\0")


@settings(deadline=None, max_examples=600)
@given(
    st.integers(29, 107),
    st.lists(st.integers(0, (1 << 24) - 1), min_size=len(HEADER), max_size=len(HEADER)),
    st.binary(min_size=107, max_size=107),
)
def test_random_bits_behind_a_plausible_header_decode_or_are_refused(
    length: int, fixed: list[int], rest: bytes
) -> None:
    refused_or_canonical(looks_right(length, fixed, rest))


BLOCK = encode(counted_plan(), OUTPUTS).block


@pytest.mark.parametrize("bit", range(len(BLOCK) * 8))
def test_a_block_with_one_bit_changed_decodes_to_something_else_or_is_refused(bit: int) -> None:
    data = bytearray(BLOCK)
    data[bit // 8] ^= 0x80 >> bit % 8
    try:
        dive = decode(bytes(data))
    except BlockError:
        return
    assert dive != decode(BLOCK)
    assert pack(dive) == bytes(data)


@pytest.mark.parametrize("length", range(len(BLOCK)))
def test_a_block_cut_short_is_refused(length: int) -> None:
    with pytest.raises(BlockError):
        decode(BLOCK[:length])


def test_another_layout_version_is_refused_by_its_number() -> None:
    assert by_name("header", "layout_version").bits == 3
    data = bytearray(BLOCK)
    data[1] = data[1] & 0x1F | (LAYOUT_VERSION + 1) << 5
    with pytest.raises(BlockError, match=f"layout version {LAYOUT_VERSION + 1}, this program knows {LAYOUT_VERSION}"):
        decode(bytes(data))


def test_an_output_that_the_given_board_lacks_is_refused() -> None:
    with pytest.raises(BlockError, match="the board has 4"):
        decode(BLOCK, OUTPUTS[:4])


def test_without_a_board_the_outputs_are_counted() -> None:
    dive = decode(BLOCK)
    assert dive.outputs == NO_NAMES
    assert dive.primary is not None
    assert dive.primary.output == "output 7"


def test_bits_go_in_with_the_most_significant_first() -> None:
    writer = BitWriter()
    writer.put(by_name("header", "layout_version"), 5)
    writer.put(by_name("header", "board_type"), 0x1234)
    assert writer.bytes() == bytes([0b101_00010, 0b010_00110, 0b100_00000])  # worked by hand
    reader = BitReader(writer.bytes())
    assert reader.take(by_name("header", "layout_version")) == 5
    assert reader.take(by_name("header", "board_type")) == 0x1234
