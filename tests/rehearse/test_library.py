"""Where the models in C++ are kept, and what is done where they cannot be."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

_ASK = "from schedgen.firmware.rehearse.part_library import library; found = library(); print(found and found._name)"


def kept_at(folder: Path, **environment: str) -> str:
    """The file that a program with this environment loads, or None as a text."""
    (folder / "t").mkdir()
    own = {**os.environ, "TMPDIR": str(folder / "t"), "XDG_CACHE_HOME": str(folder / "c"), **environment}
    own.pop("SCHEDGEN_PYTHON_MODELS", None)
    done = subprocess.run([sys.executable, "-c", _ASK], env=own, capture_output=True, text=True, check=True)
    return done.stdout.strip()


def test_they_are_built_into_the_users_cache(tmp_path: Path) -> None:
    assert Path(kept_at(tmp_path)).parent == tmp_path / "c" / "schedgen"
    assert not list((tmp_path / "t").iterdir())


def test_without_a_cache_or_a_home_they_are_built_into_the_folder_for_temporary_files(tmp_path: Path) -> None:
    (tmp_path / "c").write_text("a file, no folder", encoding="ascii")
    assert Path(kept_at(tmp_path)).parent == tmp_path / "t" / f"schedgen-{os.getuid()}"
    (other := tmp_path / "other").mkdir()
    found = kept_at(other, XDG_CACHE_HOME="~/none")
    assert Path(found).parent == other / "t" / f"schedgen-{os.getuid()}"


def test_without_a_compiler_there_are_none(tmp_path: Path) -> None:
    assert kept_at(tmp_path, PATH=str(tmp_path), CXX="no-such-compiler") == "None"
