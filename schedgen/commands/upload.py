"""`schedgen upload`: put the settings of a dive on a board and prove that they are there."""

from __future__ import annotations

import click

from schedgen.commands.common import console_for, dive_argument, json_option, load_dive, usable_settings, write_json
from schedgen.commands.lines import board_line, line_options


@click.command("upload", short_help="put the settings on the board and prove it")
@dive_argument
@line_options
@click.option("--dry-run", is_flag=True, help="Everything but the port: check the dive, show what the board will hold.")
@json_option
def command(file: str, port: str | None, called: str | None, dry_run: bool, as_json: bool) -> int:
    """Check a dive, write its settings to the board's spare slot, read all of it back, decode and compare.

    Every stop finding has to be accepted in the file with a reason. An unfinished upload goes on where it was when the
    command is repeated. Nothing is armed.
    """
    from schedgen.commands.examine import examine
    from schedgen.link.deck import check_upload, look, upload
    from schedgen.link.eeprom import Nameplate
    from schedgen.report.board import dry_run_lines, dry_run_record, found_lines, upload_lines, upload_record
    from schedgen.report.console import Progress
    from schedgen.settings import decode
    from schedgen.settings.compare import must_say

    loaded = load_dive(file, as_json)
    subject = examine(loaded)
    settings = usable_settings(subject)
    check_upload(settings, loaded.board.board_type)
    out = console_for(as_json)
    if dry_run:
        if as_json:
            write_json(dry_run_record(subject, settings))
        else:
            out.lines(dry_run_lines(subject, settings, out.paint))
        return 0
    bar = Progress(out, "uploading", "bytes")
    with board_line(port, called, loaded.board.serial.baud, Nameplate.of(loaded.board)) as line:
        found = look(line)
        out.lines(found_lines(found, subject, settings, out.paint))
        out.flush()
        try:
            result = upload(line, settings, loaded.board.board_type, bar)
        finally:
            bar.close()
    must_say(decode(result.block, loaded.board.output_names), settings.dive)
    if as_json:
        write_json(upload_record(result, settings, found))
    else:
        out.lines(upload_lines(result, settings, line.name, out.paint))
    return 0
