"""Playing a dive: every change is seen, it ends at the end, by silence and without the lead, and releases stay off."""

from __future__ import annotations

from itertools import pairwise

import pytest
from bench_rig import BOARD_TYPE, NEW, OLD, blank_board, port_to
from crccheck.crc import Crc16Ibm3740
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import BoardRefused, OutOfRange
from schedgen.link import deck
from schedgen.link.bench import measure, play, pulse, show, stop_playing, wait
from schedgen.link.client import Client, Refused
from schedgen.link.virtual import VirtualBoard
from schedgen.link.virtual_bench import VirtualPack
from schedgen.measured.played import (
    Switched,
    changes_in,
    compare,
    expected_changes,
    seconds_to_ask,
    states_of,
)
from schedgen.settings.code import from_crockford
from schedgen.settings.decode import decode


@pytest.fixture
def board() -> VirtualBoard:
    board = blank_board()
    deck.upload(port_to(board), NEW, BOARD_TYPE)
    return board


def client_of(board: VirtualBoard) -> Client:
    client = Client(port_to(board), limit_s=1e9)
    client.identify()
    return client


CODE = from_crockford(NEW.code)


EXPECTED = expected_changes(decode(NEW.block, NEW.dive.outputs))


@pytest.mark.parametrize("step", [1, 6, 360])
def test_every_change_of_the_block_is_seen_and_none_besides(board: VirtualBoard, step: int) -> None:
    client = client_of(board)
    asked = seconds_to_ask(EXPECTED, NEW.dive.end_s, step)
    looks = [(one.at_s, one.levels) for one in play(client, CODE, asked, speed=1e6)]
    assert compare(EXPECTED, changes_in(looks, NEW.dive.outputs)).same
    assert len(looks) == len(asked)
    assert client.identify().state == "on bench"
    assert not any(board.levels)


def test_the_dive_takes_as_long_as_its_speed_says(board: VirtualBoard) -> None:
    client = client_of(board)
    begun = client.port.now()
    for _ in play(client, CODE, range(0, 3601, 60), speed=600):
        pass
    assert client.port.now() - begun == pytest.approx(6.0, abs=0.1)


@settings(deadline=None, max_examples=50)
@given(st.sets(st.integers(0, 5000), max_size=20), st.integers(1, 400))
def test_a_change_is_looked_at_and_the_second_before_it_and_no_gap_is_longer(seconds: set[int], step: int) -> None:
    changes = [Switched(at, "OUT1", 100) for at in seconds]
    asked = seconds_to_ask(changes, 5001, step)
    assert asked[0] == 0
    assert asked[-2:] == (5000, 5001)
    assert all(0 < later - sooner <= step for sooner, later in pairwise(asked))
    assert {one for at in seconds for one in (at, at - 1) if one >= 0} <= set(asked)


def test_a_change_in_another_second_is_missed_and_extra() -> None:
    looks = [(0, (0,)), (9, (0,)), (10, (0,)), (11, (100,)), (20, (0,))]
    found = compare([Switched(10, "OUT1", 100), Switched(20, "OUT1", 0)], changes_in(looks, ["OUT1"]))
    assert found.missed == (Switched(10, "OUT1", 100),)
    assert found.extra == (Switched(11, "OUT1", 100),)


def test_a_release_stays_off_while_its_light_is_lit(board: VirtualBoard) -> None:
    client = client_of(board)
    at_s = NEW.dive.at_s
    assert show(client, CODE, at_s - 1).levels[6] == 0
    assert show(client, CODE, at_s).levels[6] == 100
    assert board.levels[6] == board.levels[7] == 0
    assert show(client, CODE, at_s + NEW.dive.primary.fire_s).levels[6] == 0  # type: ignore[union-attr]


def test_it_ends_without_the_lead_after_ten_seconds_of_silence_and_when_told(board: VirtualBoard) -> None:
    client = client_of(board)
    assert show(client, CODE, 3600).levels[0] == 100
    assert board.levels[0] == 100
    wait(client.port, 9)
    assert board.levels[0] == 100
    wait(client.port, 2)
    assert not any(board.levels)
    show(client, CODE, 3600)
    board.lead = False
    wait(client.port, 0.5)
    assert not any(board.levels)
    with pytest.raises(Refused, match="bench lead"):
        show(client, CODE, 3600)
    board.lead = True
    show(client, CODE, 3600)
    stop_playing(client)
    assert not any(board.levels)
    stop_playing(client)  # also when nothing is shown
    show(client, CODE, 3600)
    assert not any(show(client, CODE, NEW.dive.end_s).levels)
    assert not any(board.levels)
    pulse(client, 0, 1.0)


