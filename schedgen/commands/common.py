"""What the commands share: options, loading with an error page, exit codes."""

from __future__ import annotations

import json
import os
import sys
from collections.abc import Callable
from typing import TYPE_CHECKING, Any

import click

from schedgen.errors import BlockError, FileProblems, Problem, SchedgenError, UsageError
from schedgen.report.console import Console

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.load import LoadedDive
    from schedgen.report.check import Subject
    from schedgen.settings import Settings

json_option = click.option("--json", "as_json", is_flag=True, help="Print one JSON object instead of text.")
port_option = click.option(
    "--port",
    required=True,
    metavar="PORT",
    help="Serial port as the system names it, or virtual:FILE for the built-in virtual board.",
)
dive_argument = click.argument("file", metavar="FILE", type=click.Path(path_type=str))


def console() -> Console:
    """The console of standard output."""
    return Console(sys.stdout)


def console_for(as_json: bool) -> Console:
    """Where text and progress go: standard output, or standard error when standard output carries JSON."""
    return Console(sys.stderr if as_json else sys.stdout)


def usable_settings(subject: Subject) -> Settings:
    """The settings block of a dive that may be used. Raises BlockError where there is none, and exits on a no-go."""
    from schedgen.report.check import stops

    if subject.settings is None:
        raise subject.trouble or BlockError("This dive has no settings block.")
    refusal = stops(subject)
    if refusal:
        Console(sys.stderr).lines(
            [*refusal, "Nothing was sent. Mend it, or accept each finding in the file with a reason."]
        )
        raise click.exceptions.Exit(1)
    return subject.settings


def board_for(name: str | None, quiet: bool = False) -> Board | None:
    """The board called `name` in the library or in a file; None without a name, and with `quiet` for an unknown one."""
    from pathlib import Path

    from schedgen.board.load import load_board

    if name is None:
        return None
    try:
        return load_board(name, relative_to=Path.cwd())
    except FileProblems:
        if quiet:
            return None
        raise


def write_json(value: Any) -> None:
    """Print one JSON object, in ASCII so that every console and pipe takes it."""
    sys.stdout.write(json.dumps(value, indent=1, ensure_ascii=True, allow_nan=False) + "\n")


def load_dive(path: str, as_json: bool = False) -> LoadedDive:
    """The dive in `path`; on problems prints them all (page or JSON) and ends with exit code 2."""
    from schedgen.load import load

    try:
        return load(path)
    except FileProblems as error:
        show_problems(error, as_json)
        raise click.exceptions.Exit(error.exit_code) from error


def show_problems(error: FileProblems, as_json: bool) -> None:
    """Print every problem of an input file."""
    if as_json:
        keys = ("file", "line", "column", "message", "expected", "example", "next")
        problems = [{key: getattr(problem, key) for key in keys} for problem in error.problems]
        write_json({"verdict": "unreadable", "problems": problems})
        return
    from schedgen.files.page import error_page

    out = Console(sys.stderr)
    out.lines(error_page(error.problems, ascii_only=not out.unicode))


def exit_code_of(action: Callable[[], Any], as_json: bool = False) -> int:
    """Run `action` and turn whatever it raises into a message on standard error and an exit code.

    With `as_json`, what ends with exit code 2 without a place in a file is a record on standard output too.
    """
    out = Console(sys.stderr)
    try:
        result = action()
        sys.stdout.flush()
        return result if isinstance(result, int) else 0
    except click.exceptions.Exit as error:
        return error.exit_code
    except click.UsageError as error:
        if error.ctx is not None:
            out.line(error.ctx.get_usage())
        out.line(f"Wrong command line: {error.format_message()}")
        return 2
    except click.ClickException as error:
        out.line(error.format_message())
        return 2
    except FileProblems as error:
        show_problems(error, as_json=False)
        return error.exit_code
    except SchedgenError as error:
        out.line(error.message)
        if error.next_step:
            out.line(f"  Next: {error.next_step}")
        if as_json and error.exit_code == UsageError.exit_code:
            show_problems(FileProblems([Problem("", 0, 0, error.message, next=error.next_step)]), as_json=True)
        return error.exit_code
    except (KeyboardInterrupt, click.Abort):
        out.line("Stopped by the keyboard. Nothing more was done.")
        return 130
    except BrokenPipeError:
        # The reader went away (a pager was closed): not an error, but Python must not complain at exit.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except OSError as error:
        out.line(f"The system refused: {error.strerror or error} ({error.filename or 'no file named'}).")
        return 2
