"""The firmware image for a board: sources out, avr-gcc run, sizes and stack found, fuses stated."""

from __future__ import annotations

import subprocess
import tempfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from schedgen.board.parts import Part
from schedgen.errors import UsageError
from schedgen.firmware.fuses import Fuse, fuses_of
from schedgen.firmware.generate import part_of, port_of
from schedgen.firmware.sources import STRICT, sources_for, write_sources
from schedgen.firmware.stack import deepest
from schedgen.firmware.toolchain import PIP_REQUIREMENT, find_avr_tool

if TYPE_CHECKING:
    from schedgen.board.model import Board

MOST_FLASH = 14 * 1024
"""Bytes of flash that the image may take, on every part."""
MOST_STATIC = 700
"""Bytes of static memory that it may take, on every part."""
_OPTIONS = (
    "-Os", "-flto", "-mrelax", "-mcall-prologues", "-mstrict-X", "-fshort-enums", "-fwrapv",
    "-fno-guess-branch-probability", "-fno-move-loop-invariants", "-fno-gcse", "-fno-tree-sink", "-fno-tree-vrp",
    "-fno-tree-loop-im", "-fno-tree-scev-cprop", "-fno-toplevel-reorder", "-fipa-pta", "-frename-registers",
    "-fira-algorithm=priority", "-fira-region=all", "-fno-code-hoisting", "--param=large-stack-frame=16",
    "--param=max-cse-path-length=50",
)  # fmt: skip
"""Each was kept because it makes the image smaller on all our boards: what an optimization saves in time it mostly
spends in bytes here."""
_LINKING = ("-nostartfiles", "-Wl,--gc-sections", "-Wl,--defsym=__TEXT_REGION_LENGTH__=65536")
"""Without the C library's start-up files, for ours are shorter (port_avr/start.c). The last one lets the linker finish
an image that is too large, so that its figures can be told."""


@dataclass(frozen=True, slots=True)
class Image:
    """A compiled firmware. Sizes in bytes; `flash` is the content from address 0 on, `hertz` the processor's clock."""

    board: str
    part: Part
    hertz: int
    flash: bytes
    elf: bytes
    static_memory: int
    deepest_stack: int
    fuses: tuple[Fuse, ...]

    @property
    def fuse_bytes(self) -> bytes:
        """The fuses by number, those that are not listed as 0xFF."""
        values = {fuse.number: fuse.value for fuse in self.fuses}
        return bytes(values.get(number, 0xFF) for number in range(max(values) + 1))


def build(board: Board) -> Image:
    """Compile the firmware for `board`.

    Raises UsageError where no compiler is found, where the board cannot be served, and where the image is too big.
    """
    with tempfile.TemporaryDirectory(prefix="schedgen-") as folder:
        return build_in(board, Path(folder))


def build_in(board: Board, folder: Path) -> Image:
    """As `build`, leaving sources and what the compiler made in `folder`."""
    part = part_of(board)
    port = port_of(part)
    files = write_sources(sources_for(board, port.folder), folder)
    elf = folder / "firmware.elf"
    compiler = _tool("gcc")
    common = [f"-mmcu={port.mcu}", f"-DF_CPU={port.clock_hz}UL", "-include", "port_config.h"]
    for file in files:
        _run([compiler, *common, *STRICT, *_OPTIONS, "-c", file.name, "-o", f"{file.stem}.o"], folder)
    objects = [f"{file.stem}.o" for file in files]
    _run([compiler, *common[:1], *_OPTIONS, *_LINKING, *objects, "-o", elf.name], folder)
    return _examine(board, part, port.clock_hz, folder, elf)


def _examine(board: Board, part: Part, hertz: int, folder: Path, elf: Path) -> Image:
    binary = folder / "firmware.bin"
    _run([_tool("objcopy"), "-O", "binary", "-R", ".eeprom", "-R", ".fuse", "-R", ".user_signatures", elf.name,
          binary.name], folder)  # fmt: skip
    flash = binary.read_bytes()
    static = _static_memory(_run([_tool("size"), "-A", elf.name], folder))
    stack = deepest(_run([_tool("objdump"), "-d", elf.name], folder))
    _refuse_too_big(part, len(flash), static, stack)
    return Image(board.board, part, hertz, flash, elf.read_bytes(), static, stack, fuses_of(part))


def _static_memory(table: str) -> int:
    """Bytes of RAM that variables take, from the table of sections."""
    rows = (line.split() for line in table.splitlines())
    return sum(int(row[1]) for row in rows if len(row) == 3 and row[0] in (".data", ".bss", ".noinit"))


def _refuse_too_big(part: Part, flash: int, static: int, stack: int) -> None:
    if flash > part.flash or static + stack > part.sram:
        raise UsageError(
            f"the firmware takes {flash} bytes of flash and {static + stack} bytes of RAM with its stack; the "
            f"{part.name} has {part.flash} and {part.sram}",
            "Take a larger part of the family.",
        )


def _tool(name: str) -> str:
    found = find_avr_tool(name)
    if found is None:
        raise UsageError(
            f"the AVR compiler is missing: there is no avr-{name} on the PATH and none from pip",
            f'Install one: pip install "{PIP_REQUIREMENT}" (Linux, x86-64), or the package gcc-avr with avr-libc of '
            "your system.",
        )
    return str(found)


def _run(command: Sequence[str], folder: Path) -> str:
    """Run one tool in `folder` and return what it prints. Raises UsageError with what it complains of."""
    try:
        done = subprocess.run(command, cwd=folder, capture_output=True, text=True, check=False, timeout=300)
    except (OSError, subprocess.TimeoutExpired) as trouble:
        raise UsageError(
            f"{Path(command[0]).name} cannot be run: {trouble}", "Install the compiler again."
        ) from trouble
    if done.returncode:
        raise UsageError(
            f"{Path(command[0]).name} refused the firmware's sources:\n{done.stderr.strip()}",
            "This is a defect of schedgen, or of the compiler: report both versions.",
        )
    return done.stdout
