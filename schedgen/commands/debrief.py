"""`schedgen debrief`: what was planned against what happened, and what the pack says of the loads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from schedgen.commands.common import console_for, dive_argument, json_option, load_dive, write_json
from schedgen.commands.lines import board_line, line_options
from schedgen.errors import Differs, OutOfRange, UsageError

if TYPE_CHECKING:
    from schedgen.load import LoadedDive
    from schedgen.measured.fit import Fit, Sought
    from schedgen.measured.journal import Journal
    from schedgen.measured.left import Left
    from schedgen.plan.model import Plan


@click.command("debrief", short_help="what was planned, what happened, what to learn")
@dive_argument
@line_options
@click.option("--journal", metavar="FILE", type=click.Path(), help="A journal saved before, instead of a board.")
@click.option("--save", metavar="FILE", type=click.Path(), help="Save what the board tells, to look at it again.")
@click.option("--fit", "wanted", type=click.Choice(["loads", "capacity"]), help="What to seek. Left out: capacity "
              "where a bench record measured the loads, else one common load factor.")  # fmt: skip
@click.option("--plot", "plot_file", metavar="FILE", type=click.Path(), help="Draw planned against measured: .svg, "
              ".png or .pdf.")  # fmt: skip
@json_option
def command(
    file: str,
    port: str | None,
    called: str | None,
    journal: str | None,
    save: str | None,
    wanted: Sought | None,
    plot_file: str | None,
    as_json: bool,
) -> int:
    """Compare a dive with the journal of the board that flew it; fit loads or capacity; suggest values for the file.

    Exit code 1 when something did not happen as planned.
    """
    from schedgen.commands.files import write_text
    from schedgen.measured.happened import flown_plan, happened
    from schedgen.measured.journal_file import write_journal
    from schedgen.report.debrief import debrief_lines, debrief_record, left_lines

    loaded = load_dive(file, as_json)
    told = _told(loaded, port, called, journal, as_json)
    if save is not None:
        write_text(save, write_journal(told))
    code = loaded.settings().code
    if told.code != code:
        raise Differs(
            f"The journal is of dive {told.code}; the file is dive {code}.",
            "Give the dive file as it was when it was uploaded."
            + (f" The journal is in {save}." if save else " Keep the journal with --save FILE meanwhile."),
        )
    plan = flown_plan(loaded.plan(), told)
    lines = happened(plan, loaded.simulate(), told, loaded.plan())
    found, trouble, left_out = _fitted(loaded, plan, told, wanted)
    left, unknown = _left(loaded, plan, told, found)
    if save is not None:
        write_text(save, write_journal(told, left))
    if plot_file is not None:
        _draw(plot_file, loaded, plan, told)
    if as_json:
        write_json(debrief_record(told, lines, found, trouble, loaded, left or unknown))
    else:
        out = console_for(as_json)
        out.lines(debrief_lines(told, lines, found, trouble, left_out, loaded, out.paint))
        out.lines(left_lines(left or unknown, save))
        if save is not None:
            out.line(f"Wrote {save}: the journal{' and what is left in the pack' if left else ''}.")
        if plot_file is not None:
            out.line(f"Wrote {plot_file}: planned against measured.")
    return 1 if any(one.as_planned is False for one in lines) else 0


def _left(loaded: LoadedDive, plan: Plan, told: Journal, found: Fit | None) -> tuple[Left | None, str]:
    """What is left in the pack, or None and why that is not known."""
    from schedgen.measured.course import Model
    from schedgen.measured.left import charge_left

    if found is None:
        return None, "nothing was fitted"
    try:
        return charge_left(Model.of(loaded.dive, loaded.board, loaded.cell, plan), found, told), ""
    except OutOfRange as error:
        return None, str(error)


def _draw(path: str, loaded: LoadedDive, plan: Plan, told: Journal) -> None:
    """Write the picture of planned against measured; `plan` is the one that was flown, field change included."""
    from dataclasses import replace

    from schedgen.commands.examine import examine
    from schedgen.commands.files import write_bytes
    from schedgen.report.figure import Measured, debrief, form_of, rendered
    from schedgen.report.figure_data import figure_data
    from schedgen.simulate import simulate

    form = form_of(path)
    subject = examine(loaded)
    if told.choice is not None:
        subject = replace(subject, plan=plan, results=simulate(loaded.dive, loaded.board, loaded.cell, plan))
    fired = {} if told.first_firing_s is None else {"first firing": float(told.first_firing_s)}
    measured = Measured([(one.at_s, one.volts) for one in told.readings], fired, told.elapsed_s)
    write_bytes(path, rendered(debrief(figure_data(subject), measured), form))


def _told(loaded: LoadedDive, port: str | None, called: str | None, path: str | None, as_json: bool) -> Journal:
    """The journal, from a file or from the board."""
    from schedgen.measured.journal_file import load_journal

    if path is not None:
        if port is not None or called is not None:
            raise UsageError("--journal is a file; --port and --called ask a board.", "Give one of them.")
        return load_journal(path)
    from schedgen.link.client import Client
    from schedgen.link.last_dive import last_dive
    from schedgen.report.console import Progress

    bar = Progress(console_for(as_json), "reading", "bytes")
    with board_line(port, called, loaded.board.serial.baud) as line:
        try:
            told = last_dive(Client(line), bar)
        finally:
            bar.close()
    if told is None:
        raise Differs("The board tells of no dive: none was started since it was last armed.", "Is it the right board?")
    return told


def _fitted(loaded: LoadedDive, plan: Plan, told: Journal, wanted: Sought | None) -> tuple[Fit | None, str, str]:
    """The fit, or why there is none; and why readings were left out, or ""."""
    from schedgen.measured.connection import step_of
    from schedgen.measured.course import Model
    from schedgen.measured.fit import Sense, fit
    from schedgen.measured.happened import readings_to_fit
    from schedgen.measured.suggest import sought_by

    kept, why = readings_to_fit(plan, told)
    sought = wanted or sought_by(loaded.bench, loaded.simulate().nominal.by_load_wh, loaded.dive)
    sense = Sense(told.step_v, step_of(loaded.board), loaded.board.pack_sense.tolerance.high)
    try:
        model = Model.of(loaded.dive, loaded.board, loaded.cell, plan)
        return fit(model, sought, kept.readings, sense), "", why
    except OutOfRange as error:
        return None, str(error), why
