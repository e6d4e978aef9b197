"""The C sources of the firmware: what stands in `firmware_templates/` and what is generated for a board."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from schedgen.board.model import Board
from schedgen.board.where import data_folder
from schedgen.firmware.generate import headers

HOST = "port_host"
"""The folder of the port on a desk computer."""
STRICT = ("-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Wconversion", "-Werror")
"""Warnings that every source has to pass."""


def sources_for(board: Board, port: str) -> dict[str, str]:
    """All files of the firmware for a board, by name: core, the port in the folder `port`, generated headers.

    With an AVR port comes what all of these share.

    Raises UsageError where the firmware cannot serve the board.
    """
    files = dict(headers(board))
    root = data_folder("firmware_templates")
    shared = ("core",) if port == HOST else ("core", "port_avr")
    for folder in (*shared, port):
        for path in sorted((root / folder).iterdir()):
            if path.suffix in (".c", ".h"):
                files[path.name] = path.read_text(encoding="ascii")
    return files


def write_sources(files: Mapping[str, str], folder: Path) -> list[Path]:
    """Write the files into `folder`, which is made where it is missing; return the paths of the C files, sorted."""
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in files.items():
        (folder / name).write_text(text, encoding="ascii", newline="\n")
    return sorted(folder / name for name in files if name.endswith(".c"))
