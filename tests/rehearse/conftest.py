"""Images for the simulated parts: the tests' own small firmware, and the project's for each board, built once."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parent))  # pytest runs in importlib mode
sys.path.insert(0, str(Path(__file__).parents[1] / "settings"))

from rehearse_dives import DIVES

from schedgen.firmware.build import build
from schedgen.firmware.rehearse.rehearsal import Build
from schedgen.firmware.rehearse.scenario import Target
from schedgen.firmware.toolchain import find_avr_tool
from schedgen.load import LoadedDive, load
from schedgen.settings.eeprom import layout_of
from schedgen.settings.slot import eeprom_image

HERE = Path(__file__).parent
TRIAL_HZ = {"atmega4809": 3_333_333, "atmega1608": 3_333_333, "atmega328p": 8_000_000}


@pytest.fixture(scope="session")
def trial(tmp_path_factory: pytest.TempPathFactory) -> Callable[[str], Target]:
    """The small firmware of the tests, compiled for a part and wired: outputs A, FLASH, and P, which is dimmed."""

    def make(model: str) -> Target:
        folder = tmp_path_factory.mktemp(model)
        elf, binary = folder / "trial.elf", folder / "trial.bin"
        source = HERE / ("trial_328.c" if model == "atmega328p" else "trial_megaavr.c")
        hertz = TRIAL_HZ[model]
        options = [f"-mmcu={model}", "-Os", "-std=gnu99", "-Wall", "-Wno-main", f"-DF_CPU={hertz}UL"]
        subprocess.run([str(find_avr_tool("gcc")), *options, str(source), "-o", str(elf)], check=True)
        subprocess.run(
            [str(find_avr_tool("objcopy")), "-O", "binary", "-R", ".eeprom", str(elf), str(binary)], check=True
        )
        pins = ("PD5", "PD6", "PB1") if model == "atmega328p" else ("PA4", "PA5", "PD0")
        outputs = {"A": (pins[0], True, None), "FLASH": (pins[1], True, None), "P": (pins[2], True, 0)}
        receive = "PD0" if model == "atmega328p" else "PA1"
        return Target(model, hertz, binary.read_bytes().hex(), "", 3.3, outputs, receive, dict.fromkeys(pins, "D"))

    return make


@pytest.fixture(scope="session")
def compiled() -> Callable[[str], tuple[LoadedDive, Build]]:
    """A dive for a board of ours, and the firmware's image with the dive's settings, as `rehearse` takes it."""
    made: dict[str, tuple[LoadedDive, Build]] = {}

    def make(board: str) -> tuple[LoadedDive, Build]:
        if board not in made:
            loaded = load(DIVES[board])
            image, settings = build(loaded.board), loaded.settings()
            eeprom = eeprom_image(settings.block, layout_of(round(loaded.board.eeprom.size.nominal)))
            made[board] = loaded, Build(image.flash, image.hertz, eeprom, settings.code, image.fuse_bytes)
        return made[board]

    return make
