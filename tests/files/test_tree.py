"""YAML to a tree with places: what is text stays text, and what is refused is refused at its place."""

from __future__ import annotations

from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import FileProblems, Problem
from schedgen.files.tree import DEEPEST, Leaf, Series, Table, Tree, parse_tree

LOADERS = [yaml.SafeLoader, *([yaml.CSafeLoader] if yaml.__with_libyaml__ else [])]


def tree(text: str) -> Tree:
    return parse_tree(text, "a.yaml")


def problems(text: str) -> list[Problem]:
    """The problems of a text, the same with and without the C parser."""
    found = []
    for loader in LOADERS:
        try:
            found.append(list(parse_tree(text, "a.yaml", loader).problems))
        except FileProblems as error:
            found.append(list(error.problems))
    assert all(one == found[0] for one in found)
    return found[0]


def only(text: str) -> Problem:
    found = problems(text)
    assert len(found) == 1, found
    return found[0]


def leaf(node: Any) -> str:
    assert isinstance(node, Leaf)
    return node.text


@pytest.mark.parametrize(
    "word",
    [
        "12:30",
        "1:30:00",
        "on",
        "off",
        "yes",
        "NO",
        "010",
        "0x1F",
        "1e3",
        "1_000",
        ".inf",
        "~",
        "null",
        "2027-04-19",
        "-9.84",
    ],
)
def test_yaml_types_stay_text(word: str) -> None:
    assert leaf(tree(f"key: {word}\n").root.entries["key"][1]) == word


def test_every_key_and_value_has_its_place() -> None:
    root = tree("a: 1\nb:\n  - {c: 2, d: 3}\n  - x\n").root
    key, value = root.entries["b"]
    assert (key.line, key.column) == (2, 1)
    assert isinstance(value, Series)
    first = value.items[0]
    assert isinstance(first, Table)
    key, value = first.entries["d"]
    assert (key.line, key.column, value.line, value.column) == (3, 12, 3, 15)


def test_columns_count_characters_and_not_bytes() -> None:
    value = tree("{ü𝄞: 1}").root.entries["ü𝄞"][1]
    assert value.column == 6


def test_a_duplicate_key_names_both_lines() -> None:
    problem = only("mass: 1 kg\nvolume: 1 L\nmass: 2 kg\n")
    assert (problem.line, problem.column) == (3, 1)
    assert "line 1" in problem.message
    assert problem.source == "mass: 2 kg"


def test_merge_keys_are_refused() -> None:
    problem = only("a: &a {x: 1}\nb: {<<: *a, y: 2}\n")
    assert (problem.line, problem.column) == (2, 5)
    assert "<<" in problem.message


@pytest.mark.parametrize("text", ["a: !x 1", "a: !!str 1", "a: !!python/object:os.system {}", "a: ! 1", "!t {a: 1}"])
def test_tags_are_refused(text: str) -> None:
    assert any("tag" in problem.message.lower() for problem in problems(text))


def test_anchors_are_allowed() -> None:
    read = tree("a: &row {x: 1}\nb: [*row, *row]\n")
    assert not read.problems
    again = read.root.entries["b"][1]
    assert isinstance(again, Series)
    assert isinstance(again.items[1], Table)
    assert (again.items[1].line, again.items[1].column) == (2, 11)
    assert leaf(again.items[1].entries["x"][1]) == "1"


def test_an_alias_bomb_is_refused_quickly() -> None:
    text = "a: &a [x,x,x,x,x,x,x,x,x]\n"
    for old, new in zip("abcdefghij", "bcdefghijk", strict=True):
        text += f"{new}: &{new} [{','.join(['*' + old] * 9)}]\n"
    assert "aliases" in only(text).message


def test_a_deep_chain_of_aliases_is_refused() -> None:
    text = "a0: &a0 [x]\n" + "".join(f"a{i + 1}: &a{i + 1} [*a{i}]\n" for i in range(2 * DEEPEST))
    assert "nesting" in only(text).message


def test_a_value_that_contains_itself_is_refused() -> None:
    assert "never end" in only("a: &a [*a]\n").message


def test_an_unknown_alias_is_refused_at_its_place() -> None:
    problem = only("a: 1\nb: *row\n")
    assert (problem.line, problem.column) == (2, 4)
    assert "row" in problem.message


@pytest.mark.parametrize("text", ["[" * 5000, "{a: " * 5000, "- " * 3000, "a: " + "[" * 100 + "]" * 100])
def test_deep_nesting_is_refused_before_anything_breaks(text: str) -> None:
    assert problems(text)


