"""`schedgen library`: the boards and cells that come with the program."""

from __future__ import annotations

import click

from schedgen.commands.common import console, json_option, write_json


@click.command("library", short_help="boards and cells that come with the program")
@click.argument("name", required=False)
@json_option
def command(name: str | None, as_json: bool) -> int:
    """List the boards and cells of the library, or print the file of one to copy and change."""
    from schedgen.board.load import library_text
    from schedgen.report.library import library_lines, library_record

    if name is None:
        if as_json:
            write_json(library_record())
        else:
            console().lines(library_lines())
        return 0
    text = library_text(name)
    if as_json:
        write_json({"name": name, "text": text})
    else:
        console().lines(text.rstrip("\n").split("\n"))
    return 0
