"""Rules of the room: documentation that follows the table, pure modules, imports in any order."""

from __future__ import annotations

import ast
import subprocess
import sys
from pathlib import Path

import pytest
from developers_table import PAGE, wanted

ROOM = Path(__file__).resolve().parents[2] / "schedgen" / "settings"
EFFECTS = {"os", "pathlib", "shutil", "tempfile", "time", "socket", "subprocess", "sys", "random", "serial", "click"}
WRITERS = {"write.py"}


def test_the_developers_page_has_the_table_as_it_is() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert wanted(text) == text, "run: python tests/settings/developers_table.py --write"


def imported(path: Path) -> set[str]:
    names: set[str] = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module:
            names.add(node.module.split(".")[0])
    return names


def calls(path: Path) -> set[str]:
    tree = ast.walk(ast.parse(path.read_text(encoding="utf-8")))
    return {node.func.id for node in tree if isinstance(node, ast.Call) and isinstance(node.func, ast.Name)}


@pytest.mark.parametrize("path", sorted(ROOM.glob("*.py")), ids=lambda path: path.name)
def test_only_the_writer_touches_the_world(path: Path) -> None:
    if path.name not in WRITERS:
        assert not imported(path) & EFFECTS
        assert not calls(path) & {"open", "print", "input"}


@pytest.mark.parametrize("first", ["schedgen.settings", "schedgen.settings.fields", "schedgen.plan", "schedgen.link"])
def test_the_rooms_can_be_imported_in_any_order(first: str) -> None:
    source = f"import {first}, schedgen.settings.schedule, schedgen.settings.compare, schedgen.plan"
    subprocess.run([sys.executable, "-c", source], check=True, cwd=ROOM.parents[1])
