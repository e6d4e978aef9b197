"""No input file of any kind ends in anything but a list of problems."""

from __future__ import annotations

from pathlib import Path

from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from schedgen.dive.read import read_dive
from schedgen.errors import FileProblems
from schedgen.files.page import error_page
from schedgen.files.text import decode
from schedgen.files.tree import parse_tree
from schedgen.load import load

TEXT = Path(__file__).with_name("example.yaml").read_text(encoding="utf-8")
LINES = TEXT.split("\n")
PIECES = [
    "", ":", "{", "}", "[", "]", "-", "- ", "  ", "\t", "?", "&a", "*a", "<<: *a", "!x", "#", '"', "'", "|", ">",
    "12:30", "on", "1e3", "010", "nan", "-5 m", "about 1", "±", "..", "9" * 30, "\u00a0", "“", "%", "0 s", "x-y: 1",
    "release", "99 d",
]  # fmt: skip


def read(text: str) -> None:
    """Everything that reading does; prints nothing, raises nothing."""
    try:
        found = read_dive(parse_tree(text, "a.yaml"))
    except FileProblems as error:
        problems = error.problems
    else:
        problems = found.problems
        assert (found.dive is None) == bool(problems)
    for problem in problems:
        assert problem.message
        assert problem.line <= text.count("\n") + text.count("\r") + 1
    assert all(line.isascii() for line in error_page(problems, ascii_only=True))
    assert error_page(problems)


@settings(max_examples=300, deadline=None)
@given(st.binary(max_size=200))
def test_any_bytes(data: bytes) -> None:
    try:
        text = decode(data, "a.yaml")
    except FileProblems as error:
        assert error.problems  # noqa: PT017  # any other exception fails the test
    else:
        read(text)


@settings(max_examples=300, deadline=None)
@given(st.text(max_size=100))
def test_any_text(text: str) -> None:
    try:
        read(decode(text.encode("utf-8"), "a.yaml"))
    except FileProblems as error:
        assert error.problems  # noqa: PT017


@settings(max_examples=250, deadline=None)
@given(st.integers(0, len(LINES) - 1), st.integers(0, 60), st.integers(0, 20), st.sampled_from(PIECES))
def test_a_valid_dive_with_a_piece_replaced(line: int, start: int, length: int, piece: str) -> None:
    lines = list(LINES)
    lines[line] = lines[line][:start] + piece + lines[line][start + length :]
    read("\n".join(lines))


@settings(max_examples=150, deadline=None)
@given(st.lists(st.integers(0, len(LINES) - 1), min_size=1, max_size=4), st.integers(0, len(LINES) - 1))
def test_a_valid_dive_with_lines_taken_out_or_moved(gone: list[int], target: int) -> None:
    lines = [line for index, line in enumerate(LINES) if index not in gone]
    lines.insert(target, LINES[gone[0]])
    read("\n".join(lines))


@settings(max_examples=150, deadline=None)
@given(st.data())
def test_a_valid_dive_with_values_exchanged(data: st.DataObject) -> None:
    keyed = [index for index, line in enumerate(LINES) if ": " in line]
    lines = list(LINES)
    one, other = data.draw(st.sampled_from(keyed)), data.draw(st.sampled_from(keyed))
    lines[one] = lines[one].split(": ")[0] + ": " + LINES[other].split(": ", 1)[1]
    read("\n".join(lines))


@settings(max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.binary(max_size=80))
def test_any_file_on_disk(tmp_path: Path, data: bytes) -> None:
    path = tmp_path / "a.yaml"
    path.write_bytes(data)
    try:
        load(path)
    except FileProblems as error:
        assert error.problems  # noqa: PT017
