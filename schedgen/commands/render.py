"""`schedgen render`: the settings as files."""

from __future__ import annotations

from pathlib import Path

import click

from schedgen.commands.common import console, dive_argument, json_option, load_dive, write_json
from schedgen.commands.examine import examine
from schedgen.errors import BlockError
from schedgen.report import words


@click.command("render", short_help="settings as C header, block and EEPROM image")
@dive_argument
@json_option
@click.option(
    "--out",
    "folder",
    metavar="DIR",
    type=click.Path(path_type=Path),
    help="Folder for the files; default: settings-CODE beside the dive file.",
)
def command(file: str, as_json: bool, folder: Path | None) -> int:
    """Write the settings of a dive: C header, settings block, EEPROM image, list of files."""
    from schedgen.report.check import stops
    from schedgen.settings import render, write

    loaded = load_dive(file, as_json)
    subject = examine(loaded)
    if subject.settings is None:
        raise subject.trouble or BlockError("this dive has no settings block")
    target = folder if folder is not None else Path(file).parent / f"settings-{subject.settings.code}"
    written = write(render(subject.plan, loaded.board, subject.settings), target)
    if as_json:
        names = [path.name for path in written]
        write_json(
            {"code": subject.settings.code, "verdict": subject.judgement.verdict, "folder": str(target), "files": names}
        )
        return 0
    out = console()
    size = f"{words.count(subject.settings.bytes_used, 'byte')} of {subject.settings.capacity}"
    out.line(f"Settings {out.paint(subject.settings.code, 'bold')} for {loaded.board.board}: {size}.")
    for path in written:
        out.line(f"  {path}")
    out.lines(stops(subject))
    return 0
