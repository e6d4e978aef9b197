"""Dives made by small edits of one dive, judged; and subjects with pieces exchanged where no file can say it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from schedgen.board.model import Board
from schedgen.errors import BlockError
from schedgen.judge.finding import Finding, Judgement
from schedgen.judge.judging import judge_subject
from schedgen.judge.subject import Subject
from schedgen.load import LoadedDive, load

EXAMPLE = Path(__file__).parent.parent / "dive" / "example.yaml"
Edit = tuple[str, str]


@dataclass(frozen=True)
class Judged:
    """A judged dive, with look-ups that tests want."""

    subject: Subject
    judgement: Judgement
    text: str

    def all(self, name: str) -> list[Finding]:
        """Findings of NAME or NAME@load."""
        name, _, load_name = name.partition("@")
        return [f for f in self.judgement.findings if f.name == name and load_name in ("", f.load)]

    def one(self, name: str) -> Finding:
        """The only finding of NAME or NAME@load."""
        found = self.all(name)
        assert len(found) == 1, f"{name}: {[f.message for f in found]}"
        return found[0]

    def has(self, name: str) -> bool:
        return bool(self.all(name))

    def line_of(self, finding: Finding) -> str:
        """The line of the file that a finding points at."""
        return self.text.splitlines()[finding.place.line - 1]

    def unchecked(self, name: str) -> list[str]:
        return [line for line in self.judgement.not_checked if line.partition(":")[0] == name]


def edited(edits: tuple[Edit, ...]) -> str:
    """The example dive with each old text replaced by its new one; every old text must stand in it just once."""
    text = EXAMPLE.read_text(encoding="utf-8")
    for old, new in edits:
        assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times"
        text = text.replace(old, new)
    return text


@pytest.fixture(scope="session")
def read(tmp_path_factory: pytest.TempPathFactory) -> Callable[..., tuple[LoadedDive, str]]:
    """Read the example dive with edits; the same edits are read once."""
    folder = tmp_path_factory.mktemp("dives")

    @cache
    def read_once(*edits: Edit) -> tuple[LoadedDive, str]:
        path = folder / f"dive{abs(hash(edits))}.yaml"
        path.write_text(edited(edits), encoding="utf-8")
        return load(path), edited(edits)

    return read_once


class OtherBoard:
    """A loaded dive on a board that differs from its own in something no library board has."""

    def __init__(self, loaded: LoadedDive, board: Board) -> None:
        self._loaded = loaded
        self.board = board

    def __getattr__(self, name: str) -> Any:
        return getattr(self._loaded, name)


@pytest.fixture(scope="session")
def subject(read: Callable[..., tuple[LoadedDive, str]]) -> Callable[..., Subject]:
    """A subject of the example dive with edits."""

    def make(*edits: Edit) -> Subject:
        loaded, _ = read(*edits)
        try:
            size: int | None = len(loaded.settings().block)
            error = None
        except BlockError as trouble:
            size, error = None, trouble
        return Subject(loaded, loaded.plan(), loaded.simulate(), error, size)

    return make


@pytest.fixture(scope="session")
def judged(read: Callable[..., tuple[LoadedDive, str]], subject: Callable[..., Subject]) -> Callable[..., Judged]:
    """Judge the example dive with edits; `change` exchanges fields of the subject's parts first."""

    def make(*edits: Edit, change: Callable[[Subject], Subject] | None = None) -> Judged:
        made = subject(*edits)
        made = change(made) if change is not None else made
        return Judged(made, judge_subject(made), read(*edits)[1])

    return make


def with_worst(**values: Any) -> Callable[[Subject], Subject]:
    """A change that puts other figures into the worst account; the buttons then change nothing, to keep them."""

    def change(made: Subject) -> Subject:
        assert made.results is not None
        results = replace(made.results, worst=replace(made.results.worst, **values))
        return replace(made, results=results, plan=replace(made.plan, field_changes=(), allowed_changes=()))

    return change


def with_case(case: str, **values: Any) -> Callable[[Subject], Subject]:
    """A change that puts other figures into the account of one case."""

    def change(made: Subject) -> Subject:
        assert made.results is not None
        cases = dict(made.results.cases)
        cases[case] = replace(cases[case], account=replace(cases[case].account, **values))
        return replace(made, results=replace(made.results, cases=cases))

    return change


def on_board(alter: Callable[[Board], Board]) -> Callable[[Subject], Subject]:
    """A change that puts the dive on another board; plan and simulation stay."""

    def change(made: Subject) -> Subject:
        return replace(made, parts=OtherBoard(made.parts, alter(made.board)))  # type: ignore[arg-type]

    return change
