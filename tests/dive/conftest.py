"""A valid dive to break, one place at a time."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from schedgen.dive.model import Dive
from schedgen.dive.read import ReadDive, read_dive
from schedgen.errors import Problem
from schedgen.files.tree import parse_tree

EXAMPLE = Path(__file__).with_name("example.yaml")


@pytest.fixture(scope="session")
def example() -> str:
    return EXAMPLE.read_text(encoding="utf-8")


@pytest.fixture(scope="session")
def read() -> Callable[[str], ReadDive]:
    return lambda text: read_dive(parse_tree(text, "a.yaml"))


@pytest.fixture(scope="session")
def good(example: str, read: Callable[[str], ReadDive]) -> Dive:
    found = read(example)
    assert found.problems == ()
    assert found.dive is not None
    return found.dive


@pytest.fixture(scope="session")
def broken(example: str, read: Callable[[str], ReadDive]) -> Callable[..., list[Problem]]:
    """The problems of the example after replacing each (old, new) pair, all of which must be there."""

    def breaks(*pairs: tuple[str, str]) -> list[Problem]:
        text = example
        for old, new in pairs:
            assert old in text, old
            text = text.replace(old, new)
        found = read(text)
        assert (found.dive is None) == bool(found.problems)
        for problem in found.problems:
            assert problem.line
            assert problem.source == text.split("\n")[problem.line - 1]
        return sorted(found.problems, key=lambda p: (p.line, p.column))

    return breaks
