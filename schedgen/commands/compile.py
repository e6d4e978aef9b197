"""`schedgen compile`: the firmware that obeys the settings, for the dive's board."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from schedgen.commands.common import console, dive_argument, json_option, load_dive, write_json
from schedgen.commands.examine import examine
from schedgen.errors import BlockError

if TYPE_CHECKING:
    from schedgen.firmware.build import Image


@click.command("compile", short_help="firmware and EEPROM image for the dive's board")
@dive_argument
@json_option
@click.option(
    "--out",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder for the files; default: firmware-CODE beside the dive file.",
)
def command(file: str, as_json: bool, folder: Path | None) -> int:
    """Compile the firmware for the board of a dive: Intel HEX for flash and EEPROM, ELF, sizes, fuses."""
    from schedgen.firmware.build import build
    from schedgen.settings import render, write
    from schedgen.settings.render import intel_hex

    loaded = load_dive(file, as_json)
    subject = examine(loaded)
    if subject.settings is None:
        raise subject.trouble or BlockError("this dive has no settings block")
    image = build(loaded.board)
    code = subject.settings.code
    eeprom = f"{code}-eeprom.hex"
    files = {
        f"{code}-flash.hex": intel_hex(image.flash),
        eeprom: render(subject.plan, loaded.board, subject.settings)[eeprom],
        f"{code}.elf": image.elf,
    }
    written = write(files, folder if folder is not None else Path(file).parent / f"firmware-{code}")
    if as_json:
        write_json({"code": code, "files": [path.name for path in written], **_facts(image)})
        return 0
    _show(image, code, written)
    return 0


def _facts(image: Image) -> dict[str, Any]:
    return {
        "board": image.board,
        "part": image.part.name,
        "sizes": {
            "flash": len(image.flash),
            "flash_of": image.part.flash,
            "static_memory": image.static_memory,
            "deepest_stack": image.deepest_stack,
            "memory_of": image.part.sram,
        },
        "fuses": [
            {"register": fuse.register, "number": fuse.number, "value": fuse.value, "meaning": fuse.meaning}
            for fuse in image.fuses
        ],
    }


def _show(image: Image, code: str, written: list[Path]) -> None:
    out = console()
    out.line(f"Firmware for {image.board} ({image.part.name}), settings {out.paint(code, 'bold')}.")
    for path in written:
        out.line(f"  {path}")
    out.line(f"Flash {len(image.flash)} of {image.part.flash} bytes; memory {image.static_memory} static and at most")
    out.line(f"{image.deepest_stack} of stack, of {image.part.sram} bytes.")
    out.line("Fuses to set:")
    for fuse in image.fuses:
        out.line(f"  {fuse.register} = 0x{fuse.value:02X}  {fuse.meaning}")
    out.line("Any programmer that takes Intel HEX can write the flash, the EEPROM and the fuses.")