def test_ordinary_nesting_is_read() -> None:
    depth = DEEPEST - 1
    assert not tree("a: " + "[" * depth + "]" * depth).problems


def test_a_second_document_is_refused() -> None:
    problem = only("a: 1\n---\nb: 2\n")
    assert problem.line == 2
    assert "second document" in problem.message


def test_one_document_marker_is_fine() -> None:
    assert not tree("---\na: 1\n...\n").problems


@pytest.mark.parametrize("text", ["", "\n\n", "# only a comment\n", "---\n"])
def test_an_empty_file_says_so(text: str) -> None:
    assert "empty" in only(text).message


@pytest.mark.parametrize("text", ["just words\n", "- a\n- b\n", "12\n"])
def test_a_file_that_is_no_mapping_says_so(text: str) -> None:
    assert "not a mapping" in only(text).message


@pytest.mark.parametrize("text", ["a:\n\tb: 1\n", "\ta: 1\n", "a:\n  b: 1\n \t c: 2\n", "a: {\n\tb: 1}\n"])
def test_a_tab_in_the_indentation_is_shown(text: str) -> None:
    problem = only(text)
    assert "tab" in problem.message
    assert problem.source[problem.column - 1] == "\t"
    assert "space bar" in problem.next


def test_tabs_elsewhere_do_no_harm() -> None:
    assert not tree("a: 1\t# note\n\t\n# x\n").problems
    assert not tree("a: |\n  text\n  \tmore\nb: 1\n").problems


def test_a_non_breaking_space_in_the_indentation_is_shown() -> None:
    problem = only("a:\n\u00a0 b: 1\n")
    assert (problem.line, problem.column) == (2, 1)
    assert "U+00A0" in problem.message


@pytest.mark.parametrize("space", ["\u00a0", "\u2009", "\u200b", "\ufeff", "\u3000"])
def test_an_odd_space_in_a_value_is_shown(space: str) -> None:
    problem = only(f"x: 1\npower: 7.4{space}W\n")
    assert (problem.line, problem.column) == (2, 11)
    assert f"U+{ord(space):04X}" in problem.message


def test_odd_spaces_in_comments_do_no_harm() -> None:
    assert not tree("a: 1  #\u00a0note\n").problems


@pytest.mark.parametrize("text", ["dive: “Gannet Hole”", "dive: ‘x’", "“dive”: x"])
def test_curly_quotes_are_shown(text: str) -> None:
    problem = only(text)
    assert "curly quote" in problem.message
    assert 'straight quote (")' in problem.next


def test_curly_apostrophes_inside_words_are_fine() -> None:
    assert not tree("notes: the boat’s crew\n").problems


@pytest.mark.parametrize(
    ("text", "line", "column"),
    [
        ("a: b: c\n", 1, 5),
        ('a: "x\nb: 2\n', 1, 4),
        ("a: 'x\nb: 2\n", 1, 4),
        ("a: [1, 2\n", 1, 4),
        ("a: {b: 1\n", 1, 4),
        ("a: @x\n", 1, 4),
        ("a: `x`\n", 1, 4),
        ("a: }\n", 1, 4),
        ("a: 1\n b: 2\n", 2, 3),
        ("a: 1\nb\n", 2, 2),
        ("a:\n  - 1\n b: 2\n", 3, 2),
    ],
)
def test_syntax_errors_are_placed_and_said_in_plain_words(text: str, line: int, column: int) -> None:
    problem = only(text)
    assert (problem.line, problem.column) == (line, column)
    for jargon in ("token", "flow", "block", "scalar", "node", "mapping values", "simple key"):
        assert jargon not in problem.message
    assert problem.next


def test_a_lone_question_mark_stands_for_a_value_to_fill_in() -> None:
    root = tree("a: ?  # note\nb: {c: ?, d: ?}\ne: [?, ?]\nf: 'why: ?'\n").root
    assert leaf(root.entries["a"][1]) == "?"
    inner = root.entries["b"][1]
    assert isinstance(inner, Table)
    assert leaf(inner.entries["d"][1]) == "?"
    assert inner.entries["d"][1].column == 14
    assert leaf(root.entries["f"][1]) == "why: ?"


@settings(max_examples=300, deadline=None)
@given(st.text(alphabet="ab:{}[]&*!|>-?'\"# \t\n,0\u00a0“%@", max_size=60))
def test_no_text_breaks_the_reader(text: str) -> None:
    for loader in LOADERS:
        try:
            parse_tree(text, "a.yaml", loader)
        except FileProblems as error:
            assert error.problems  # noqa: PT017  # any other exception fails the test
