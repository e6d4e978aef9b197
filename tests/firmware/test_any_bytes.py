"""Arbitrary bytes in every memory and on the serial line, under the address and undefined-behaviour sanitizers.

A driver in C is compiled with the core (no library to load into Python, so that the sanitizers see everything). It
fills memory at random or damages a good image, flies, resets, listens to noise, and checks after each step what must
never be.
"""

from __future__ import annotations

import subprocess
from pathlib import Path

import pytest
from host_rig import HOUR
from settings_dives import make_plan, window

from schedgen.board.load import load_board
from schedgen.firmware.host import find_compiler
from schedgen.firmware.sources import STRICT, sources_for, write_sources
from schedgen.link.essentials import pack_essentials
from schedgen.plan.model import Firing, Interlocks
from schedgen.settings.eeprom import layout_of
from schedgen.settings.encode import encode
from schedgen.settings.slot import pack_slot

ROOM = Path(__file__).parent
NOT_BEFORE = 2 * HOUR


def good_image(name: str) -> bytes:
    """The memory of an armed board: both slots, essentials; the journal is for the firmware to find lost."""
    board = load_board(name, Path.cwd())
    layout = layout_of(round(board.eeprom.size.nominal))
    plan = make_plan(
        [window("camera", "OUT1", 60, HOUR)],
        4 * HOUR,
        20 * HOUR,
        board_type=board.board_type,
        primary=Firing("REL1", 4 * HOUR, 100, 3, 50),
        backup=None,
        interlocks=Interlocks(NOT_BEFORE, 6 * HOUR, False, 3.1, 2.9, 3, ("OUT2",)),
    )
    block = encode(plan, board.output_names, layout.size).block
    image = bytearray(b"\xff" * 1088)
    for address in layout.slots:
        slot = pack_slot(1, block)
        image[address : address + len(slot)] = slot
    row = layout.size if layout.row is None else layout.row
    record = pack_essentials(block, True)
    image[row : row + len(record)] = record
    return bytes(image)


@pytest.mark.parametrize("name", ["halyard-4809", "cleat-328p", "thole-1608"])
def test_no_bytes_make_it_read_or_write_where_it_must_not_or_fire_outside_its_limits(name: str, tmp_path: Path) -> None:
    board = load_board(name, Path.cwd())
    files = write_sources(sources_for(board, "port_host"), tmp_path)
    program = tmp_path / "any_bytes"
    image = tmp_path / "good.bin"
    image.write_bytes(good_image(name))
    command = [
        find_compiler(), *STRICT[:4], "-O1", "-g", "-fsanitize=address,undefined", "-fno-sanitize-recover=all",
        f"-I{tmp_path}", *map(str, files), str(ROOM / "any_bytes.c"), "-o", str(program),
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    run = subprocess.run(
        [str(program), str(image), "160", str(NOT_BEFORE)], capture_output=True, text=True, timeout=120, check=False
    )
    assert run.returncode == 0, run.stdout + run.stderr
    assert "160 rounds" in run.stdout
