"""`schedgen simulate`: the course of the dive in numbers."""

from __future__ import annotations

import click

from schedgen.commands.common import console, dive_argument, json_option, load_dive, write_json


@click.command("simulate", short_help="energy, voltage and temperatures in every case")
@dive_argument
@json_option
@click.option("--case", default="nominal", show_default=True, metavar="NAME", help="Which case to write or to show.")
@click.option(
    "--csv", "csv_file", metavar="FILE", type=click.Path(), help="Write the course: a row a change, and each minute."
)
def command(file: str, as_json: bool, case: str, csv_file: str | None) -> int:
    """Simulate a dive in every case: energy, voltage, temperatures; optionally the course as CSV."""
    from schedgen.errors import UsageError
    from schedgen.report.cases import case_lines, case_records

    loaded = load_dive(file, as_json)
    results = loaded.simulate()
    if case not in results.cases:
        raise UsageError(f"There is no case {case!r}.", f"choose one of: {', '.join(results.cases)}")
    if csv_file:
        from schedgen.commands.files import write_text
        from schedgen.simulate.csv import csv_text

        write_text(csv_file, csv_text(results.cases[case].trace))
    if as_json:
        write_json({"cases": case_records(results), "worst_case": results.worst_case, "csv": csv_file})
        return 0
    out = console()
    out.lines(case_lines(loaded.plan(), results, out.paint))
    if csv_file:
        out.line(f"Wrote {csv_file}: the course in case {case}.")
    return 0
