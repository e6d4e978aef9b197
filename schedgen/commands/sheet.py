"""`schedgen sheet`: the dive as one page, for the screen, the printer and a wet pocket."""

from __future__ import annotations

import click

from schedgen.commands.common import console, dive_argument, load_dive
from schedgen.report.sheet.page import PAPERS


@click.command("sheet", short_help="one page to look at, print and take along")
@dive_argument
@click.option("--out", "out_file", metavar="FILE", type=click.Path(), help="Write the page as one HTML file.")
@click.option("--pdf", "pdf_file", metavar="FILE", type=click.Path(), help="Write it as PDF.")
@click.option(
    "--paper",
    type=click.Choice(PAPERS, case_sensitive=False),
    default="A4",
    show_default=True,
    help="Paper of the PDF; a browser asks for it when it prints.",
)
@click.option("--splashed", metavar="INSTANT", help="When it really went in: redo every time that hangs on it.")
@click.option("--started", metavar="INSTANT", help="When its clock really began (trigger button or command).")
def command(
    file: str, out_file: str | None, pdf_file: str | None, paper: str, splashed: str | None, started: str | None
) -> int:
    """Write the sheet of a dive: verdict, times, picture, checklist, recovery page, margins, findings."""
    from schedgen.commands.examine import examine
    from schedgen.commands.files import write_bytes, write_text
    from schedgen.errors import UsageError
    from schedgen.report.sheet.page import Sheet, sheet_html
    from schedgen.report.sheet.splash import happened, one_line, redone

    if out_file is None and pdf_file is None:
        raise UsageError("Nowhere to write the sheet.", "add --out FILE.html, or --pdf FILE.pdf, or both")
    real = happened(splashed, started)
    subject = examine(load_dive(file))
    out, first = console(), ""
    if real.known:
        planned = subject.plan.planned
        subject = redone(subject, real)
        first = one_line(subject, real, planned)
        out.line(first)
    if out_file is not None:
        write_text(out_file, sheet_html(subject, Sheet(first, _svg(subject, text_as_paths=False))))
        out.line(f"Wrote {out_file}: complete in itself; open it in any browser, print it on A4 or Letter.")
    if pdf_file is not None:
        from schedgen.report.sheet.paper import sheet_pdf

        page = Sheet(first, _svg(subject, text_as_paths=True), interactive=False, paper=paper)
        write_bytes(pdf_file, sheet_pdf(sheet_html(subject, page)))
        out.line(f"Wrote {pdf_file} for {paper}.")
    return 0 if subject.judgement.verdict == "go" else 1


def _svg(subject: object, text_as_paths: bool) -> str:
    from schedgen.report.check import Subject
    from schedgen.report.figure import picture
    from schedgen.report.figure_data import figure_data
    from schedgen.report.sheet.page import inline_svg

    assert isinstance(subject, Subject)
    return inline_svg(picture(figure_data(subject), "svg", text_as_paths))
