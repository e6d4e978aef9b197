"""`schedgen fit`: the best dive that passes, as a patch of the dive file."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any, TypeVar

import click

from schedgen.commands.common import console, dive_argument, json_option, load_dive, write_json


def _in_order(ctx: click.Context, option: click.Parameter, values: tuple[str, ...]) -> tuple[str, ...]:
    """Keep the wishes in the order of the command line: click hands options over as they were written."""
    wishes: list[tuple[str, str]] = ctx.meta.setdefault("schedgen.wishes", [])
    wishes += [(str(option.name), value) for value in values]
    return values


Command = TypeVar("Command", bound=Callable[..., Any])


def _wish(name: str, metavar: str, text: str) -> Callable[[Command], Command]:
    return click.option(f"--{name}", multiple=True, metavar=metavar, callback=_in_order, expose_value=False, help=text)


def _named(file: str) -> str:
    """The file as a patch names it: from this folder where it lies below, else by its bare name; with slashes."""
    import os
    from pathlib import Path

    try:
        below = os.path.relpath(file)
    except ValueError:  # another drive
        below = ".."
    return Path(file).name if below.startswith("..") else Path(below).as_posix()


@click.command("fit", short_help="the best schedule that passes, as a patch of the file")
@dive_argument
@_wish("most", "LOAD", "Longest time on of a load (camera), or the brightest level of a light (lights).")
@_wish("latest", "release", "Latest release.")
@_wish("fewest", "cells", "Fewest cells: the count of parallel strings.")
@_wish("least", "ballast", "Least ballast that still sinks at --sink-speed at the slowest.")
@click.option("--sink-speed", metavar="SPEED", help="The sink speed for --least ballast, such as '0.8 m/s'.")
@click.option("--out", metavar="FILE", type=click.Path(), help="Write the changed dive file here.")
@json_option
@click.pass_context
def command(ctx: click.Context, file: str, sink_speed: str | None, out: str | None, as_json: bool) -> int:
    """Find the best dive that passes every stop finding in the worst case, for one wish or several in order.

    Prints what changes as a patch of the dive file, comments kept. Exit code 1 means that a wish cannot be met.
    """
    from schedgen.errors import UsageError
    from schedgen.files.text import read_text
    from schedgen.fit.fit import fit
    from schedgen.fit.wishes import wish_of
    from schedgen.load import load_text
    from schedgen.report.fit import fit_lines, fit_record

    pairs: list[tuple[str, str]] = ctx.meta.get("schedgen.wishes", [])
    if not pairs:
        raise UsageError("There is no wish.", "write --most camera, --most lights, --latest release or --fewest cells")
    loaded = load_dive(file, as_json)
    wishes = [wish_of(option, name, loaded.dive, sink_speed) for option, name in pairs]
    found = fit(loaded, read_text(file), wishes, lambda text: load_text(text, file), _named(file))
    if out is not None and found.met:
        from schedgen.commands.files import write_text

        write_text(out, found.text)
    if as_json:
        write_json(fit_record(found))
    else:
        screen = console()
        screen.lines(fit_lines(found, screen.paint, out))
    return 0 if found.met else 1
