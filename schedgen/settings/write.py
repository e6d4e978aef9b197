"""Puts rendered files into a folder. The only part of this room that touches the disk."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Mapping
from pathlib import Path

from schedgen.errors import UsageError


def write(files: Mapping[str, bytes], folder: str | Path) -> list[Path]:
    """Write the files into `folder`, which is made where it is missing, and return their paths in the same order.

    All of them are written beside their places first and moved there at the end, each in one step, so that a full disk
    leaves what was there before. Raises UsageError with the system's reason.
    """
    target = Path(folder)
    staged: list[tuple[Path, Path]] = []
    try:
        target.mkdir(parents=True, exist_ok=True)
        for name, data in files.items():
            part = target / f".{name}.{os.getpid()}.part"
            staged.append((part, target / name))
            _write_whole(part, data)
        for part, place in staged:
            os.replace(part, place)
    except OSError as trouble:
        raise UsageError(
            f"the settings cannot be written to {target}: {trouble.strerror or trouble}",
            "Choose another folder with --out, or make room.",
        ) from trouble
    finally:
        for part, _ in staged:
            with contextlib.suppress(OSError):
                part.unlink(missing_ok=True)
    return [place for _, place in staged]


def _write_whole(path: Path, data: bytes) -> None:
    with path.open("wb") as stream:
        stream.write(data)
        stream.flush()
        os.fsync(stream.fileno())
