"""`schedgen disarm`: the board starts nothing any more."""

from __future__ import annotations

import click

from schedgen.commands.common import board_for, console_for, json_option, write_json
from schedgen.commands.lines import board_line, line_options


@click.command("disarm", short_help="no trigger starts anything any more")
@line_options
@click.option("--board", metavar="NAME", help="The board, where it is not in the library (for its serial speed).")
@json_option
def command(port: str | None, called: str | None, board: str | None, as_json: bool) -> int:
    """Disarm the board: its settings stay, and no trigger starts anything."""
    from schedgen.link.deck import disarm
    from schedgen.report.board import disarmed_lines, disarmed_record

    known = board_for(board)
    with board_line(port, called, known.serial.baud if known else None) as line:
        identity = disarm(line)
    if as_json:
        write_json(disarmed_record(identity))
    else:
        out = console_for(as_json)
        out.lines(disarmed_lines(identity, out.paint))
    return 0
