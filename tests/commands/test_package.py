"""The project works from a wheel and an sdist, in a fresh virtual environment, away from the checkout."""

from __future__ import annotations

import os
import subprocess
import sys
import tarfile
import venv
import zipfile
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
WINDOWS = sys.platform == "win32"


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """An sdist of this checkout, and a wheel built from that sdist."""
    out = tmp_path_factory.mktemp("built")
    subprocess.run([sys.executable, "-m", "build", "--outdir", str(out), str(ROOT)], check=True, capture_output=True)
    (wheel,) = out.glob("*.whl")
    (sdist,) = out.glob("*.tar.gz")
    return sdist, wheel


def test_the_wheel_carries_the_boards_and_the_templates(built: tuple[Path, Path]) -> None:
    names = set(zipfile.ZipFile(built[1]).namelist())
    for folder in ("boards", "firmware_templates"):
        for path in (ROOT / folder).rglob("*"):
            if path.is_file() and "__pycache__" not in path.parts:
                assert f"schedgen/_data/{path.relative_to(ROOT).as_posix()}" in names


def test_the_sdist_carries_the_tests_and_the_two_commands(built: tuple[Path, Path]) -> None:
    with tarfile.open(built[0]) as archive:
        names = {name.split("/", 1)[1] for name in archive.getnames() if "/" in name}
    assert {"README.md", "LICENSE", "tests/run", "boards/halyard-4809.yaml", "pyproject.toml"} <= names


def test_the_main_job_runs_from_the_wheel_in_a_fresh_environment(built: tuple[Path, Path], tmp_path: Path) -> None:
    home = tmp_path / "fresh"
    venv.create(home, with_pip=True)
    python = home / ("Scripts/python.exe" if WINDOWS else "bin/python")
    install = [str(python), "-m", "pip", "install", "--quiet", "--disable-pip-version-check", str(built[1])]
    subprocess.run(install, check=True, capture_output=True)
    environment = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    folder = tmp_path / "a dive für später"
    done = subprocess.run(
        [str(python), "-m", "schedgen", "demo", str(folder)],
        cwd=tmp_path,
        env=environment,
        capture_output=True,
        text=True,
        encoding="utf-8",
    )
    assert done.returncode == 0, done.stdout + done.stderr
    assert "verified" in done.stdout
    assert any(path.name == "dive_settings.h" for path in folder.rglob("*"))
