"""Shared by the tests of the command line."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path
from typing import Any

import pytest

from schedgen.commands import main

HERE = Path(__file__).parent


@dataclass(frozen=True)
class Ran:
    """What one command gave."""

    code: int
    out: str
    err: str

    @property
    def record(self) -> Any:
        """Standard output as JSON."""
        return json.loads(self.out)


Run = Callable[..., Ran]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str]) -> Run:
    """Runs one command line in this process."""

    def one(*words: str | Path) -> Ran:
        capsys.readouterr()
        code = main([str(word) for word in words])
        captured = capsys.readouterr()
        return Ran(code, captured.out, captured.err)

    return one


@pytest.fixture
def demo_text() -> str:
    """The demo dive."""
    return resources.files("schedgen.dive").joinpath("demo.yaml").read_text(encoding="utf-8")


@pytest.fixture
def demo(tmp_path: Path, demo_text: str) -> Path:
    """The demo dive as a file, in a folder and with a name that are harder than most."""
    folder = tmp_path / "Tauchgänge im Mai"
    folder.mkdir()
    path = folder / "Höhle 3.yaml"
    path.write_text(demo_text, encoding="utf-8", newline="\n")
    return path


@pytest.fixture
def faulty() -> Path:
    """A hand-written dive on another board with faults in it."""
    return HERE / "first-try.yaml"
