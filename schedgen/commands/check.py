"""`schedgen check`: may this dive be dropped as written?"""

from __future__ import annotations

import os
from typing import TYPE_CHECKING

import click

from schedgen.commands.common import console, dive_argument, json_option, load_dive, write_json
from schedgen.commands.examine import examine

if TYPE_CHECKING:
    from schedgen.report.check import Subject


@click.command("check", short_help="may this dive be dropped as written?")
@dive_argument
@click.argument("other", metavar="[OTHER]", required=False, type=click.Path(path_type=str))
@json_option
@click.option(
    "--case",
    default="worst",
    show_default=True,
    metavar="NAME",
    help="Whose energy and fall figures to give with --json: worst, nominal, or a case that the report names.",
)
@click.option("--short", is_flag=True, help="Only the first screen.")
@click.option("--why", metavar="NAME", help="Explain a finding (NAME or NAME@load), and what alone would clear it.")
@click.option("--no-cache", is_flag=True, help="With a folder: check every file again.")
@click.option("--splashed", metavar="INSTANT", help="When it really went in: redo every time that hangs on it.")
@click.option("--started", metavar="INSTANT", help="When its clock really began (trigger button or command).")
def command(
    file: str,
    other: str | None,
    as_json: bool,
    case: str,
    short: bool,
    why: str | None,
    no_cache: bool,
    splashed: str | None,
    started: str | None,
) -> int:
    """Check a dive: energy, release, timing, depth, lift, settings. Exit code 1 means no-go.

    With a second file: what differs between the two, side by side. With a folder: one table of all its dive files.
    """
    if os.path.isdir(file):
        from schedgen.commands.season import check_folder

        return check_folder(file, as_json, no_cache, alone=not (other or why or splashed or started))
    if other is not None:
        return _compare(file, other, as_json, splashed or started)
    loaded = load_dive(file, as_json)
    if why is not None:
        from schedgen.commands.why import explain

        return explain(loaded, why, as_json)
    subject, first = _since(examine(loaded, case), splashed, started)
    if as_json:
        from schedgen.report.record import check_record

        record = check_record(subject, case)
        write_json({**record, "since_splash": first} if first else record)
    else:
        from schedgen.report.check import details, first_screen
        from schedgen.report.timeline import timeline

        out = console()
        out.lines([first] if first else [])
        out.lines(first_screen(subject, out.paint))
        if not short:
            out.lines(["", out.paint("Timeline", "bold"), *timeline(subject, ascii_only=not out.unicode)])
            out.lines(details(subject, out.paint))
    return 0 if subject.judgement.verdict == "go" else 1


def _since(subject: Subject, splashed: str | None, started: str | None) -> tuple[Subject, str]:
    """The subject with its real start, and what follows from it in one line; as it was where nothing is known."""
    from schedgen.report.sheet.splash import happened, one_line, redone

    real = happened(splashed, started)
    if not real.known:
        return subject, ""
    planned = subject.plan.planned
    subject = redone(subject, real)
    return subject, one_line(subject, real, planned)


def _compare(file: str, other: str, as_json: bool, since: str | None) -> int:
    """Two dives side by side; 0 when both are go."""
    from schedgen.errors import UsageError
    from schedgen.report.compare import compare_lines, compare_record

    if since is not None:
        raise UsageError("Two files are compared as planned.", "give one file with --splashed or --started")
    first, second = (examine(load_dive(name, as_json)) for name in (file, other))
    if as_json:
        write_json(compare_record(first, second))
    else:
        out = console()
        out.lines(compare_lines(first, second, out.paint))
    return 0 if first.judgement.verdict == second.judgement.verdict == "go" else 1
