"""new, simulate, render, library, schema, demo and the help."""

from __future__ import annotations

import csv
import itertools
import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from schedgen.commands import MOMENTS

COMMANDS = [name for names in MOMENTS.values() for name in names]


def test_the_demo_does_the_whole_job_and_says_where_everything_is(run: Any, tmp_path: Path) -> None:
    folder = tmp_path / "ein neuer Ordner"
    ran = run("demo", folder)
    assert ran.code == 0, ran.err
    assert "verified" in ran.out
    assert "The same as the dive file" in ran.out
    for path in folder.rglob("*"):
        if path.is_file():
            assert path.relative_to(folder).as_posix() in ran.out


def test_the_demo_leaves_a_folder_that_is_there_alone(run: Any, tmp_path: Path) -> None:
    (tmp_path / "mine.txt").write_text("mine", encoding="utf-8")
    assert run("demo", tmp_path).code == 2
    assert [path.name for path in tmp_path.iterdir()] == ["mine.txt"]


def test_the_course_has_the_fixed_columns_and_a_row_a_minute(run: Any, demo: Path, tmp_path: Path) -> None:
    out = tmp_path / "course.csv"
    assert run("simulate", demo, "--csv", out).code == 0
    with out.open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    fixed = [
        "elapsed_s",
        "phase",
        "voltage_v",
        "current_a",
        "power_w",
        "charge_pct",
        "pack_c",
        "housing_c",
        "pressure_dbar",
    ]
    assert list(rows[0])[:9] == fixed
    assert {"camera", "lights", "fan", "beacon", "locator"} <= set(rows[0])
    times = [float(row["elapsed_s"]) for row in rows]
    assert times == sorted(times)
    assert max(b - a for a, b in itertools.pairwise(times)) <= 60.0
    assert {row["phase"] for row in rows} == {"descent", "bottom", "ascent", "surface"}


def test_rendering_writes_the_same_bytes_each_time(run: Any, demo: Path, tmp_path: Path) -> None:
    for name in ("one", "two"):
        assert run("render", demo, "--out", tmp_path / name).code == 0
    one = {path.name: path.read_bytes() for path in (tmp_path / "one").iterdir()}
    two = {path.name: path.read_bytes() for path in (tmp_path / "two").iterdir()}
    assert one == two
    assert {"dive_settings.h", "manifest.json"} <= set(one)
    manifest = json.loads(one["manifest.json"])
    assert f"{manifest['code']}.bin" in one
    assert f"{manifest['code']}-eeprom.hex" in one


def test_a_new_dive_has_to_be_filled_in_first(run: Any, tmp_path: Path) -> None:
    path = tmp_path / "mein Tauchgang.yaml"
    assert run("new", path, "--board", "thole-1608").code == 0
    ran = run("check", path)
    assert ran.code == 2
    assert "?" in ran.err
    again = run("new", path)
    assert again.code == 2
    assert "left as it is" in again.err


def test_a_library_file_can_be_printed_and_used(run: Any, tmp_path: Path, demo: Path) -> None:
    assert run("library").code == 0
    text = run("library", "halyard-4809").out
    (demo.parent / "my-board.yaml").write_text(text, encoding="utf-8")
    demo.write_text(demo.read_text(encoding="utf-8").replace("halyard-4809", "my-board.yaml"), encoding="utf-8")
    assert run("check", demo).code == 0
    record = run("library", "--json").record
    assert set(record["boards"]) == {"halyard-4809", "thole-1608", "cleat-328p"}
    assert set(record["cells"]) == {"nmc-21700-5000", "nmc-18650-3000", "lfp-26650-3300", "lfp-32700-6000"}
    assert run("library", "halyard").code == 2


def test_the_schema_takes_the_demo_and_refuses_an_unknown_key(run: Any, demo_text: str) -> None:
    schema = run("schema").record
    dive = yaml.load(demo_text, Loader=yaml.BaseLoader)
    jsonschema.Draft202012Validator(schema).validate(_typed(dive))
    dive["vehicle"]["colour"] = "yellow"
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.Draft202012Validator(schema).validate(_typed(dive))


def _typed(node: Any) -> Any:
    """As an editor reads it: plain numbers are numbers."""
    if isinstance(node, dict):
        return {key: _typed(value) for key, value in node.items()}
    if isinstance(node, list):
        return [_typed(value) for value in node]
    return yaml.safe_load(node) if isinstance(node, str) and node.replace(".", "").lstrip("-").isdigit() else node


@pytest.mark.parametrize("name", COMMANDS)
def test_every_command_explains_itself_with_long_options_only(run: Any, name: str) -> None:
    ran = run(name, "--help")
    assert ran.code == 0
    listed = [word for line in ran.out.splitlines() for word in line.split()[:1] if word.startswith("-")]
    assert [word for word in listed if not word.startswith("--")] == ["-h,"]


def test_a_command_that_is_not_there_gets_the_near_one(run: Any) -> None:
    ran = run("chekc")
    assert ran.code == 2
    assert "check" in ran.err
    assert "Traceback" not in ran.err


def test_the_readme_is_what_the_program_prints() -> None:
    import subprocess
    import sys

    root = Path(__file__).resolve().parents[2]
    done = subprocess.run([sys.executable, root / "tests" / "readme.py"], capture_output=True, text=True)
    assert done.returncode == 0, done.stdout + "\nBring it up to date with: python tests/readme.py --write"


def test_the_first_two_sh_blocks_are_one_line_each_and_the_gate_runs_the_second() -> None:
    root = Path(__file__).resolve().parents[2]
    blocks = [part.split("```")[0] for part in (root / "README.md").read_text(encoding="utf-8").split("```sh\n")[1:]]
    assert [len(block.strip().splitlines()) for block in blocks[:2]] == [1, 1]
    assert "schedgen demo" in blocks[0]
    assert blocks[1].strip() == "sh tests/run"
    assert "block == 2" in (root / ".ci" / "run").read_text(encoding="utf-8")
