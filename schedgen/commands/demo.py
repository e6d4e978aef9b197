"""`schedgen demo`: the whole main job on a dive of our own, in a new folder."""

from __future__ import annotations

import shlex
from importlib import resources
from pathlib import Path

import click

from schedgen.commands.common import console
from schedgen.errors import UsageError

DIVE = "hollow-bank.yaml"
BOARD = "virtual-board.bin"


@click.command("demo", short_help="the whole job on a dive of our own")
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=Path), default="schedgen-demo")
def command(folder: Path) -> int:
    """Write a demo dive into a new FOLDER and do everything with it: check, simulate, render, upload, read back."""
    dive = _write_dive(folder)
    out = console()
    out.line(f"A dive file of our own: {dive}")
    port = f"virtual:{folder / BOARD}"
    for words in (
        ["check", str(dive), "--short"],
        ["simulate", str(dive), "--csv", str(folder / "course.csv")],
        ["render", str(dive), "--out", str(folder / "settings")],
        ["upload", str(dive), "--port", port],
        ["readback", "--port", port, "--against", str(dive)],
    ):
        out.line()
        out.line(out.paint(f"$ schedgen {shlex.join(words)}", "bold"))
        code = _run(words)
        if code:
            return code
    out.line()
    out.line(f"All of it is in {folder}:")
    for path in sorted(folder.rglob("*")):
        if path.is_file():
            out.line(f"  {path.relative_to(folder).as_posix()}")
    out.line(f"Next: change {dive} and check it again, or begin your own with: schedgen new my-dive.yaml")
    return 0


def _write_dive(folder: Path) -> Path:
    """Write the demo dive into `folder`, which must not hold anything yet; returns its path."""
    from schedgen.commands.files import write_bytes

    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise UsageError(f"{folder} is there already and is left as it is.", "name a new folder: schedgen demo FOLDER")
    dive = folder / DIVE
    write_bytes(dive, resources.files("schedgen.dive").joinpath("demo.yaml").read_bytes())
    return dive


def _run(words: list[str]) -> int:
    """Run one command as the user would; returns its exit code."""
    from schedgen.commands import cli

    try:
        result = cli.main(words, standalone_mode=False)
    except click.exceptions.Exit as error:
        return error.exit_code
    return result if isinstance(result, int) else 0
