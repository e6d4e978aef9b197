"""Boards and cells by name or by path: file to model, with every problem at its place."""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache
from pathlib import Path

from schedgen.board.cell import Cell
from schedgen.board.model import Board
from schedgen.board.rules import board_troubles
from schedgen.board.where import data_folder
from schedgen.errors import FileProblems, Problem, UsageError
from schedgen.files.bind import Places, bind, problem_at
from schedgen.files.text import read_text
from schedgen.files.tree import Node, Series, Table, Tree, read_tree
from schedgen.files.trouble import did_you_mean, listing, shown


def board_names() -> list[str]:
    """Names of the boards that come with the project, sorted."""
    return _names(data_folder("boards"))


def cell_names() -> list[str]:
    """Names of the cells of the library, sorted."""
    return _names(data_folder("boards") / "cells")


def find_board(name_or_path: str | Path, relative_to: Path | None = None) -> Path:
    """Path of a board file. A text with a slash or a suffix .yaml/.yml is a path, relative to `relative_to`
    (a folder); else a name of the library. Raises `FileProblems`."""
    return _find("board", name_or_path, relative_to, data_folder("boards"))


def find_cell(name_or_path: str | Path, relative_to: Path | None = None) -> Path:
    """Path of a cell file, as `find_board`."""
    return _find("cell", name_or_path, relative_to, data_folder("boards") / "cells")


def load_board(name_or_path: str | Path, relative_to: Path | None = None) -> Board:
    """The board of that name or path. Raises `FileProblems` with every problem of the file, each at its place."""
    return read_board(find_board(name_or_path, relative_to))[0]


def load_cell(name_or_path: str | Path, relative_to: Path | None = None) -> Cell:
    """The cell of that name or path. Raises `FileProblems` with every problem of the file, each at its place."""
    return read_cell(find_cell(name_or_path, relative_to))[0]


def library_text(name: str) -> str:
    """The text of the board or cell file of that name. Raises `UsageError` when there is none."""
    boards, cells = board_names(), cell_names()
    if name in boards:
        return read_text(find_board(name))
    if name in cells:
        return read_text(find_cell(name))
    guess = did_you_mean(name, [*boards, *cells])
    raise UsageError(
        f"There is no board and no cell {shown(name)}. {guess}".strip(), f"write one of {listing([*boards, *cells])}"
    )


def read_board(path: Path) -> tuple[Board, Places]:
    """The board in the file at `path`, and where each value stands. Raises `FileProblems`."""
    return _read_board(str(path), _stamp(path))


def read_cell(path: Path) -> tuple[Cell, Places]:
    """The cell in the file at `path`, and where each value stands. Raises `FileProblems`."""
    return _read_cell(str(path), _stamp(path))


def cell_inside(tree: Tree, where: Sequence[str | int]) -> Cell:
    """The cell written out at `where` of another file's `tree` (`pack`, `cell` say). Raises `FileProblems`."""
    node: Node = tree.root
    for part in where:
        if isinstance(node, Table) and str(part) in node.entries:
            node = node.entries[str(part)][1]
        elif isinstance(node, Series) and isinstance(part, int) and part < len(node.items):
            node = node.items[part]
    if not isinstance(node, Table):
        raise FileProblems([tree.problem(node.line, node.column, "A cell is a mapping of keys and values.")])
    return bind(Cell, Tree(tree.file, tree.lines, node))[0]


def board_from_tree(tree: Tree) -> tuple[Board, Places]:
    """The board that `tree` describes, all rules checked. Raises `FileProblems`."""
    board, places = bind(Board, tree)
    troubles = board_troubles(board)
    if troubles:
        raise FileProblems([problem_at(tree, (), trouble) for trouble in troubles])
    return board, places


@lru_cache(maxsize=16)
def _read_board(path: str, _: tuple[int, int]) -> tuple[Board, Places]:
    return board_from_tree(read_tree(path))


@lru_cache(maxsize=16)
def _read_cell(path: str, _: tuple[int, int]) -> tuple[Cell, Places]:
    return bind(Cell, read_tree(path))


def _stamp(path: Path) -> tuple[int, int]:
    """What tells that a file is the one read before; (0, 0) when it cannot be seen, and reading will say why."""
    try:
        seen = path.stat()
    except OSError:
        return 0, 0
    return seen.st_mtime_ns, seen.st_size


def _names(folder: Path) -> list[str]:
    return sorted(path.stem for path in folder.glob("*.yaml"))


def _find(kind: str, name_or_path: str | Path, relative_to: Path | None, folder: Path) -> Path:
    text = str(name_or_path)
    if isinstance(name_or_path, Path) or "/" in text or "\\" in text or text.lower().endswith((".yaml", ".yml")):
        path = Path(name_or_path)
        return path if relative_to is None else relative_to / path
    names = _names(folder)
    if text in names:
        return folder / f"{text}.yaml"
    guess = did_you_mean(text, names)
    raise FileProblems(
        [
            Problem(
                "", 0, 0, f"There is no {kind} {shown(text)}. {guess}".strip(), listing(names), "",
                f"Write one of these, or the path of a {kind} file with its .yaml at the end.",
            )
        ]
    )  # fmt: skip
