"""`schedgen arm`: let the board start when its trigger comes."""

from __future__ import annotations

import click

from schedgen.commands.common import board_for, console_for, json_option, write_json
from schedgen.commands.lines import board_line, line_options
from schedgen.errors import Differs


@click.command("arm", short_help="let the trigger start the dive")
@click.argument("code", metavar="CODE")
@line_options
@click.option("--board", metavar="NAME", help="The board, where it is not in the library (for its serial speed).")
@json_option
def command(code: str, port: str | None, called: str | None, board: str | None, as_json: bool) -> int:
    """Arm the board with the dive whose CODE `upload` and `readback` show. From then on the trigger starts the dive."""
    from schedgen.link.deck import arm, check_code, readback
    from schedgen.report.board import armed_lines, armed_record
    from schedgen.settings import decode

    check_code(code)
    known = board_for(board)
    with board_line(port, called, known.serial.baud if known else None) as line:
        identity = arm(line, code)
        held = readback(line)
    if held.block is None:
        raise Differs("The board is armed and holds no valid settings.", "Disarm it, upload again, and arm again.")
    names = known or board_for(identity.board, quiet=True)
    fits = names is not None and names.board_type == identity.board_type
    dive = decode(held.block, names.output_names) if names is not None and fits else decode(held.block)
    if as_json:
        write_json(armed_record(identity, dive))
    else:
        out = console_for(as_json)
        out.lines(armed_lines(identity, dive, line.name, out.paint))
    return 0
