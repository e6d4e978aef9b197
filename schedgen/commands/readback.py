"""`schedgen readback`: what the board holds, as a schedule again; with --all what each of several boards holds."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from schedgen.commands.common import board_for, console_for, json_option, load_dive, write_json
from schedgen.commands.lines import board_line
from schedgen.errors import UsageError

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.load import LoadedDive


@click.command("readback", short_help="what the board holds, as a schedule")
@click.option(
    "--port",
    "ports",
    multiple=True,
    metavar="PORT",
    help="Serial port as the system names it, or virtual:FILE; with --all it may be given several times. Left out: the "
    "one board that answers behind a known adapter, with --all every one.",
)
@click.option("--called", metavar="NAME", help="The board with this given name, wherever it is plugged in.")
@click.option("--all", "every", is_flag=True, help="One table of all boards: name, dive, state, voltage.")
@click.option("--against", metavar="FILE", type=click.Path(), help="A dive file to compare with, line by line.")
@click.option("--board", metavar="NAME", help="The board, where it is neither in the library nor named by --against.")
@json_option
def command(
    ports: tuple[str, ...], called: str | None, every: bool, against: str | None, board: str | None, as_json: bool
) -> int:
    """Read the settings from a board and show them as a schedule; exit code 1 when they differ from --against."""
    if every:
        if called or against:
            raise UsageError("--all shows every board in one table.", "Leave out --called and --against.")
        return _all(ports, as_json)
    if len(ports) > 1:
        raise UsageError("More than one --port.", "Give one, or --all for a table.")
    loaded = load_dive(against, as_json) if against else None
    known = loaded.board if loaded else board_for(board)
    return _one(ports[0] if ports else None, called, loaded, known, as_json)


def _one(port: str | None, called: str | None, loaded: LoadedDive | None, known: Board | None, as_json: bool) -> int:
    from schedgen.link.deck import readback
    from schedgen.report.board import Shown, readback_lines, readback_record
    from schedgen.report.console import Progress

    out = console_for(as_json)
    bar = Progress(out, "reading", "bytes")
    with board_line(port, called, known.serial.baud if known else None) as line:
        try:
            result = readback(line, bar)
        finally:
            bar.close()
    shown = Shown.of(result, known or board_for(result.identity.board, quiet=True), loaded)
    if as_json:
        write_json(readback_record(shown))
    else:
        out.lines(readback_lines(shown, out.paint))
    return 1 if shown.differs else 0


def _all(ports: tuple[str, ...], as_json: bool) -> int:
    """The table of all boards. Exit code 3 where a named port gives no board, or none is there at all."""
    from schedgen.errors import NotOneBoard
    from schedgen.link.search import WHY, Candidate, ask, candidates
    from schedgen.report.find import asked_record, boards_lines

    wanted = [Candidate(port, "") for port in ports] or [each for each in candidates() if each.known]
    asked = [ask(each) for each in wanted]
    if not any(each.identity for each in asked) and not ports:
        raise NotOneBoard("No board answers.", f"Plug them in, or give --port for each. {WHY}")
    if as_json:
        write_json({"boards": [asked_record(each) for each in asked]})
    else:
        console_for(as_json).lines(boards_lines(asked))
    return 3 if any(each.identity is None for each in asked) and ports else 0
