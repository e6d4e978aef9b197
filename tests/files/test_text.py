"""Bytes to text: every encoding a Windows or Unix editor writes, and every way a file cannot be read."""

from __future__ import annotations

import codecs
import os
from pathlib import Path

import pytest

from schedgen.errors import FileProblems, Problem
from schedgen.files.text import LARGEST, decode, locate, read_text, split_lines

TEXT = "dive: Gannet Hole ±\r\ndepth: 320 m\n"


def refused(data: bytes) -> Problem:
    with pytest.raises(FileProblems) as caught:
        decode(data, "a.yaml")
    assert len(caught.value.problems) == 1
    return caught.value.problems[0]


@pytest.mark.parametrize(
    "data",
    [
        TEXT.encode("utf-8"),
        codecs.BOM_UTF8 + TEXT.encode("utf-8"),
        codecs.BOM_UTF16_LE + TEXT.encode("utf-16-le"),
        codecs.BOM_UTF16_BE + TEXT.encode("utf-16-be"),
        TEXT.encode("utf-16-le"),
        TEXT.encode("utf-16-be"),
    ],
    ids=["utf8", "utf8-mark", "utf16le-mark", "utf16be-mark", "utf16le", "utf16be"],
)
def test_what_editors_write_is_read(data: bytes) -> None:
    assert decode(data, "a.yaml") == TEXT


@pytest.mark.parametrize(
    "data",
    [
        codecs.BOM_UTF32_LE + TEXT.encode("utf-32-le"),
        codecs.BOM_UTF32_BE + TEXT.encode("utf-32-be"),
        TEXT.encode("utf-32-le"),
        TEXT.encode("utf-32-be"),
    ],
)
def test_utf32_is_refused_with_what_to_do(data: bytes) -> None:
    problem = refused(data)
    assert "UTF-32" in problem.message
    assert "UTF-8" in problem.next


def test_an_invalid_byte_is_located() -> None:
    problem = refused("format: 1\ndive: Höhle\n".encode("latin-1"))
    assert (problem.line, problem.column) == (2, 8)
    assert "0xf6" in problem.message
    assert problem.source.startswith("dive: H")


def test_a_cut_off_utf16_file_says_that_its_end_is_missing() -> None:
    assert "end is missing" in refused(codecs.BOM_UTF16_LE + b"a\0b").message


def test_a_lone_surrogate_is_located() -> None:
    problem = refused(codecs.BOM_UTF16_LE + "ab\n".encode("utf-16-le") + b"\x00\xd8x\x00")
    assert (problem.line, problem.column) == (2, 1)
    assert "UTF-16" in problem.message


@pytest.mark.parametrize(
    ("character", "name"), [("\0", "U+0000"), ("\x1b", "U+001B"), ("\u2028", "U+2028"), ("\x85", "U+0085")]
)
def test_control_characters_are_located(character: str, name: str) -> None:
    problem = refused(f"format: 1\ndive: a{character}b\n".encode())
    assert (problem.line, problem.column) == (2, 8)
    assert name in problem.message


def test_a_file_over_one_megabyte_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "big.yaml"
    path.write_bytes(b"# " + b"x" * LARGEST)
    with pytest.raises(FileProblems, match="larger than 1 MB"):
        read_text(path)
    path.write_bytes(b"#" * LARGEST)
    assert len(read_text(path)) == LARGEST


def test_a_missing_file_a_folder_and_a_file_as_folder_are_problems(tmp_path: Path) -> None:
    with pytest.raises(FileProblems, match="There is no file"):
        read_text(tmp_path / "no.yaml")
    with pytest.raises(FileProblems, match="is a folder"):
        read_text(tmp_path)
    (tmp_path / "a").write_text("x", encoding="utf-8")
    with pytest.raises(FileProblems):
        read_text(tmp_path / "a" / "b.yaml")
    with pytest.raises(FileProblems):
        read_text("a\0b")
    with pytest.raises(FileProblems):
        read_text(tmp_path / ("x" * 5000))


def test_a_file_that_may_not_be_read_is_a_problem(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # Tests may run as root, who may read everything, so the refusal of the system is imitated.
    def refuse(*_: object, **__: object) -> int:
        raise PermissionError(13, "Permission denied")

    path = tmp_path / "a.yaml"
    path.write_text("x", encoding="utf-8")
    monkeypatch.setattr(os, "open", refuse)
    with pytest.raises(FileProblems, match="may not read"):
        read_text(path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="Windows has no named pipes in folders")
def test_a_named_pipe_does_not_block(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(FileProblems, match="not a plain file"):
        read_text(tmp_path / "pipe")


def test_names_with_blanks_and_umlauts_are_read(tmp_path: Path) -> None:
    path = tmp_path / "Tauchgang über Nacht.yaml"
    path.write_bytes(b"a")
    assert read_text(path) == "a"


def test_all_three_line_ends_count() -> None:
    assert split_lines("a\r\nb\rc\nd") == ["a", "b", "c", "d"]
    assert locate("a\r\nbcd\re", 5) == (2, 3, "bcd")
