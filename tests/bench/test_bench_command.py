"""`bench` on a served virtual board with loads: verdicts, lights dim and short, the release only with its code."""

from __future__ import annotations

import io
import json
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from schedgen.commands import main
from schedgen.link import deck
from schedgen.link.eeprom import Memory, Nameplate, blank_image
from schedgen.link.ports import VirtualPort
from schedgen.link.virtual import VirtualBoard
from schedgen.link.virtual_bench import VirtualPack
from schedgen.load import LoadedDive, load

# Currents at the pack of the demo's loads at 12.1 V, A, by hand: 7.4 W / 0.9 / 12.1 V and so on; OUT3 controls.
AMPS = (0.68, 0.20, 0.0, 0.041, 1.98, 0.10, 0.39, 0.0)
OHM = 0.030


@pytest.fixture
def dive(tmp_path: Path) -> Path:
    path = tmp_path / "dive.yaml"
    path.write_bytes(resources.files("schedgen.dive").joinpath("demo.yaml").read_bytes())
    return path


@pytest.fixture
def loaded(dive: Path) -> LoadedDive:
    return load(dive)


@pytest.fixture
def board(loaded: LoadedDive, monkeypatch: pytest.MonkeyPatch) -> VirtualBoard:
    """A board with the demo's loads and the dive on it, behind every port that is opened."""
    board = VirtualBoard(Memory(blank_image(Nameplate.of(loaded.board))))
    board.pack = VirtualPack(12.1, OHM, AMPS, noise_v=0.012, step_v=0.01904)
    deck.upload(VirtualPort(board), loaded.settings(), loaded.board.board_type)
    monkeypatch.setattr("schedgen.link.ports.open_port", lambda name, baud=0, make=None: VirtualPort(board, name))
    return board


def bench(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, dive: Path, *words: str, typed: str = ""
) -> tuple[int, Any, str]:
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    capsys.readouterr()
    code = main(["bench", str(dive), "--port", "virtual:x", "--json", *words])
    captured = capsys.readouterr()
    return code, json.loads(captured.out) if captured.out else None, captured.err


def verdicts(record: Any) -> dict[str, str]:
    return {name: one["verdict"] for name, one in record["outputs"].items()}


def test_every_output_is_tried_and_lights_only_dim_and_short(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard
) -> None:
    code, record, err = bench(capsys, monkeypatch, dive)
    assert code == 0, err
    found = verdicts(record)
    assert found["OUT1"] == "connected"
    assert found["PWM1"] in ("connected", "cannot tell")
    assert found["OUT3"] == "cannot tell"
    assert (found["REL1"], found["REL2"]) == ("not tried", "not tried")
    lights = [pulse for pulse in board.pulses if pulse.output == 4 and pulse.level]
    assert [(pulse.level, pulse.steps) for pulse in lights] == [(10, 32)]
    assert not any(pulse.output in (6, 7) and pulse.level for pulse in board.pulses)
    assert not any(board.levels)
    assert board.holdings.armed_code is None
    assert Path(record["file"]).is_file()


def test_a_plug_that_is_out_is_found_and_gives_exit_code_1(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard
) -> None:
    board.pack.amps = (0.0, *AMPS[1:])
    code, record, _ = bench(capsys, monkeypatch, dive)
    assert code == 1
    assert verdicts(record)["OUT1"] == "not connected"


def test_every_measurement_has_at_least_256_readings(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard
) -> None:
    from schedgen.link import bench as link_bench

    counts: list[int] = []
    measure = link_bench.measure

    def counting(client: Any, readings: int) -> Any:
        average = measure(client, readings)
        counts.append(average.count)
        return average

    monkeypatch.setattr("schedgen.link.trial.measure", counting)
    bench(capsys, monkeypatch, dive)
    assert counts
    assert min(counts) >= 256


