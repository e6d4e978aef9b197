"""Compiling small C programs against generated headers."""

from __future__ import annotations

import subprocess
from pathlib import Path

STRICT = ["-std=c99", "-Wall", "-Wextra", "-Wpedantic", "-Werror"]


def compiles_alone(compiler: str | Path, header: Path, *options: str) -> None:
    """Fails with the compiler's messages unless `header` compiles as a file of its own."""
    command = [str(compiler), *options, "-x", "c", *STRICT, "-c", str(header), "-o", str(header.with_suffix(".o"))]
    done = subprocess.run(command, capture_output=True, text=True)
    assert done.returncode == 0, done.stderr


def run(source: str, folder: Path) -> list[str]:
    """The lines that a C99 program prints; `folder` holds the headers that it includes."""
    (folder / "program.c").write_text(source, encoding="ascii", newline="\n")
    program = folder / "program"
    done = subprocess.run(
        ["gcc", *STRICT, "-Wconversion", "program.c", "-o", str(program)], cwd=folder, capture_output=True, text=True
    )
    assert done.returncode == 0, done.stderr
    return subprocess.run([str(program)], capture_output=True, encoding="utf-8", check=True).stdout.splitlines()


def refuses(source: str, folder: Path) -> str:
    """What the compiler says of a program that it must not compile."""
    (folder / "wrong.c").write_text(source, encoding="ascii", newline="\n")
    done = subprocess.run(["gcc", *STRICT, "-fsyntax-only", "wrong.c"], cwd=folder, capture_output=True, text=True)
    assert done.returncode != 0
    return done.stderr
