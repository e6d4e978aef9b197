"""Whatever stands in a board or cell file: a model or `FileProblems`, never anything else; and the schema is usable."""

from __future__ import annotations

import random

import jsonschema
import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.board.cell import Cell
from schedgen.board.load import board_from_tree, board_names, cell_names, library_text
from schedgen.board.model import Board
from schedgen.errors import FileProblems, Problem
from schedgen.files.bind import bind
from schedgen.files.tree import parse_tree

SCRAPS = [
    "", "~", "[]", "{}", "[1, 2]", "{a: b}", "about 5 V", "1e400", "-1", "0", "nan", "PA0", "high", "none", "10 %",
    "5 V", "5 V ± 200 %", "9 V .. 1 V", "250 mA",
    "\u00b5", "x" * 300, "2 ppm", "32 kHz", "256 B", "TCA0", "- 3", "yes", "100",
    "[0, 100]", "{25 degC: [1, 2]}", "{-5: 3}", "25 degC", "&a [*a]",
]  # fmt: skip


def mangled(text: str, seed: int) -> str:
    """`text` with a few values, keys or lines changed."""
    chance = random.Random(seed)
    lines = text.splitlines()
    for _ in range(chance.randint(1, 4)):
        at = chance.randrange(len(lines))
        line, kind = lines[at], chance.randrange(5)
        if kind == 0:
            del lines[at]
        elif kind == 1 and ": " in line:
            lines[at] = line.split(": ")[0] + ": " + chance.choice(SCRAPS)
        elif kind == 2:
            parts = line.split(", ")
            parts[chance.randrange(len(parts))] = chance.choice(SCRAPS)
            lines[at] = ", ".join(parts)
        elif kind == 3 and line:
            cut = chance.randrange(len(line))
            lines[at] = line[:cut] + chance.choice("{}[]:,#&*'\"%x0 ") + line[cut:]
        else:
            lines.insert(at, chance.choice(lines))
    return "\n".join(lines) + "\n"


@settings(deadline=None, max_examples=300)
@given(st.sampled_from(board_names()), st.integers(0, 10**9))
def test_no_board_file_ends_in_a_traceback(name: str, seed: int) -> None:
    text = mangled(library_text(name), seed)
    found: tuple[Problem, ...] = ()
    try:
        board, _ = board_from_tree(parse_tree(text, "b.yaml"))
        assert 0 <= board.board_type <= 0xFFFF
    except FileProblems as error:
        found = error.problems
    assert all(problem.message and problem.line >= 1 and problem.column >= 1 for problem in found)


@settings(deadline=None, max_examples=150)
@given(st.sampled_from(cell_names()), st.integers(0, 10**9))
def test_no_cell_file_ends_in_a_traceback(name: str, seed: int) -> None:
    text = mangled(library_text(name), seed)
    found: tuple[Problem, ...] = ()
    try:
        cell = bind(Cell, parse_tree(text, "c.yaml"))[0]
        assert cell.tables.open_circuit(1.0) > cell.tables.open_circuit(0.0) > 0.0
    except FileProblems as error:
        found = error.problems
    assert all(problem.message and problem.line >= 1 for problem in found)


@pytest.mark.parametrize("name", board_names())
def test_the_boards_obey_the_schema(name: str) -> None:
    jsonschema.validate(yaml.load(library_text(name), yaml.BaseLoader), Board.model_json_schema())


@pytest.mark.parametrize("name", cell_names())
def test_the_cells_obey_the_schema(name: str) -> None:
    jsonschema.validate(yaml.safe_load(library_text(name)), Cell.model_json_schema())


def test_the_schema_refuses_a_wrong_key() -> None:
    raw = yaml.load(library_text("thole-1608"), yaml.BaseLoader)
    raw["output"] = {}
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate(raw, Board.model_json_schema())
