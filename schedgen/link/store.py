"""`virtual:FILE`: a virtual board whose memory is a file.

The file holds the EEPROM image, byte for byte, then what `eeprom.py` says. It is replaced as a
whole after each request that changed something, so that a program cut short leaves the memory before or after it.
"""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path

from schedgen.errors import LinkError, PortMissing
from schedgen.link import faults
from schedgen.link.eeprom import Memory, Nameplate, blank_image
from schedgen.link.virtual import VirtualBoard


@dataclass
class VirtualFile:
    """A virtual board together with the file that keeps its memory."""

    path: Path
    board: VirtualBoard
    _saved: int = 0

    @classmethod
    def open(cls, path: Path, make: Nameplate | None = None) -> VirtualFile:
        """Return the board in `path`; a missing file becomes a blank board of the kind `make`.

        Raises `PortMissing` where there is no file and `make` is None, `LinkError` where it holds something else,
        `PortDenied` and the like where the system refuses.
        """
        with faults.keeping(str(path)):
            image = path.read_bytes() if path.exists() else None
        if image is None:
            if make is None:
                raise PortMissing(
                    f"There is no virtual board in {path}.", "Upload a dive to it first; that makes the board."
                )
            if not path.absolute().parent.is_dir():
                folder = path.absolute().parent
                raise PortMissing(f"There is no folder {folder} for the virtual board.", "Make it first.")
            _replace(path, blank_image(make))
            with faults.keeping(str(path)):
                image = path.read_bytes()
        try:
            return cls(path, VirtualBoard(Memory(image)))
        except LinkError as error:
            raise LinkError(f"{path}: {error.message}", error.next_step) from error

    def save(self) -> None:
        """Write the memory to the file where it has changed since. Raises `LinkError`."""
        changes = self.board.memory.changes
        if changes != self._saved:
            _replace(self.path, bytes(self.board.memory.image))
            self._saved = changes


def _replace(path: Path, image: bytes) -> None:
    """Put `image` in the place of the file, so that there is always one whole file."""
    with faults.keeping(str(path)):
        handle, name = tempfile.mkstemp(prefix=path.name, suffix=".part", dir=path.parent or None)
        try:
            with os.fdopen(handle, "wb") as file:
                file.write(image)
                file.flush()
                os.fsync(file.fileno())
            os.replace(name, path)
        finally:
            Path(name).unlink(missing_ok=True)
