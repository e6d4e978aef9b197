"""The settings of a dive as files: name to content. Pure: nothing is written here, and there is nothing in the content
that changes from run to run or from computer to computer."""

from __future__ import annotations

import hashlib
import io
import json
from collections.abc import Mapping
from typing import TYPE_CHECKING

from schedgen.plan.model import Plan
from schedgen.settings.eeprom import EepromLayout, layout_of
from schedgen.settings.encode import Settings
from schedgen.settings.fields import LAYOUT_VERSION
from schedgen.settings.header import Labels, dive_header
from schedgen.settings.slot import eeprom_image

if TYPE_CHECKING:
    from schedgen.board.model import Board

HEADER_FILE = "dive_settings.h"
MANIFEST_FILE = "manifest.json"


def render(plan: Plan, board: Board, settings: Settings) -> dict[str, bytes]:
    """The files of these settings, in the order in which they are to be written: `dive_settings.h`, `CODE.bin` (the
    block), `CODE-eeprom.hex` (the whole EEPROM with the block in slot A) and `manifest.json`.

    Text is ASCII with LF line ends. Raises BlockError for an EEPROM size without a layout.
    """
    loads = {name: output.load for name, output in plan.outputs.items()}
    labels = Labels(plan.name, board.board, loads)
    return render_files(settings, layout_of(round(board.eeprom.size.nominal)), labels)


def render_files(settings: Settings, layout: EepromLayout, labels: Labels) -> dict[str, bytes]:
    """As `render`, from the settings and the names that they do not hold."""
    image = eeprom_image(settings.block, layout)
    files = {
        HEADER_FILE: dive_header(settings, labels).encode("ascii"),
        f"{settings.code}.bin": settings.block,
        f"{settings.code}-eeprom.hex": intel_hex(image),
    }
    return files | {MANIFEST_FILE: manifest(files, settings, labels)}


def intel_hex(data: bytes, address: int = 0) -> bytes:
    """`data` from `address` on as Intel HEX, 16 bytes a record, LF line ends."""
    from intelhex import IntelHex

    image = IntelHex()
    image.puts(address, data)
    text = io.StringIO(newline="\n")
    image.write_hex_file(text, eolstyle="native", byte_count=16)
    return text.getvalue().replace("\r\n", "\n").encode("ascii")


def manifest(files: Mapping[str, bytes], settings: Settings, labels: Labels) -> bytes:
    """What was rendered: for each file its size in bytes and its SHA-256; dive code, board and layout version."""
    content = {
        "dive": labels.dive,
        "code": settings.code,
        "board": labels.board,
        "board_type": settings.dive.board_type,
        "layout_version": LAYOUT_VERSION,
        "files": {
            name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in files.items()
        },
    }
    return (json.dumps(content, indent=2, ensure_ascii=True) + "\n").encode("ascii")
