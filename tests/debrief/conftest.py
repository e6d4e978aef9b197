"""Lets the tests of this folder, and those of the link's faults, import `bench_rig` and the settings tests' dives."""

import sys
from importlib import resources
from pathlib import Path
from random import Random

import pytest

from schedgen.load import LoadedDive, load

for folder in ("link", "settings", "debrief"):
    path = str(Path(__file__).parents[1] / folder)
    if path not in sys.path:
        sys.path.insert(0, path)


@pytest.fixture(autouse=True)
def _tokens_repeat(monkeypatch: pytest.MonkeyPatch) -> None:
    """Session tokens come from a fixed seed, so that every test does the same each time."""
    random = Random(20270419)
    monkeypatch.setattr("schedgen.link.client.new_token", lambda: random.randrange(1 << 16))


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with the demo dive."""
    folder = tmp_path_factory.mktemp("dive")
    (folder / "dive.yaml").write_bytes(resources.files("schedgen.dive").joinpath("demo.yaml").read_bytes())
    return folder


@pytest.fixture(scope="module")
def loaded(folder: Path) -> LoadedDive:
    """The demo dive."""
    return load(folder / "dive.yaml")
