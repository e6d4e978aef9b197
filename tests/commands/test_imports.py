"""Nothing is imported that another system lacks, and little that takes long."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]

ELSEWHERE_MISSING = (
    "fcntl",
    "termios",
    "pty",
    "tty",
    "resource",
    "pwd",
    "grp",
    "syslog",
    "msvcrt",
    "winreg",
    "_winapi",
)
"""Modules of the standard library that Windows or Unix lacks."""
OPTIONAL = ("yasimavr", "matplotlib", "scipy", "pint", "hypothesis", "pytest")
REHEARSAL_ONLY = tuple(f"schedgen.firmware.rehearse.{name}" for name in ("part_", "player", "terminal", "worker"))
"""Beginnings of the names of modules that run only in the rehearsal's own process, beside the optional simulator."""
SLOW = ("gsw", "astral", "jinja2", "serial", "intelhex", "matplotlib", "scipy", "yasimavr")


def _modules() -> list[str]:
    paths = sorted((ROOT / "schedgen").rglob("*.py"))
    names = [path.relative_to(ROOT).with_suffix("").as_posix().replace("/", ".") for path in paths]
    names = [name.removesuffix(".__init__") for name in names if not name.endswith("__main__")]
    return [name for name in names if not name.startswith(REHEARSAL_ONLY)]


def _python(code: str) -> str:
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_every_module_imports_where_another_systems_modules_are_missing() -> None:
    code = f"""
import importlib, importlib.abc, sys
import ctypes, subprocess, tempfile, multiprocessing, http.server, socketserver  # these may take what is there

class Missing(importlib.abc.MetaPathFinder):
    def find_spec(self, name, path=None, target=None):
        if name in {ELSEWHERE_MISSING + OPTIONAL}:
            raise ModuleNotFoundError(name)

sys.meta_path.insert(0, Missing())
for name in {ELSEWHERE_MISSING}:
    sys.modules.pop(name, None)
for name in {_modules()}:
    importlib.import_module(name)
print("all")
"""
    assert _python(code).strip() == "all"


def test_the_command_line_imports_nothing_slow() -> None:
    code = f"import sys, schedgen.commands, schedgen; print([name for name in {SLOW} if name in sys.modules])"
    assert _python(code).strip() == "[]"
