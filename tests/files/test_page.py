"""The error page: order, caret and ASCII."""

from __future__ import annotations

from schedgen.errors import Problem
from schedgen.files.page import cells, error_page


def page(source: str, column: int, ascii_only: bool = False) -> tuple[str, str]:
    lines = error_page([Problem("a.yaml", 7, column, "Wrong.", source=source)], ascii_only)
    return lines[1], lines[2]


def test_the_whole_page() -> None:
    problems = [
        Problem("a.yaml", 12, 3, "Second.", "a mass", "4 kg", "Weigh it.", "  mass: 4"),
        Problem("a.yaml", 2, 1, "First.", source="dive"),
        Problem("b.yaml", 0, 0, "There is no file b.yaml."),
    ]
    assert error_page(problems) == [
        "a.yaml:2:1: First.",
        "    2 | dive",
        "      | ^",
        "",
        "a.yaml:12:3: Second.",
        "   12 |   mass: 4",
        "      |   ^",
        "      Expected: a mass",
        "      Example:  4 kg",
        "      Next:     Weigh it.",
        "",
        "b.yaml: There is no file b.yaml.",
        "",
        "3 problems in a.yaml, b.yaml.",
    ]


def test_the_same_problem_is_shown_once() -> None:
    problem = Problem("a.yaml", 1, 1, "Wrong.", source="x")
    assert error_page([problem, problem])[-1] == "1 problem in a.yaml."


def under(line: str, caret: str) -> str:
    """What stands in the cells before the caret, by the width of each character."""
    width = len(caret) - 1
    for index in range(len(line) + 1):
        if cells(line[:index]) == width:
            return line[index:]
    raise AssertionError("the caret stands in the middle of a character")


def test_the_caret_counts_wide_and_combining_characters() -> None:
    assert cells("日本") == 4
    assert cells("e\u0301") == 1
    assert under(*page("日本語: x", 6)).startswith("x")
    assert under(*page("cafe\u0301: x", 8)).startswith("x")
    assert under(*page("\tmass: x", 8)).startswith("x")
    assert under(*page("± 5: x", 6)).startswith("x")


def test_the_caret_under_a_combining_character_has_a_cell() -> None:
    line, _ = page("a\u0301: x", 2)
    assert "\u25cc\u0301" in line


def test_ascii_keeps_the_caret() -> None:
    line, caret = page("日± ° ü: x", 9, ascii_only=True)
    assert line.isascii()
    assert line[len(caret) - 1] == "x"


def test_ascii_replaces_messages_too() -> None:
    lines = error_page([Problem("ü.yaml", 1, 1, "± “x”", "4 °C", "5 µA", "5 m²", "x")], ascii_only=True)
    assert all(line.isascii() for line in lines)
    assert '?.yaml:1:1: +/- "x"' in lines[0]


def test_a_long_line_is_cut_around_the_caret() -> None:
    source = "a" * 300 + "X" + "b" * 300
    line, caret = page(source, 301)
    assert len(line) < 120
    assert line[len(caret) - 1] == "X"


def test_control_characters_never_reach_the_terminal() -> None:
    lines = error_page([Problem("a\x1b[31m.yaml", 1, 1, "x\x07", source="\x1b[0m y")])
    assert not any("\x1b" in line or "\x07" in line for line in lines)


def test_a_caret_past_the_end_of_the_line_is_allowed() -> None:
    assert page("abc", 4)[1].endswith("    ^")
