"""Lets the tests of this folder, and those of the link's faults, import `bench_rig` and the settings tests' dives."""

import sys
from pathlib import Path
from random import Random

import pytest

for folder in ("link", "settings", "debrief"):
    path = str(Path(__file__).parents[1] / folder)
    if path not in sys.path:
        sys.path.insert(0, path)


@pytest.fixture(autouse=True)
def _tokens_repeat(monkeypatch: pytest.MonkeyPatch) -> None:
    """Session tokens come from a fixed seed, so that every test does the same each time."""
    random = Random(20270419)
    monkeypatch.setattr("schedgen.link.client.new_token", lambda: random.randrange(1 << 16))
