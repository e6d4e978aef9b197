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
@click.option(
    "--plot", "plot_file", metavar="FILE", type=click.Path(), help="Draw the dive: .svg, .png or .pdf, one A4 page."
)
@click.option("--runs", type=int, metavar="N", help="Sample so many dives instead: the chance that each margin holds.")
@click.option("--seed", type=int, default=1, show_default=True, metavar="S", help="Same seed, same sampled dives.")
def command(
    file: str, as_json: bool, case: str, csv_file: str | None, plot_file: str | None, runs: int | None, seed: int
) -> int:
    """Simulate a dive in every case: energy, voltage, temperatures; optionally the course as CSV."""
    from schedgen.errors import UsageError
    from schedgen.report.cases import case_lines, case_records

    loaded = load_dive(file, as_json)
    if runs is not None:
        from schedgen.commands.chances import sampled_dives

        if csv_file or plot_file:
            raise UsageError("--runs gives no single course.", "leave out --csv and --plot, or --runs")
        return sampled_dives(loaded, runs, seed, as_json)
    results = loaded.simulate()
    if case not in results.cases:
        raise UsageError(f"There is no case {case!r}.", f"choose one of: {', '.join(results.cases)}")
    if csv_file:
        from schedgen.commands.files import write_text
        from schedgen.simulate.csv import csv_text

        write_text(csv_file, csv_text(results.cases[case].trace))
    if plot_file:
        from schedgen.commands.examine import examine
        from schedgen.commands.files import write_bytes
        from schedgen.report.figure import form_of, picture
        from schedgen.report.figure_data import figure_data

        write_bytes(plot_file, picture(figure_data(examine(loaded)), form_of(plot_file)))
    if as_json:
        record = {"cases": case_records(results), "worst_case": results.worst_case, "csv": csv_file, "plot": plot_file}
        write_json(record)
        return 0
    out = console()
    out.lines(case_lines(loaded.plan(), results, out.paint))
    if csv_file:
        out.line(f"Wrote {csv_file}: the course in case {case}.")
    if plot_file:
        out.line(f"Wrote {plot_file}: lanes, depth, voltage, charge and temperatures, with the band between the cases.")
    return 0
