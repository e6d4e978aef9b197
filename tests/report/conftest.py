"""Shared by the tests of pictures and paper."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))

from report_dives import Examined, changed, demo_text, examined_text

from schedgen.report.check import Subject


@pytest.fixture(scope="session")
def examined(tmp_path_factory: pytest.TempPathFactory) -> Examined:
    """Gives the subject of a dive text; of the demo with no text."""
    folder = tmp_path_factory.mktemp("dives")

    def one(*pairs: tuple[str, str], text: str | None = None) -> Subject:
        return examined_text(changed(text if text is not None else demo_text(), *pairs), str(folder))

    return one
