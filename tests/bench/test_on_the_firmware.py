"""Bench and last dive on the firmware's own core, compiled for this computer: the same as on the virtual board."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "firmware"))

from host_rig import Rig, rig_for
from settings_dives import HOUR, make_plan, window

from schedgen.link.bench import measure, play, pulse, show, stop_playing
from schedgen.link.client import Client, Refused
from schedgen.link.last_dive import last_dive
from schedgen.link.ports import VirtualPort
from schedgen.measured.played import changes_in, compare, expected_changes, seconds_to_ask
from schedgen.plan.model import Burst, Flash, Plan
from schedgen.settings.code import code_number, dive_code
from schedgen.settings.decode import decode
from schedgen.settings.meaning import burst_stop


@pytest.fixture(scope="module", params=["halyard-4809", "cleat-328p", "thole-1608"])
def rig(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Rig:
    return rig_for(request.param, tmp_path_factory.mktemp(request.param))


def plan_for(rig: Rig) -> Plan:
    """A dive with bursts, a flash, a level and everything that runs from the release."""
    names = rig.names
    burst = Burst(900, 120, 8)
    windows = [
        window("camera", names[0], HOUR, burst_stop(HOUR, burst), burst=burst),
        window("beacon", names[1], 5 * HOUR, 9 * HOUR, start_moves=True, stop_moves=True, flash=Flash(128, 6)),
        window("lights", "PWM1", 2 * HOUR, 3 * HOUR, level=70),
    ]
    plan = make_plan(windows, at_s=5 * HOUR, end_s=20 * HOUR, board_type=rig.board.board_type, trigger="command")
    limits = replace(plan.interlocks, keep=(names[1],))
    return replace(plan, interlocks=limits, backup=plan.backup if "REL2" in names else None, first_edge_s=0)


def client_of(rig: Rig) -> Client:
    rig.host._fed_s = rig.host._passed_s = 0.0
    client = Client(VirtualPort(rig.host), limit_s=1e9)
    client.identify()
    return client


@pytest.fixture
def block(rig: Rig) -> bytes:
    block = rig.block(plan_for(rig))
    rig.load(block)
    rig.host.host.lead = 1
    rig.host.seconds(1)
    return block


def test_the_pack_is_measured_as_often_as_asked(rig: Rig, block: bytes) -> None:
    rig.host.host.pack_mv = 11_640
    average = measure(client_of(rig), 1024)
    assert average.count >= 1024
    assert average.mean_v == pytest.approx(11.64, abs=0.001)
    assert average.spread_v == 0


def test_every_change_is_shown_and_no_release_moves(rig: Rig, block: bytes) -> None:
    client = client_of(rig)
    before = rig.host.memory
    rig.host.edges()
    dive = decode(block, rig.names)
    expected = expected_changes(dive)
    lit = []
    looks = []
    for one in play(client, code_number(block), seconds_to_ask(expected, dive.end_s, 97), speed=1e6):
        looks.append((one.at_s, one.levels))
        lit.append(bool(rig.host.host.lit))
    found = compare(expected, changes_in(looks, rig.names))
    assert found.same, found
    releases = [number for number, output in enumerate(rig.board.outputs.values()) if output.kind == "release"]
    assert lit == [any(levels[number] for number in releases) for _, levels in looks]
    assert any(lit)
    moved = {edge.output for edge in rig.host.edges()}
    assert moved == {rig.names.index(name) for name in (rig.names[0], rig.names[1], "PWM1")}
    assert not any(rig.host.levels)
    assert rig.host.memory == before
    assert not client.identify().armed


def test_it_ends_by_silence_without_the_lead_and_when_told(rig: Rig, block: bytes) -> None:
    client, code = client_of(rig), code_number(block)
    show(client, code, HOUR)
    assert any(rig.host.levels)
    rig.host.seconds(9)
    assert any(rig.host.levels)
    rig.host.seconds(2)
    assert not any(rig.host.levels)
    show(client, code, HOUR)
    rig.host.host.lead = 0
    rig.host.seconds(2)
    assert not any(rig.host.levels)
    with pytest.raises(Refused, match="bench lead"):
        show(client, code, HOUR)
    rig.host.host.lead = 1
    rig.host.seconds(1)
    show(client, code, HOUR)
    stop_playing(client)
    assert not any(rig.host.levels)
    stop_playing(client)
    show(client, code, HOUR)
    assert any(rig.host.levels)
    show(client, code, decode(block).end_s)
    assert not any(rig.host.levels)
    pulse(client, 0, 1.0)


def test_what_changes_something_is_refused_while_a_dive_is_played(rig: Rig, block: bytes) -> None:
    client, code = client_of(rig), code_number(block)
    show(client, code, HOUR)
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
    with pytest.raises(Refused, match="another dive code"):
        show(client, code ^ 1, HOUR)
    show(client, code, HOUR)
    client.request("arm", code=code)
    assert not any(rig.host.levels)
    for name, values in (("play", {"code": code, "elapsed": 60}), ("measure", {})):
        with pytest.raises(Refused) as refused:
            client.request(name, **values)  # type: ignore[arg-type]
        assert refused.value.reason == "armed"


def test_a_dive_armed_after_it_was_played_flies_from_its_beginning(rig: Rig, block: bytes) -> None:
    client, code = client_of(rig), code_number(block)
    show(client, code, 5 * HOUR)
    client.request("arm", code=code)
    client.request("start", code=code)
    rig.host.edges()
    rig.host.seconds(2 * HOUR + 10)
    assert client.identify().elapsed_s == 2 * HOUR + 10
    assert rig.levels()["PWM1"] == 70
    assert rig.levels()[rig.names[1]] == 0


def test_a_new_board_tells_of_no_dive_and_an_armed_one_of_none_yet(rig: Rig, block: bytes) -> None:
    assert last_dive(client_of(rig)) is None
    rig.arm(block)
    assert last_dive(client_of(rig)) is None


def test_the_last_dive_is_told_on_deck_and_after_disarming(rig: Rig) -> None:
    plan = plan_for(rig)
    block = rig.block(plan)
    rig.begin(plan, block)
    rig.host.host.lead = 0
    pack = 12_400
    while rig.elapsed < plan.end_s + 120:
        rig.host.host.pack_mv = pack
        rig.host.seconds(600)
        pack -= 8
    told = last_dive(client_of(rig))
    assert told is not None
    assert (told.code, told.state) == (dive_code(block), "over")
    assert told.tries >= plan.primary.tries if plan.primary else True
    assert told.first_firing_s is not None
    assert abs(told.first_firing_s - plan.release_s) <= 2
    assert told.choice is None
    assert told.lowest_v is not None
    assert -0.24 <= told.lowest_v - pack / 1000 <= 0.02  # kept in steps of 80 mV a cell, rounded down
    assert len(told.readings) >= 24
    for one in told.readings:
        expected = 12.4 - 0.008 * (one.at_s // 600)
        assert one.volts == pytest.approx(expected, abs=told.step_v + 0.02), one
    rig.identify()
    rig.ask("disarm")
    again = last_dive(client_of(rig))
    assert again is not None
    assert again.state == "over"
    assert again.readings == told.readings
    assert again.first_firing_s == told.first_firing_s
    rig.host.boot()
    later = last_dive(client_of(rig))
    assert later is not None
    assert later.readings == told.readings
