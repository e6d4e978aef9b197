"""Writing files so that a half-written one never stands where a good one stood."""

from __future__ import annotations

import os
import tempfile
from pathlib import Path

from schedgen.errors import UsageError


def write_text(path: str | Path, text: str) -> None:
    """Write `text` as UTF-8 with LF line ends."""
    write_bytes(path, text.encode("utf-8"))


def write_bytes(path: str | Path, data: bytes) -> None:
    """Write `data` beside `path` and put it in place in one step. Raises UsageError with the system's reason."""
    target = Path(path)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".", suffix=".part")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(data)
            os.chmod(name, 0o666 & ~_mask())
            os.replace(name, target)
        except BaseException:
            os.unlink(name)
            raise
    except OSError as error:
        raise UsageError(f"{target} cannot be written: {error.strerror}.", "choose another name or folder") from error


def _mask() -> int:
    """The permissions that new files of this user do without."""
    mask = os.umask(0)
    os.umask(mask)
    return mask