def test_what_would_change_something_is_refused_meanwhile(board: VirtualBoard) -> None:
    client = client_of(board)
    show(client, CODE, 60)
    before = bytes(board.memory.image)
    for action in (
        lambda: pulse(client, 0, 1.0),
        lambda: client.request("measure"),
        lambda: client.request("name", given_name="x"),
        lambda: client.request("write", slot=1, offset=0, length=1, data=b"x"),
    ):
        with pytest.raises(Refused) as refused:
            action()
        assert refused.value.reason == "busy"
    stop_playing(client)
    assert bytes(board.memory.image) == before
    pulse(client, 0, 1.0)
    with pytest.raises(Refused) as refused:
        show(client, CODE, 60)
    assert refused.value.reason == "busy"


def test_arming_ends_it(board: VirtualBoard) -> None:
    client = client_of(board)
    show(client, CODE, 3600)
    client.request("arm", code=CODE)
    assert not any(board.levels)
    assert client.identify().state == "armed"


@pytest.mark.parametrize("code", [from_crockford(OLD.code), 0])
def test_another_code_shows_nothing(board: VirtualBoard, code: int) -> None:
    client = client_of(board)
    with pytest.raises(BoardRefused):
        show(client, code, 3600)
    assert not any(board.levels)


def test_an_armed_board_shows_and_measures_nothing(board: VirtualBoard) -> None:
    deck.arm(port_to(board), NEW.code)
    client = client_of(board)
    for name, values in (("play", {"code": CODE, "elapsed": 60}), ("measure", {})):
        with pytest.raises(Refused) as refused:
            client.request(name, **values)  # type: ignore[arg-type]
        assert refused.value.reason == "armed"


def test_a_step_below_a_second_is_refused() -> None:
    with pytest.raises(OutOfRange, match="below 1 s"):
        seconds_to_ask([], 100, 0)


def test_a_calibrated_board_is_measured_with_its_calibration(board: VirtualBoard) -> None:
    client = client_of(board)
    board.pack.open_v = 10.0
    client.request("name", given_name="Tern 2")
    assert measure(client).mean_v == pytest.approx(10.0, abs=1e-6)
    row = board.memory.read(256, 32)
    body = (-1638).to_bytes(2, "little", signed=True) + row[22:30]
    board.memory.write(256 + 20, body + Crc16Ibm3740.calc(body).to_bytes(2, "big"))
    # By hand: 10 V x (1 - 1638/65536) = 9.75006 V.
    assert measure(client).mean_v == pytest.approx(9.75006, abs=1e-5)


@settings(deadline=None, max_examples=30)
@given(st.floats(5.0, 17.0), st.floats(0.0, 0.05), st.integers(2, 1500), st.integers(0, 99))
def test_mean_and_spread_are_those_of_the_readings(volts: float, noise: float, count: int, seed: int) -> None:
    from random import Random

    board = blank_board()
    board.pack = VirtualPack(volts, noise_v=noise, step_v=0.019, random=Random(seed))
    told: list[int] = []
    reading = board.pack.reading_mv

    def noting(levels: object) -> int:
        told.append(reading([]))
        return told[-1]

    client = client_of(board)
    board.pack.reading_mv = noting  # type: ignore[method-assign, assignment]
    told.clear()
    average = measure(client, count)
    assert average.count >= count
    used = told[-average.count :] if len(told) >= average.count else told
    mean = sum(used) / len(used)
    spread = (sum((value - mean) ** 2 for value in used) / (len(used) - 1)) ** 0.5
    assert average.mean_v * 1000 == pytest.approx(mean, abs=1e-6)
    assert average.spread_v * 1000 == pytest.approx(spread, abs=1e-6)


def test_voltages_are_grouped_by_what_was_on() -> None:
    changes = [Switched(10, "OUT1", 100), Switched(20, "OUT1", 0)]
    states = states_of(changes, [(5, 12.0), (12, 11.9), (15, 11.8), (25, 12.1)])
    assert [(state.on, state.count) for state in states] == [((), 2), ((("OUT1", 100),), 2)]
    assert states[0].volts == pytest.approx(12.05)
    assert states[1].volts == pytest.approx(11.85)
