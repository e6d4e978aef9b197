"""`schedgen upload`: put the settings of a dive on a board and prove that they are there."""

from __future__ import annotations

import click

from schedgen.commands.common import (
    console_for,
    dive_argument,
    json_option,
    load_dive,
    port_option,
    usable_settings,
    write_json,
)


@click.command("upload", short_help="put the settings on the board and prove it")
@dive_argument
@port_option
@json_option
def command(file: str, port: str, as_json: bool) -> int:
    """Check a dive, write its settings to the board's spare slot, read all of it back and compare."""
    from schedgen.commands.examine import examine
    from schedgen.link.deck import check_upload, upload
    from schedgen.link.eeprom import Nameplate
    from schedgen.link.ports import open_port
    from schedgen.report.board import upload_lines, upload_record
    from schedgen.report.console import Progress

    loaded = load_dive(file, as_json)
    subject = examine(loaded)
    settings = usable_settings(subject)
    check_upload(settings, loaded.board.board_type)
    out = console_for(as_json)
    bar = Progress(out, "uploading", "bytes")
    line = open_port(port, loaded.board.serial.baud, make=Nameplate.of(loaded.board))
    try:
        result = upload(line, settings, loaded.board.board_type, bar)
    finally:
        line.close()
        bar.close()
    if as_json:
        write_json(upload_record(result, settings))
    else:
        out.lines(upload_lines(result, settings, out.paint))
    return 0
