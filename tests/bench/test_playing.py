"""Playing a dive: every change is told, it ends by itself, by silence and without the lead, and releases stay off."""

from __future__ import annotations

import pytest
from bench_rig import BOARD_TYPE, NEW, OLD, blank_board, port_to
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import BoardRefused, OutOfRange
from schedgen.link import deck
from schedgen.link.bench import begin_playing, measure, playing, pulse, stop_playing, wait
from schedgen.link.client import Client, Refused
from schedgen.link.virtual import VirtualBoard
from schedgen.link.virtual_bench import VirtualPack
from schedgen.measured.played import Switched, compare, expected_changes, states_of
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


@pytest.mark.parametrize("speed", [60, 3600])
def test_every_change_of_the_block_is_told_and_none_besides(board: VirtualBoard, speed: int) -> None:
    client = client_of(board)
    begin_playing(client, CODE, speed)
    seen = []
    for now in playing(client):
        seen += [Switched(one.at_s, NEW.dive.outputs[one.output], one.level) for one in now.changes]
        assert now.lost == 0
    assert compare(expected_changes(decode(NEW.block, NEW.dive.outputs)), seen).same
    assert client.identify().state == "on bench"


def test_a_release_stays_off_while_its_light_is_lit(board: VirtualBoard) -> None:
    client = client_of(board)
    begin_playing(client, CODE, 3600)
    lit = False
    for now in playing(client, every_s=0.02):
        assert board.levels[6] == board.levels[7] == 0
        lit |= any(one.output == 6 and one.level == 100 for one in now.changes)
    assert lit


def test_it_ends_without_the_lead_and_after_ten_seconds_of_silence(board: VirtualBoard) -> None:
    client = client_of(board)
    begin_playing(client, CODE, 60)
    wait(client.port, 62)  # the first window begins after an hour; nobody asks meanwhile
    assert not any(board.levels)
    last = list(playing(client))[-1]
    assert not last.playing
    assert 500 <= last.elapsed_s <= 660
    begin_playing(client, CODE, 60)
    board.lead = False
    wait(client.port, 0.5)
    assert not any(board.levels)
    assert not list(playing(client))[-1].playing


def test_what_would_change_something_is_refused_meanwhile(board: VirtualBoard) -> None:
    client = client_of(board)
    begin_playing(client, CODE, 60)
    before = bytes(board.memory.image)
    for action in (
        lambda: client.request("arm", code=CODE),
        lambda: pulse(client, 0, 1.0),
        lambda: client.request("name", given_name="x"),
        lambda: client.request("write", slot=1, offset=0, length=1, data=b"x"),
        lambda: begin_playing(client, CODE, 60),
    ):
        with pytest.raises(Refused) as refused:
            action()
        assert refused.value.reason == "busy"
    stop_playing(client)
    assert bytes(board.memory.image) == before
    pulse(client, 0, 1.0)


@pytest.mark.parametrize("code", [from_crockford(OLD.code), 0])
def test_another_code_plays_nothing(board: VirtualBoard, code: int) -> None:
    client = client_of(board)
    with pytest.raises(BoardRefused):
        begin_playing(client, code, 60)


def test_an_armed_board_plays_and_measures_nothing(board: VirtualBoard) -> None:
    deck.arm(port_to(board), NEW.code)
    client = client_of(board)
    for name, values in (("play", {"code": CODE, "speed": 60}), ("measure", {"readings": 5}), ("follow", {})):
        with pytest.raises(Refused) as refused:
            client.request(name, **values)  # type: ignore[arg-type]
        assert refused.value.reason == "armed"


@pytest.mark.parametrize("speed", [0, 3601])
def test_a_speed_out_of_its_bounds_is_refused_here(board: VirtualBoard, speed: int) -> None:
    with pytest.raises(OutOfRange, match="3600"):
        begin_playing(client_of(board), CODE, speed)


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


def test_missed_and_extra_changes_are_told_apart() -> None:
    wanted = [Switched(10, "OUT1", 100), Switched(20, "OUT1", 0), Switched(30, "PWM1", 70)]
    seen = [Switched(11, "OUT1", 100), Switched(30, "PWM1", 60), Switched(40, "OUT2", 100)]
    found = compare(wanted, seen)
    assert found.missed == (wanted[1], wanted[2])
    assert found.extra == (seen[1], seen[2])
    assert (found.matched, found.worst_error_s, found.same) == (1, 1, False)


def test_voltages_are_grouped_by_what_was_on() -> None:
    changes = [Switched(10, "OUT1", 100), Switched(20, "OUT1", 0)]
    states = states_of(changes, [(5, 12.0), (12, 11.9), (15, 11.8), (25, 12.1)])
    assert [(state.on, state.count) for state in states] == [((), 2), ((("OUT1", 100),), 2)]
    assert states[0].volts == pytest.approx(12.05)
    assert states[1].volts == pytest.approx(11.85)
