"""`schedgen new`: a dive file to fill in."""

from __future__ import annotations

import shlex
from pathlib import Path

import click

from schedgen.commands.common import console
from schedgen.errors import UsageError


@click.command("new", short_help="write a commented dive file to fill in")
@click.argument("file", metavar="FILE", type=click.Path(path_type=Path))
@click.option(
    "--board", default="halyard-4809", show_default=True, metavar="NAME", help="A board of the library, or a file."
)
def command(file: Path, board: str) -> int:
    """Write a commented dive file to fill in. Nothing that decides a life or the package is filled in for you."""
    from schedgen.board.load import load_board
    from schedgen.commands.files import write_text
    from schedgen.dive.starter import starter_text

    if file.exists():
        raise UsageError(f"{file} is there already and is left as it is.", "choose another name")
    write_text(file, starter_text(load_board(board, relative_to=file.parent)))
    out = console()
    out.line(f"Wrote {file} for board {board}. Every ? in it waits for you.")
    out.line(f"  Next: fill it in, then run: schedgen check {shlex.quote(str(file))}")
    return 0
