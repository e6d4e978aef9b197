"""`schedgen find`: which ports may have a board, which boards answer, and why none does."""

from __future__ import annotations

import click

from schedgen.commands.common import console_for, json_option, write_json
from schedgen.errors import UsageError


@click.command("find", short_help="which boards are plugged in, and why none is")
@click.option("--why", is_flag=True, help="The usual causes when no board is found. Needs no board and no network.")
@click.option("--port", metavar="PORT", help="Ask on this port too, whatever its adapter is; or virtual:FILE.")
@click.option("--list", "only_list", is_flag=True, help="List the ports and write to none of them.")
@click.option("--name", metavar="NAME", help="Give the board on --port this name (8 signs at most; '' takes it away).")
@json_option
def command(why: bool, port: str | None, only_list: bool, name: str | None, as_json: bool) -> int:
    """List the serial ports, and ask "who are you?" where a known adapter is. No other port is written to.

    Exit code 3 when no board answers.
    """
    from schedgen.link.search import Candidate, ask, candidates
    from schedgen.link.why import causes, look_around
    from schedgen.report.find import asked_record, found_lines, why_lines, why_record

    if name is not None:
        if port is None:
            raise UsageError("--name needs --port.", "Say which board: schedgen find --port PORT --name NAME")
        return _rename(port, name, as_json)
    found = list(candidates())
    out = console_for(as_json)
    if why:
        listed = causes(look_around(found))
        if as_json:
            write_json({"causes": why_record(listed)})
        else:
            out.lines(why_lines(listed, out.paint))
        return 0
    if port is not None and port not in [each.port for each in found]:
        found.insert(0, Candidate(port, ""))
    wanted = [] if only_list else [each for each in found if each.known or each.port == port]
    asked = {each.port: ask(each) for each in wanted}
    if as_json:
        write_json({"ports": [asked_record(asked.get(each.port), each) for each in found]})
    else:
        out.lines(found_lines(found, asked))
    return 0 if only_list or any(one.identity for one in asked.values()) else 3


def _rename(port: str, name: str, as_json: bool) -> int:
    from schedgen.commands.lines import board_line
    from schedgen.link.deck import rename
    from schedgen.report.board import identity_record

    with board_line(port) as line:
        identity = rename(line, name)
    if as_json:
        write_json(identity_record(identity))
    else:
        console_for(as_json).line(f"The board on {line.name} is now {identity.called}.")
    return 0
