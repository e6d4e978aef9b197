"""A folder of dives: one table, in parallel, and nothing done twice for files that have not changed."""

from __future__ import annotations

import json
import os
import shutil
from pathlib import Path
from typing import Any

import pytest

import schedgen.commands.season as season
from schedgen.commands import main
from schedgen.commands.cache import Cache, cache_folder, program
from schedgen.commands.season import check_one, checked, dive_files

DIVES = Path(__file__).parents[1] / "dives"
BOARDS = Path(__file__).parents[2] / "boards"


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two good dives (one on a board of its own), a no-go, one that cannot be read, a board, and a hidden file."""
    for name, value in (("XDG_CACHE_HOME", tmp_path / "kept"), ("LOCALAPPDATA", tmp_path / "kept"), ("HOME", tmp_path)):
        monkeypatch.setenv(name, str(value))
    place = tmp_path / "season one"
    (place / "June").mkdir(parents=True)
    (place / ".old").mkdir()
    shutil.copy(DIVES / "lake.yaml", place / "June" / "lake.yaml")
    text = (DIVES / "shelf-sea-day.yaml").read_text(encoding="utf-8")
    named = next(line for line in text.splitlines() if line.startswith("board:"))
    board = named.split()[1]
    shutil.copy(BOARDS / f"{board}.yaml", place / "mine.yaml")
    (place / "own board.yaml").write_text(text.replace(named, "board: mine.yaml"), encoding="utf-8")
    parallel = next(line for line in text.splitlines() if "parallel:" in line)
    (place / "weak.yaml").write_text(text.replace(parallel, "  parallel: 1"), encoding="utf-8")
    (place / "broken.yaml").write_text("dive: nothing else\n", encoding="utf-8")
    shutil.copy(DIVES / "lake.yaml", place / ".old" / "lake.yaml")
    return place


def rows(folder: Path, capsys: pytest.CaptureFixture[str], *more: str) -> tuple[int, dict[str, dict[str, Any]]]:
    code = main(["check", str(folder), "--json", *more])
    said = json.loads(capsys.readouterr().out)
    return code, {os.path.relpath(row["file"], folder): row for row in said["dives"]}


def test_only_dive_files_are_checked(folder: Path) -> None:
    names = [str(path.relative_to(folder)) for path in dive_files(folder)]
    assert names == [os.path.join("June", "lake.yaml"), "broken.yaml", "own board.yaml", "weak.yaml"]


def test_the_table_says_each_verdict_and_what_stops_it(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, found = rows(folder, capsys)
    assert code == 2
    assert {name: row["verdict"] for name, row in found.items()} == {
        os.path.join("June", "lake.yaml"): "go",
        "broken.yaml": "unreadable",
        "own board.yaml": "go",
        "weak.yaml": "no-go",
    }
    assert "reserve-short" in found["weak.yaml"]["stops"]
    (folder / "broken.yaml").unlink()
    assert main(["check", str(folder)]) == 1
    text = capsys.readouterr().out
    assert "3 dives: 2 go, 1 no-go" in text
    assert "#" not in text


def test_a_row_is_what_check_says_of_the_file_alone(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    _, found = rows(folder, capsys)
    main(["check", str(folder / "weak.yaml"), "--json"])
    alone = json.loads(capsys.readouterr().out)
    row = found["weak.yaml"]
    assert (row["verdict"], row["code"]) == (alone["verdict"], alone["code"])
    assert row["margin_wh"] == pytest.approx(alone["energy"]["margin_wh"], abs=1e-3)


def test_unchanged_files_are_not_checked_again(
    folder: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    first = rows(folder, capsys)[1]
    (folder / "broken.yaml").unlink()
    monkeypatch.setattr(season, "check_one", lambda _: pytest.fail("nothing was to be checked"))
    second = rows(folder, capsys)[1]
    assert all(row["from_cache"] for row in second.values())
    for name, row in second.items():
        assert {**row, "from_cache": False} == first[name]


@pytest.mark.parametrize("touched", ["own board.yaml", "mine.yaml"])
def test_a_change_of_dive_or_board_counts(folder: Path, capsys: pytest.CaptureFixture[str], touched: str) -> None:
    rows(folder, capsys)
    path = folder / touched
    path.write_text(path.read_text(encoding="utf-8") + "# a note\n", encoding="utf-8")
    again = {name for name, row in rows(folder, capsys)[1].items() if not row["from_cache"]}
    assert again == {"broken.yaml", "own board.yaml"}


def test_no_cache_neither_reads_nor_writes_one(folder: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows(folder, capsys, "--no-cache")
    assert not (folder.parent / "kept").exists()
    rows(folder, capsys)
    assert not any(row["from_cache"] for row in rows(folder, capsys, "--no-cache")[1].values())


def test_a_spoilt_cache_is_no_trouble(folder: Path, tmp_path: Path) -> None:
    cache = Cache(tmp_path / "c")
    path = folder / "weak.yaml"
    cache.put(path, [], {"verdict": "go"})
    entry = next((tmp_path / "c").glob("*.json"))
    for spoilt in ("", "{", "[]", '{"made_from": 3}', "null"):
        entry.write_text(spoilt, encoding="utf-8")
        assert cache.get(path) is None
    (tmp_path / "file").write_text("", encoding="utf-8")
    Cache(tmp_path / "file").put(path, [], {"verdict": "go"})
    assert Cache(tmp_path / "file").get(path) is None
    assert Cache(None).get(path) is None


def test_another_program_has_other_answers(folder: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    cache = Cache(tmp_path / "c")
    cache.put(folder / "weak.yaml", [], {"verdict": "go"})
    assert cache.get(folder / "weak.yaml") == {"verdict": "go"}
    assert len(program()) == 64
    monkeypatch.setattr("schedgen.commands.cache.program", lambda: "another")
    assert cache.get(folder / "weak.yaml") is None


def test_many_files_are_checked_by_several_processes(tmp_path: Path) -> None:
    """Five files, more than are done in this process; each answer is the one of this process."""
    paths = []
    for number in range(5):
        path = tmp_path / f"{number}.yaml"
        shutil.copy(DIVES / "lake.yaml", path)
        paths.append(path)
    found = {path: row for path, row, _ in checked(paths)}
    assert sorted(found) == paths
    assert found[paths[3]] == check_one(str(paths[3]))[0]


@pytest.mark.parametrize(
    ("platform", "environ", "expected"),
    [
        ("linux", {}, "/home/k/.cache/schedgen"),
        ("linux", {"XDG_CACHE_HOME": "/var/c"}, "/var/c/schedgen"),
        ("linux", {"XDG_CACHE_HOME": "relative"}, "/home/k/.cache/schedgen"),
        ("darwin", {"XDG_CACHE_HOME": "/var/c"}, "/home/k/Library/Caches/schedgen"),
        ("win32", {"LOCALAPPDATA": "/c/local"}, "/c/local/schedgen/Cache"),
        ("win32", {}, "/home/k/AppData/Local/schedgen/Cache"),
    ],
)
def test_the_cache_stands_where_the_platform_wants_it(platform: str, environ: dict[str, str], expected: str) -> None:
    assert cache_folder(platform, environ, Path("/home/k")) == Path(expected)


def test_a_folder_without_dives_and_options_for_one_file_are_refused(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "empty").mkdir()
    assert main(["check", str(tmp_path / "empty")]) == 2
    assert "There is no dive file" in capsys.readouterr().err
    assert main(["check", str(folder), "--why", "too-hot"]) == 2
    assert "A folder is checked as a whole" in capsys.readouterr().err