def test_the_release_needs_the_typed_code_and_its_caution_comes_first(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard, loaded: LoadedDive
) -> None:
    code, _, err = bench(capsys, monkeypatch, dive, "--release", "--only", "REL1", typed="000000\n")
    assert code == 2
    assert "CAUTION" in err
    assert "dummy load" in err
    assert not [pulse for pulse in board.pulses if pulse.level]
    code, record, _ = bench(
        capsys, monkeypatch, dive, "--release", "--only", "REL1", "--seconds", "60", typed=loaded.settings().code + "\n"
    )
    assert code == 0
    assert verdicts(record) == {"REL1": "connected"}
    fired = [pulse for pulse in board.pulses if pulse.level]
    assert [(pulse.output, pulse.steps) for pulse in fired] == [(6, 640)]


def test_a_meter_gives_draw_and_the_next_check_uses_it(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard
) -> None:
    code, record, _ = bench(capsys, monkeypatch, dive, "--meter", "PWM2=0.12 A ± 2 %")
    assert code == 0
    low, _, high = record["outputs"]["PWM2"]["power_w"]
    # 0.12 A x 12.09 V x 87 to 93 % of the converter, and 2 % of the meter: 1.24 to 1.38 W, by hand.
    assert (low, high) == pytest.approx((1.236, 1.377), abs=0.01)
    text = dive.read_text(encoding="utf-8")
    dive.write_text(f"{text}bench: {Path(record['file']).name}\n", encoding="utf-8")
    assert load(dive).guessed == []


@pytest.mark.parametrize("meter", ["PWM2", "PWM9=1 A", "PWM2=1 W", "PWM2=0 A"])
def test_a_meter_reading_that_makes_no_sense_is_refused(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard, meter: str
) -> None:
    code, record, err = bench(capsys, monkeypatch, dive, "--meter", meter)
    assert code == 2
    assert record["verdict"] == "unreadable"
    assert "Next:" in err
    assert not board.pulses


def test_nothing_is_tried_on_an_armed_board(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard, loaded: LoadedDive
) -> None:
    deck.arm(VirtualPort(board), loaded.settings().code)
    code, _, err = bench(capsys, monkeypatch, dive)
    assert code == 3
    assert "disarm" in err
    assert not board.pulses


def test_a_pulse_that_ended_before_it_was_measured_is_not_believed(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard
) -> None:
    class Slow(VirtualPort):
        def write(self, data: bytes, deadline: float) -> None:
            self._now += 1.0
            super().write(data, deadline)

    monkeypatch.setattr("schedgen.link.ports.open_port", lambda name, baud=0, make=None: Slow(board, name))
    _, record, _ = bench(capsys, monkeypatch, dive)
    assert set(verdicts(record).values()) <= {"cannot tell", "not tried"}
    assert "slow" in record["outputs"]["OUT1"]["why"]


def test_the_whole_dive_is_played_compared_and_leaves_nothing_armed(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard, loaded: LoadedDive
) -> None:
    typed = loaded.settings().code + "\n"
    code, record, err = bench(capsys, monkeypatch, dive, "--whole-dive", "--speed", "600", typed=typed)
    assert code == 0, err
    assert "Lights get hot" in err
    edges = record["edges"]
    assert (edges["missed"], edges["extra"]) == ([], [])
    assert 2 * edges["expected"] < edges["asked_s"] < edges["of_s"]
    assert edges["expected"] == edges["seen"] > 100
    assert record["armed_afterwards"] is False
    assert board.holdings.essentials() is None or not board.holdings.armed_code
    assert not any(board.levels)
    assert not board.pulses


def test_a_dive_that_the_board_does_not_hold_is_not_played(
    capsys: Any, monkeypatch: Any, dive: Path, board: VirtualBoard
) -> None:
    text = dive.read_text(encoding="utf-8")
    dive.write_text(text.replace("at: bottom + 9 h", "at: bottom + 8 h"), encoding="utf-8")
    code, _, err = bench(capsys, monkeypatch, dive, "--whole-dive", typed="x\n")
    assert code == 1
    assert "Upload the file first" in err
