"""`schedgen check`: may this dive be dropped as written?"""

from __future__ import annotations

import click

from schedgen.commands.common import console, dive_argument, json_option, load_dive, write_json
from schedgen.commands.examine import examine


@click.command("check", short_help="may this dive be dropped as written?")
@dive_argument
@json_option
@click.option(
    "--case",
    default="worst",
    show_default=True,
    metavar="NAME",
    help="Whose energy and fall figures to give with --json: worst, nominal, or a case that the report names.",
)
@click.option("--short", is_flag=True, help="Only the first screen.")
def command(file: str, as_json: bool, case: str, short: bool) -> int:
    """Check a dive: energy, release, timing, depth, lift, settings. Exit code 1 means no-go."""
    loaded = load_dive(file, as_json)
    subject = examine(loaded, case)
    if as_json:
        from schedgen.report.record import check_record

        write_json(check_record(subject, case))
    else:
        from schedgen.report.check import details, first_screen

        out = console()
        out.lines(first_screen(subject, out.paint))
        if not short:
            out.lines(details(subject, out.paint))
    return 0 if subject.judgement.verdict == "go" else 1
