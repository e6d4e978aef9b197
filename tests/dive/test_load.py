"""The public face: a dive with its board and cell, the problems of all files together."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import schedgen
from schedgen.errors import FileProblems, Problem
from schedgen.files.place import Place

EXAMPLE = Path(__file__).with_name("example.yaml")


def write(folder: Path, *pairs: tuple[str, str]) -> Path:
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new)
    path = folder / "a.yaml"
    path.write_text(text, encoding="utf-8")
    return path


def problems(path: Path) -> list[Problem]:
    with pytest.raises(FileProblems) as caught:
        schedgen.load(path)
    return list(caught.value.problems)


def only(path: Path) -> Problem:
    found = problems(path)
    assert len(found) == 1, found
    return found[0]


def test_the_example_loads_and_everything_follows() -> None:
    loaded = schedgen.load(EXAMPLE)
    assert loaded.board.board == "halyard-4809"
    assert loaded.cell.cell == "nmc-21700-5000"
    assert loaded.path == EXAMPLE
    assert loaded.place("loads.camera.power") == Place(str(EXAMPLE), 49, 12)
    assert loaded.place("pack.fuse").line == 35
    assert loaded.guessed == []
    assert ("loads.fan.role", "fan, from its name") in loaded.defaults
    plan = loaded.plan()
    assert plan is loaded.plan()
    assert plan.name == loaded.dive.dive
    assert loaded.settings().code == loaded.settings().code
    assert loaded.simulate() is loaded.simulate()
    assert "nominal" in loaded.simulate().cases
    assert loaded.check().verdict in ("go", "no-go")


def test_importing_the_package_is_quick_and_loading_is_lazy() -> None:
    code = "import sys, schedgen; print('pydantic' in sys.modules, 'yaml' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["False", "False"]


def test_load_stays_a_function_whatever_was_imported_first() -> None:
    code = "from schedgen.load import load; import schedgen; print(callable(schedgen.load), schedgen.load.__name__)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.startswith("True")
    with pytest.raises(AttributeError):
        schedgen.nothing  # noqa: B018


def test_an_unknown_board_or_cell_stands_at_its_line(tmp_path: Path) -> None:
    found = problems(write(tmp_path, ("halyard-4809", "haliard-4809"), ("nmc-21700-5000", "nmc-21700-500")))
    assert [(p.line, p.column) for p in found] == [(6, 8), (36, 9)]
    assert 'Did you mean "halyard-4809"?' in found[0].message
    assert 'Did you mean "nmc-21700-5000"?' in found[1].message


def test_a_board_file_that_is_missing_stands_at_its_line(tmp_path: Path) -> None:
    problem = only(write(tmp_path, ("halyard-4809", "boards/none.yaml")))
    assert (problem.line, problem.column) == (6, 8)


def test_the_problems_of_dive_and_board_come_together(tmp_path: Path) -> None:
    (tmp_path / "own.yaml").write_text("format: 1\nboard: own\nprt: ATmega4809\n", encoding="utf-8")
    found = problems(write(tmp_path, ("halyard-4809", "own.yaml"), ("wait: 48 h", "wait: 48")))
    assert {Path(p.file).name for p in found} == {"a.yaml", "own.yaml"}
    assert any("prt" in p.message for p in found)


@pytest.mark.parametrize(
    ("old", "new", "words", "under"),
    [
        ("{wired_to: OUT2, power: 2.0 W}", "{wired_to: OUT22, power: 2.0 W}", 'Did you mean "OUT2"?', "OUT22"),
        ("stop: OUT3", "stop: OUT7", "no output OUT7", "OUT7"),
        ("stop: OUT3", "stop: REL2", "REL2 is a release output", "REL2"),
        ("{wired_to: OUT2, power: 2.0 W}", "{wired_to: REL2, power: 2.0 W}", "REL2 is a release output", "REL2"),
        ("wired_to: REL1", "wired_to: REL3", "no output REL3", "REL3"),
        ("from: release, until: end, every: 2 s", "from: release, until: end, level: 50 %, every: 2 s",
         "only switched on and off", "level"),
        ("{level: lights, values: [70 %, 45 %]}", "{level: beacon, values: [100 %, 45 %]}",
         "only switched on and off", "level"),
    ],
)  # fmt: skip
def test_outputs_are_checked_against_the_board(tmp_path: Path, old: str, new: str, words: str, under: str) -> None:
    problem = only(write(tmp_path, (old, new)))
    assert words in problem.message
    assert problem.source[problem.column - 1 :].startswith(under)


def test_a_release_on_a_switched_output_is_refused(tmp_path: Path) -> None:
    path = write(tmp_path, ("wired_to: REL1", "wired_to: OUT3"), ("    stop: OUT3\n", ""))
    assert "OUT3 is a switched output; it cannot serve the primary release" in only(path).message


def test_water_that_cannot_be_is_refused_with_bound_and_place(tmp_path: Path) -> None:
    problem = only(write(tmp_path, ("salinity: 34.98", "salinity: 0.9")))
    assert problem.line == 22
    assert "at least 0.005 x pressure" in problem.message
    problem = only(
        write(tmp_path, ("temperature: 10.8 degC, salinity: 35.1", "temperature: -2.4 degC, salinity: 35.1"))
    )
    assert problem.line == 19
    assert "freezing point" in problem.message


def test_a_cell_written_out_is_read(tmp_path: Path) -> None:
    problem = problems(write(tmp_path, ("cell: nmc-21700-5000", "cell: {cell: own, chemistry: nmc}")))[0]
    assert problem.line == 36


def test_unknown_materials_are_refused_before_the_physics_meets_them(tmp_path: Path) -> None:
    problem = only(write(tmp_path, ("material: aluminium", "material: aluminum")))
    assert 'Did you mean "aluminium"?' in problem.message
    tested = "    tested: {parts_in: 4 min, salinity: 35, temperature: 12 degC}\n"
    assert schedgen.load(write(tmp_path, ("metal: steel", "metal: mystery")))
    problem = only(write(tmp_path, ("metal: steel", "metal: mystery"), (tested, "")))
    assert problem.source[problem.column - 1 :].startswith("mystery")


def test_a_rested_voltage_that_no_cell_has_is_refused(tmp_path: Path) -> None:
    rested = "charge: {rest_voltage: %s V, rested: 2 h, temperature: 15 degC}"
    assert schedgen.load(write(tmp_path, ("charge: 98 %", rested % "12.31 V ± 0.02")))
    problem = only(write(tmp_path, ("charge: 98 %", rested % "24.6")))
    assert "24.6 V over 3 cells in series" in problem.message
    assert problem.source[problem.column - 1 :].startswith("24.6 V")


def test_a_record_of_an_earlier_dive_that_is_not_there_is_told_at_the_line_that_names_it(tmp_path: Path) -> None:
    problem = only(write(tmp_path, ("charge: 98 %", "charge: {after: monday.yaml}")))
    assert "There is no file" in problem.message
    assert problem.source[problem.column - 1 :].startswith("monday.yaml")


def test_a_key_that_this_version_cannot_follow_is_refused(tmp_path: Path) -> None:
    problem = only(write(tmp_path, ("recovery:", "bench: b.json\nrecovery:")))
    assert problem.source.startswith("bench")


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "utf-16-le"])
def test_what_a_windows_editor_saves_is_the_same_dive(tmp_path: Path, encoding: str) -> None:
    path = tmp_path / "Tauchgang über Nacht.yaml"
    path.write_bytes(EXAMPLE.read_text(encoding="utf-8").replace("\n", "\r\n").encode(encoding))
    loaded = schedgen.load(path)
    assert loaded.dive == schedgen.load(EXAMPLE).dive
    assert loaded.place("recovery.wait").line == schedgen.load(EXAMPLE).place("recovery.wait").line
    assert loaded.settings().block == schedgen.load(EXAMPLE).settings().block
