"""`schedgen readback`: what the board holds, as a schedule again."""

from __future__ import annotations

import click

from schedgen.commands.common import board_for, console_for, json_option, load_dive, port_option, write_json


@click.command("readback", short_help="what the board holds, as a schedule")
@port_option
@click.option("--against", metavar="FILE", type=click.Path(), help="A dive file to compare with, line by line.")
@click.option("--board", metavar="NAME", help="The board, where it is neither in the library nor named by --against.")
@json_option
def command(port: str, against: str | None, board: str | None, as_json: bool) -> int:
    """Read the settings from a board and show them as a schedule; exit code 1 when they differ from --against."""
    from schedgen.link.deck import readback
    from schedgen.link.ports import BAUD, open_port
    from schedgen.report.board import Shown, readback_lines, readback_record
    from schedgen.report.console import Progress

    loaded = load_dive(against, as_json) if against else None
    known = loaded.board if loaded else board_for(board)
    out = console_for(as_json)
    bar = Progress(out, "reading", "bytes")
    line = open_port(port, known.serial.baud if known else BAUD)
    try:
        result = readback(line, bar)
    finally:
        line.close()
        bar.close()
    shown = Shown.of(result, known or board_for(result.identity.board, quiet=True), loaded)
    if as_json:
        write_json(readback_record(shown))
    else:
        out.lines(readback_lines(shown, out.paint))
    return 1 if shown.differs else 0
