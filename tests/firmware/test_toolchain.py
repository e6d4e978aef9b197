"""Finding the AVR compiler."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from schedgen.firmware import toolchain


def test_the_compiler_that_is_found_compiles_for_the_parts(tmp_path: Path) -> None:
    compiler = toolchain.find_avr_gcc()
    assert compiler is not None, f"the test extra brings {toolchain.PIP_REQUIREMENT}"
    source = tmp_path / "empty.c"
    source.write_text("int main(void) { return 0; }\n", encoding="ascii")
    for part in ("atmega4809", "atmega1608", "atmega328p"):
        subprocess.run([str(compiler), f"-mmcu={part}", str(source), "-o", str(tmp_path / part)], check=True)


def test_its_other_tools_are_found_beside_it() -> None:
    compiler, size = toolchain.find_avr_gcc(), toolchain.find_avr_tool("size")
    assert compiler is not None
    assert size is not None
    assert size.parent == compiler.parent


@pytest.mark.skipif(sys.platform == "win32", reason="programs are told by their suffix there")
def test_a_compiler_on_the_path_comes_first(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    own = tmp_path / "avr-gcc"
    own.write_text("#!/bin/sh\n", encoding="ascii")
    own.chmod(0o755)
    monkeypatch.setenv("PATH", os.pathsep.join([str(tmp_path), os.environ["PATH"]]))
    assert toolchain.find_avr_gcc() == own


def test_without_any_compiler_there_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("PATH", "")
    monkeypatch.setattr(toolchain, "_PACKAGE", "no_such_package_at_all")
    assert toolchain.find_avr_gcc() is None
    assert toolchain.find_avr_tool("size") is None
