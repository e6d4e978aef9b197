"""The worked numbers in the documentation of the physics run as tests, and no module is dear to import."""

import doctest
import importlib
import inspect
import pkgutil
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from types import FunctionType

import pytest

import schedgen.physics

MODULES = sorted(found.name for found in pkgutil.iter_modules(schedgen.physics.__path__))
ROOT = Path(__file__).resolve().parents[2]
HEAVY = ("gsw", "astral", "scipy", "matplotlib", "pint", "pydantic", "jinja2", "serial")


@pytest.mark.parametrize("name", MODULES)
def test_worked_examples(name: str) -> None:
    module = importlib.import_module(f"schedgen.physics.{name}")
    results = doctest.testmod(module)
    assert results.failed == 0
    assert results.attempted > 0


def public_functions(name: str) -> Iterator[tuple[str, FunctionType]]:
    module = importlib.import_module(f"schedgen.physics.{name}")
    for word, found in inspect.getmembers(module, inspect.isfunction):
        if found.__module__ == module.__name__ and not word.startswith("_"):
            yield word, found


@pytest.mark.parametrize("name", [name for name in MODULES if name != "bounds"])
def test_every_public_function_names_its_source(name: str) -> None:
    """In its own words, or in those of its module; "from memory" is one."""
    of_module = inspect.getdoc(importlib.import_module(f"schedgen.physics.{name}")) or ""
    for word, found in public_functions(name):
        text = (inspect.getdoc(found) or "") + of_module
        assert "ource" in text or "memory" in text, f"{name}.{word} does not name its source"


def test_imports_pull_in_nothing_heavy() -> None:
    names = ", ".join(f"schedgen.physics.{name}" for name in MODULES)
    code = f"import sys, {names}; print([m for m in {HEAVY!r} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
