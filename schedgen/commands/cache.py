"""Answers kept from one call to the next, in the user's cache folder; keyed on what they were worked out from."""

from __future__ import annotations

import hashlib
import json
import os
import sys
import tempfile
from collections.abc import Iterable, Mapping
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Any

KEPT_MOST = 5000
"""So many answers are kept; the oldest go first."""


def cache_folder(platform: str, environ: Mapping[str, str], home: Path) -> Path:
    """Where this platform keeps what can be made again: `LOCALAPPDATA` on Windows, `Library/Caches` on macOS, else the
    XDG base directory (https://specifications.freedesktop.org/basedir-spec: `XDG_CACHE_HOME` if absolute, or
    `~/.cache`)."""
    if platform == "win32":
        local = environ.get("LOCALAPPDATA")
        return (Path(local) if local else home / "AppData" / "Local") / "schedgen" / "Cache"
    if platform == "darwin":
        return home / "Library" / "Caches" / "schedgen"
    given = environ.get("XDG_CACHE_HOME", "")
    return (Path(given) if given.startswith("/") else home / ".cache") / "schedgen"


def here() -> Path | None:
    """The cache folder of this user; None where there is no home."""
    try:
        return cache_folder(sys.platform, os.environ, Path.home()) / "checks"
    except RuntimeError:
        return None


@lru_cache(maxsize=1)
def program() -> str:
    """What stands for this very program: its version, its sources as they lie on the disk, and numpy's version."""
    from importlib.metadata import version

    from schedgen import __version__

    package = Path(__file__).resolve().parent.parent
    marks = [f"{__version__} {version('numpy')} {version('gsw')}"]
    for path in sorted(package.rglob("*.py")):
        seen = path.stat()
        marks.append(f"{path.relative_to(package)} {seen.st_size} {seen.st_mtime_ns}")
    return hashlib.sha256("\n".join(marks).encode()).hexdigest()


def digest(path: Path) -> str:
    """SHA-256 of a file's bytes; empty where it cannot be read."""
    try:
        return hashlib.sha256(path.read_bytes()).hexdigest()
    except OSError:
        return ""


class Cache:
    """Answers about dive files. An answer counts only while the dive file, every file it was made from, and the program
    have the same content. Whatever is wrong with the cache, the work is done again and nothing is said."""

    def __init__(self, folder: Path | None) -> None:
        self.folder = folder

    def _entry(self, path: Path) -> Path | None:
        if self.folder is None:
            return None
        key = hashlib.sha256(f"{program()}\n{path.resolve().parent}\n{digest(path)}".encode()).hexdigest()
        return self.folder / f"{key}.json"

    def get(self, path: Path) -> dict[str, Any] | None:
        """The answer about a dive file, None where there is none that still holds."""
        entry = self._entry(path)
        if entry is None:
            return None
        try:
            kept = json.loads(entry.read_text(encoding="utf-8"))
            if all(digest(Path(name)) == seen for name, seen in kept["made_from"].items()):
                answer: dict[str, Any] = dict(kept["answer"])
                return answer
        except (OSError, ValueError, KeyError, TypeError, AttributeError):
            return None
        return None

    def put(self, path: Path, made_from: Iterable[Path], answer: Mapping[str, Any]) -> None:
        """Keep an answer, written in one step so that a reader never sees half of it."""
        entry = self._entry(path)
        if entry is None:
            return
        kept = {"made_from": {str(each): digest(each) for each in made_from}, "answer": dict(answer)}
        with suppress(OSError, ValueError):
            entry.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=entry.parent, suffix=".part")
            with os.fdopen(handle, "w", encoding="utf-8") as stream:
                json.dump(kept, stream)
            os.replace(name, entry)

    def tidy(self) -> None:
        """Drop the oldest answers beyond `KEPT_MOST`."""
        if self.folder is None:
            return
        with suppress(OSError):
            kept = sorted(self.folder.glob("*.json"), key=lambda each: each.stat().st_mtime)
            for old in kept[:-KEPT_MOST]:
                old.unlink()
