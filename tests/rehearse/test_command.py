"""The command `rehearse` from its words to its exit code, with the real firmware on the simulated board."""

from __future__ import annotations

import json
import os
import shlex
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rehearse_dives import DIVES

from schedgen.commands import main
from schedgen.firmware.rehearse import fault_runs
from schedgen.firmware.rehearse.rehearsal import Build
from schedgen.load import LoadedDive
from schedgen.report import console

ROOT = Path(__file__).resolve().parents[2]
SHORTER = {
    "    at: bottom + 9 h": "    at: bottom + 3 h",
    "  latest: start + 14 h": "  latest: start + 6 h",
    "  wait: 48 h": "  wait: 30 min",
}
KEYS: dict[str, dict[str, type | tuple[type, ...]]] = {
    "edges": {"expected": int, "seen": int, "missed": int, "extra": int, "worst_error_s": float},
    "release": {"planned_s": int, "seen_s": float, "lower_s": int, "upper_s": int},
    "faults": {"tried": int, "survived": int, "failures": list},
}
"""Keys of the JSON, as the issue that asked for the command writes them down; beside them:"""
NUMBERS = ("simulated_s", "wall_s", "awake_fraction", "energy_plan_wh", "energy_edges_wh")


@pytest.fixture(scope="module")
def dive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo dive, five hours long, with a name that wants quoting."""
    text = DIVES["halyard-4809"].read_text(encoding="utf-8")
    for old, new in SHORTER.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    path = tmp_path_factory.mktemp("a dive") / "short dive.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def test_json_has_the_keys_that_were_asked_for(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["rehearse", str(dive), "--json", "--faults", "3", "--seed", "4"]) == 0
    captured = capsys.readouterr()
    found: dict[str, Any] = json.loads(captured.out)
    assert captured.err == ""
    assert all(isinstance(found[name], float) for name in NUMBERS)
    for name, keys in KEYS.items():
        assert {key: type(found[name][key]) for key in keys} == keys
    assert found["passed"] is True
    assert found["edges"]["missed"] == found["edges"]["extra"] == 0
    assert found["edges"]["expected"] == found["edges"]["seen"] > 500
    assert found["simulated_s"] > 4 * 3600
    assert 0 < found["awake_fraction"] < 0.01
    assert found["release"]["lower_s"] <= found["release"]["planned_s"] <= found["release"]["upper_s"]
    assert found["faults"] | {"by_kind": None} == {"tried": 3, "survived": 3, "failures": [], "by_kind": None}


def test_the_page_says_what_flew_and_how_far_it_is(
    dive: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    shown = []

    class Bar(console.Progress):
        def __call__(self, done: int, total: int) -> None:
            shown.append((self.what, done, total))

    monkeypatch.setattr(console, "Progress", Bar)
    assert main(["rehearse", str(dive), "--faults", "2"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert lines[0].endswith(": as planned")
    assert [line.split()[0] for line in lines[1:8]] == [
        "edges", "furthest", "release", "energy", "controller", "simulated", "Faults:",
    ]  # fmt: skip
    assert lines[7] == "Faults: 2 tried, 2 survived."
    for what in ("rehearsing", "trying faults"):
        steps = [(done, total) for told, done, total in shown if told == what]
        assert steps == sorted(steps)
        assert len(steps) >= 2
        assert steps[-1][0] == steps[-1][1]


def test_a_failure_is_printed_with_a_line_that_runs_it_again(
    dive: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    def wrong(rig: Any, one: Any, record: Any) -> list[str]:
        return [f"spoilt {one.about}"] if one.kind == "power cut in an arming" else []

    monkeypatch.setattr(fault_runs, "verdict", wrong)
    assert main(["rehearse", str(dive), "--faults", "4", "--seed", "3"]) == 1
    lines = capsys.readouterr().out.splitlines()
    told = next(line.strip() for line in lines if "spoilt" in line)
    again = next(line.split("again: ")[1] for line in lines if "again: " in line)
    words = shlex.split(again)
    assert words[0] == "schedgen"
    assert main(words[1:]) == 1
    assert told in [line.strip() for line in capsys.readouterr().out.splitlines()]


def test_what_comes_out_does_not_depend_on_how_many_processors_there_are(
    compiled: Callable[[str], tuple[LoadedDive, Build]], monkeypatch: pytest.MonkeyPatch
) -> None:
    def all_wrong(rig: Any, one: Any, record: Any) -> list[str]:
        return [repr(record.edges[-40:]), record.eeprom]

    monkeypatch.setattr(fault_runs, "verdict", all_wrong)
    found = []
    for number in (1, 3):
        monkeypatch.setattr(fault_runs, "processors", lambda number=number: number)
        found.append(fault_runs.run_faults(*compiled("halyard-4809"), 0, 1, only=(3, 4, 10, 17, 2)).as_json())
    assert found[0] == found[1]
    assert len(found[0]["failures"]) == 5


def test_a_crash_of_the_simulator_is_a_message(
    dive: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A worker that takes the program and then ends as a crash would end it."""
    (tmp_path / "crashing_worker.py").write_text(
        "import os, signal, sys\n"
        "sys.stdin.readline()\n"
        "print('{\"loaded\": true}', flush=True)\n"
        "sys.stdin.readline()\n"
        "print('out of luck', file=sys.stderr, flush=True)\n"
        "os.kill(os.getpid(), signal.SIGSEGV)\n",
        encoding="utf-8",
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    monkeypatch.setattr("schedgen.firmware.rehearse.supervisor._MODULE", "crashing_worker")
    assert main(["rehearse", str(dive)]) == 3
    captured = capsys.readouterr()
    assert captured.out == ""
    assert "The simulator ended by itself (signal SIGSEGV). Its last words: out of luck" in captured.err
    assert "Traceback" not in captured.err


def test_without_the_simulator_it_says_what_to_install(
    dive: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    import importlib.util

    real = importlib.util.find_spec
    monkeypatch.setattr(
        importlib.util, "find_spec", lambda name, *more: None if name == "yasimavr" else real(name, *more)
    )
    assert main(["rehearse", str(dive)]) == 2
    said = capsys.readouterr().err
    assert "The simulated microcontroller is not installed" in said
    assert 'pip install "schedgen[rehearse]"' in said


def test_a_simulator_that_cannot_be_loaded_is_not_called_a_defect_of_the_dive(
    dive: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    package = tmp_path / "yasimavr"
    package.mkdir()
    (package / "__init__.py").write_text("raise ImportError('libelf.so.1: cannot open')", encoding="utf-8")
    monkeypatch.syspath_prepend(str(tmp_path))
    assert main(["rehearse", str(dive)]) == 2
    said = capsys.readouterr().err
    assert "cannot be loaded: libelf.so.1: cannot open." in said
    assert "libelf-dev" in said


def test_without_a_compiler_it_says_how_to_get_one(
    dive: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("schedgen.firmware.toolchain.shutil.which", lambda *given, **more: None)
    monkeypatch.setattr("schedgen.firmware.toolchain._pip_folder", lambda: None)
    assert main(["rehearse", str(dive)]) == 2
    said = capsys.readouterr().err
    assert "avr-gcc" in said
    assert "pip install" in said


def test_serve_waits_with_a_board_and_ends_with_its_input(dive: Path) -> None:
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join((str(ROOT), *filter(None, [os.environ.get("PYTHONPATH")])))
    }
    serving = subprocess.Popen(
        [sys.executable, "-m", "schedgen", "rehearse", str(dive), "--serve"],
        stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=environment, text=True, encoding="utf-8",
    )  # fmt: skip
    assert serving.stdin is not None
    assert serving.stdout is not None
    try:
        port = serving.stdout.readline().rsplit(" ", 1)[1].strip()
        assert "It holds no settings yet." in serving.stdout.readline() + serving.stdout.readline()
        line = os.open(port, os.O_RDWR | os.O_NOCTTY | os.O_NONBLOCK)
        try:
            assert "halyard-4809" in ask(line)
        finally:
            os.close(line)
    finally:
        serving.stdin.close()
        code = serving.wait(timeout=20)
        serving.stdout.close()
    assert code == 0


def ask(line: int) -> str:
    """The board's answer to the question of a bare terminal."""
    said = b""
    until = time.monotonic() + 15
    while b"\n" not in said and time.monotonic() < until:
        os.write(line, b"\r\n?\r\n")
        time.sleep(0.7)
        try:
            said += os.read(line, 4096)
        except BlockingIOError:
            continue
    return said.decode("ascii", "replace")
