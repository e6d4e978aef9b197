"""`schedgen arm`: let the board start when its trigger comes."""

from __future__ import annotations

import click

from schedgen.commands.common import board_for, console_for, json_option, port_option, write_json
from schedgen.errors import Differs


@click.command("arm", short_help="let the trigger start the dive")
@click.argument("code", metavar="CODE")
@port_option
@click.option("--board", metavar="NAME", help="The board, where it is not in the library (for its serial speed).")
@json_option
def command(code: str, port: str, board: str | None, as_json: bool) -> int:
    """Arm the board with the dive whose CODE `upload` and `readback` show. From then on the trigger starts the dive."""
    from schedgen.link.deck import arm, readback
    from schedgen.link.ports import BAUD, open_port
    from schedgen.report.board import armed_lines, armed_record
    from schedgen.settings import decode

    known = board_for(board)
    line = open_port(port, known.serial.baud if known else BAUD)
    try:
        identity = arm(line, code)
        held = readback(line)
    finally:
        line.close()
    if held.block is None:
        raise Differs("The board is armed and holds no valid settings.", "Disarm it, upload again, and arm again.")
    dive = decode(held.block)
    if as_json:
        write_json(armed_record(identity, dive))
    else:
        out = console_for(as_json)
        out.lines(armed_lines(identity, dive, out.paint))
    return 0
