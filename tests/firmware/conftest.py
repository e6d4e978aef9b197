"""Host builds of the firmware's core, made once a run, and boards that fly on them."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

FOLDER = Path(__file__).parent
sys.path.insert(0, str(FOLDER))
sys.path.insert(0, str(FOLDER.parent / "settings"))

from host_rig import Rig, rig_for  # noqa: E402


@pytest.fixture(scope="session")
def halyard(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    """The core for the board with a water contact and two releases."""
    return rig_for("halyard-4809", tmp_path_factory.mktemp("halyard"))


@pytest.fixture(scope="session")
def cleat(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    """The core for the board without a water contact, with 1 KB of EEPROM."""
    return rig_for("cleat-328p", tmp_path_factory.mktemp("cleat"))


@pytest.fixture(scope="session")
def thole(tmp_path_factory: pytest.TempPathFactory) -> Rig:
    """The core for the board with 16 KB of flash, whose user row has no room for a history."""
    return rig_for("thole-1608", tmp_path_factory.mktemp("thole"))
