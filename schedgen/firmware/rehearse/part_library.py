"""Builds `native/*.cpp` once on this computer, keeps it, and loads it: before the simulator, in whose place it
puts a function. Where that fails, Python models do the work."""

from __future__ import annotations

import ctypes
import hashlib
import importlib.util
import os
import shutil
import subprocess
import tempfile
from contextlib import suppress
from functools import cache
from pathlib import Path

FORBIDDEN = "SCHEDGEN_PYTHON_MODELS"
"""Environment variable that forbids the models in C++, for tests."""
_SOURCES = tuple(Path(__file__).parent / "native" / name for name in ("models.cpp", "clock.cpp"))
_OPTIONS = ("-std=c++20", "-O2", "-shared", "-fPIC")
_BUILD_S = 120


@cache
def library() -> ctypes.CDLL | None:
    """The models; None without a C++ compiler, where they do not build against the simulator's headers, and on systems
    whose loader does not let one library's function stand in the place of another's."""
    if os.environ.get(FORBIDDEN) or os.name != "posix":
        return None
    spec = importlib.util.find_spec("yasimavr")
    if spec is None or spec.origin is None:
        return None
    home = Path(spec.origin).parent
    options = [*_OPTIONS, f"-I{home}/include/core", f"-I{home}/include/core/core", f"-L{home}/lib", "-lyasimavr_core",
               f"-Wl,-rpath,{home}/lib"]  # fmt: skip
    try:
        marks = (home / "lib" / "libyasimavr_core.so").stat()
        sources = "".join(source.read_text(encoding="ascii") for source in _SOURCES)
        known = f"{sources} {options} {marks.st_size} {marks.st_mtime_ns}"
        name = f"models-{hashlib.sha256(known.encode()).hexdigest()[:16]}.so"
        built = _kept(name) or _build(name, options)
        return None if built is None else ctypes.CDLL(str(built), mode=ctypes.RTLD_GLOBAL)
    except (OSError, subprocess.TimeoutExpired):
        return None


def _folders() -> list[Path]:
    """Where the library may be kept."""
    cached = os.environ.get("XDG_CACHE_HOME") or os.path.expanduser("~/.cache")
    folders = [Path(cached) / "schedgen", Path(tempfile.gettempdir()) / f"schedgen-{os.getuid()}"]
    return [folder for folder in folders if folder.is_absolute()]  # it is not where the user has no home


def _is_own(folder: Path) -> bool:
    """Whether nobody else can put something there."""
    return folder.is_dir() and folder.stat().st_uid == os.getuid()


def _kept(name: str) -> Path | None:
    """The library as it was built before."""
    places = (folder / name for folder in _folders() if _is_own(folder))
    return next((place for place in places if place.is_file()), None)


def _build(name: str, options: list[str]) -> Path | None:
    compiler = next(filter(None, map(shutil.which, (os.environ.get("CXX", "c++"), "g++", "clang++"))), None)
    if compiler is None:
        return None
    for folder in _folders():
        with suppress(OSError):
            folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            if _is_own(folder):
                return _built_in(folder, name, [compiler, *map(str, _SOURCES), *options])
    return None


def _built_in(folder: Path, name: str, command: list[str]) -> Path | None:
    with tempfile.TemporaryDirectory(dir=folder) as work:
        made = Path(work) / name
        if subprocess.run([*command, "-o", str(made)], capture_output=True, timeout=_BUILD_S, check=False).returncode:
            return None
        os.replace(made, folder / name)
    return folder / name
