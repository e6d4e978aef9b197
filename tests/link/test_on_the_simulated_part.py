"""The ordinary commands' functions against the compiled firmware on the simulated part, through real pyserial."""

from __future__ import annotations

import json
from collections.abc import Iterator
from importlib import resources
from math import ceil
from pathlib import Path

import pytest
from simulated_part import bad_uploads, full_settings, image_of, opened, pins_were_still, upload_time

from schedgen.board.load import load_board
from schedgen.board.model import Board
from schedgen.commands import main
from schedgen.firmware.rehearse.serving import served, served_board
from schedgen.firmware.rehearse.supply import supply_of
from schedgen.firmware.rehearse.target import LIGHT
from schedgen.link import deck
from schedgen.link.bench import measure, play, pulse, wait
from schedgen.link.client import Client, Refused
from schedgen.link.last_dive import last_dive
from schedgen.link.search import who
from schedgen.link.trial import try_output
from schedgen.load import load
from schedgen.measured.played import changes_in, compare, expected_changes, seconds_to_ask
from schedgen.settings.code import from_crockford
from schedgen.settings.slot import pack_slot


@pytest.fixture(scope="module")
def board() -> Board:
    return load_board("halyard-4809")


@pytest.fixture(scope="module")
def name(board: Board) -> Iterator[str]:
    with served(board, image_of(board)) as name:
        yield name


def test_upload_readback_name_arm_and_disarm(name: str, board: Board) -> None:
    settings = full_settings(board)
    with opened(name, board.serial.baud) as port:
        assert deck.upload(port, settings, board.board_type).code == settings.code
        assert deck.rename(port, "WHELK").given_name == "WHELK"
    with opened(name, board.serial.baud) as port:
        assert deck.readback(port).block == settings.block
        assert who(port).given_name == "WHELK"
        assert deck.arm(port, settings.code).armed
        with pytest.raises(Refused) as refused:
            Client(port).request("measure")
        assert refused.value.reason == "armed"
        assert deck.disarm(port).state == "on bench"
        assert last_dive(Client(port)) is None


@pytest.mark.parametrize(("name", "page_s"), [("halyard-4809", 0.004), ("cleat-328p", None)])
def test_an_upload_of_a_full_slot_takes_hardly_longer_than_its_bytes_need(name: str, page_s: float | None) -> None:
    # In simulated time, so that other work on this computer does not count. EEPROM: 4 ms a page on the 0-series, each
    # piece of 32 bytes touching two; 3.4 ms a changed byte on the 328P (data sheets, from memory).
    board = load_board(name)
    old, new = full_settings(board, 9), full_settings(board, 10)
    assert len(new.block) >= 90
    took, wire = upload_time(board, old, new)
    whole = len(pack_slot(1, new.block))
    eeprom = 0.0034 * whole if page_s is None else page_s * 2 * (ceil(whole / 32) + 1)
    assert took <= 1.5 * wire + eeprom + 0.2, (took, wire, eeprom)


def test_the_bench_measures_and_pulses(name: str, board: Board) -> None:
    with opened(name, board.serial.baud) as port:
        client = Client(port)
        client.identify()
        average = measure(client, 1024)
        assert average.count >= 1024
        assert average.mean_v == pytest.approx(11.1, abs=1.5)
        trial = try_output(client, 0, 100, 1.5, 512)
        assert trial.in_time
        assert trial.before.count >= 256


def test_bench_finds_a_load_that_is_there_and_one_that_is_not(
    tmp_path: Path, board: Board, capsys: pytest.CaptureFixture[str]
) -> None:
    # the demo's camera sags its pack by about 25 mV; nothing hangs at OUT2, where the file has the beacon
    dive = tmp_path / "dive.yaml"
    dive.write_bytes(resources.files("schedgen.dive").joinpath("demo.yaml").read_bytes())
    supply = supply_of(load(dive), unplugged=["OUT2"])
    with served(board, image_of(board), supply) as name:
        capsys.readouterr()
        code = main(["bench", str(dive), "--port", name, "--only", "OUT1", "--only", "OUT2", "--json"])
    found = json.loads(capsys.readouterr().out)["outputs"]
    assert code == 1
    assert {output: one["verdict"] for output, one in found.items()} == {"OUT1": "connected", "OUT2": "not connected"}
    drawn = supply.draws["OUT1"][0].watt  # its surge, which lasts longer than the pulse
    assert found["OUT1"]["sag_v"] == pytest.approx(drawn / supply.open_v * supply.ohm, rel=0.1)
    assert 0 < found["OUT1"]["sag_error_v"] < 0.0005  # of a step of 19 mV
    assert "OUT2" not in supply.draws


def test_a_short_dive_is_played_to_its_end_and_leaves_nothing_armed(name: str, board: Board) -> None:
    settings = full_settings(board, 3, 2)
    expected = expected_changes(settings.dive)
    asked = seconds_to_ask(expected, settings.dive.end_s, 600)
    with opened(name, board.serial.baud) as port:
        deck.upload(port, settings, board.board_type)
        client = Client(port, limit_s=300.0)
        looks = [(one.at_s, one.levels) for one in play(client, from_crockford(settings.code), asked, 1e6)]
        assert [one for one, _ in looks] == list(asked)
        found = compare(expected, changes_in(looks, board.output_names))
        assert found.same, found
        assert {"OUT1", "REL1"} <= {one.output for one in expected}
        after = client.identify()
        assert (after.state, after.armed) == ("on bench", False)
        assert deck.readback(port).block == settings.block


def test_a_bad_line_never_makes_a_wrong_verified_never_arms_and_never_releases(board: Board) -> None:
    _, waiting = bad_uploads(board, range(6))
    pins_were_still(board, waiting)


def test_a_release_and_an_armed_board_are_seen_at_the_pins(board: Board) -> None:
    settings = full_settings(board)
    with served_board(board, image_of(board)) as waiting, opened(waiting.port, board.serial.baud) as port:
        deck.upload(port, settings, board.board_type)
        client = Client(port)
        client.identify()
        pulse(client, board.output_names.index("REL1"), 0.3, code=from_crockford(settings.code))
        wait(port, 0.6)
        deck.arm(port, settings.code)
        wait(port, 3.0)
        deck.disarm(port)
    assert [level for _, _, level in waiting.of("REL1")] == [100, 0]
    assert waiting.of(LIGHT)


def test_a_pulse_lasts_as_asked_and_is_measured_at_its_end(board: Board) -> None:
    # so that a starting surge is over, and a meter can be read: within 6 s the camera's 4 s of surge are over
    with served_board(board, image_of(board)) as waiting, opened(waiting.port, board.serial.baud) as port:
        client = Client(port)
        client.identify()
        trial = try_output(client, 0, 100, 6.0, 512)
    assert trial.in_time
    assert 4.0 < trial.measured_from_s < 6.0
    (on, _, _), (off, _, _) = waiting.of("OUT1")
    assert 5.0 < (off - on) / 1e6 < 6.1
