"""What a notebook shows of a dive, its results, its judgement and its chances: tables and a small figure, as HTML.

Every text is escaped; nothing is fetched from anywhere; no script. Colours only repeat what words say.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape
from typing import TYPE_CHECKING

import numpy as np

from schedgen.report import words

if TYPE_CHECKING:
    from schedgen.judge.finding import Finding, Judgement
    from schedgen.load import LoadedDive
    from schedgen.report.check import Subject
    from schedgen.simulate.chances import Chances
    from schedgen.simulate.results import Account, Floats, Results, Trace

WIDTH, HEIGHT = 640, 120
POINTS_MOST = 600
"""Points of a line in a figure; more are thinned to the least and the greatest of each stretch."""


def table(head: Sequence[str], rows: Iterable[Sequence[str]], caption: str = "") -> str:
    """An HTML table of texts, each escaped."""
    top = f"<caption>{escape(caption)}</caption>" if caption else ""
    heads = "".join(f'<th scope="col" style="text-align:left">{escape(cell)}</th>' for cell in head)
    body = "".join(
        "<tr>" + "".join(f'<td style="text-align:left">{escape(cell)}</td>' for cell in row) + "</tr>" for row in rows
    )
    return f"<table>{top}<thead><tr>{heads}</tr></thead><tbody>{body}</tbody></table>"


def judgement_html(judgement: Judgement) -> str:
    """The verdict, and every finding with its line and what to do."""
    rows = [_finding(finding) for finding in judgement.findings]
    text = f"<p><strong>{escape(judgement.verdict.upper())}</strong></p>"
    text += table(["finding", "severity", "line", "what", "next"], rows) if rows else "<p>No findings.</p>"
    if judgement.not_checked:
        items = "".join(f"<li>{escape(line)}</li>" for line in judgement.not_checked)
        text += f"<p>Not checked:</p><ul>{items}</ul>"
    return f"<div>{text}</div>"


def _finding(finding: Finding) -> list[str]:
    name = finding.name + (f"@{finding.load}" if finding.load else "")
    state = f"accepted: {finding.reason}" if finding.accepted else finding.severity
    line = str(finding.place.line) if finding.place.line else ""
    return [name, state, line, finding.message, finding.fix]


def results_html(results: Results) -> str:
    """The cases in a table, and the voltage and charge of the worst one drawn over time."""
    head = ["case", "usable", "needed", "left", "lowest", "at", "after surfacing"]
    rows = [[name, *_account(case.account)] for name, case in results.cases.items()]
    rows.append([f"worst ({results.worst_case})", *_account(results.worst)])
    worst = results.cases.get(results.worst_case)
    drawn = figure(worst.trace, f"voltage, case {results.worst_case}") if worst is not None else ""
    return f"<div>{table(head, rows)}{drawn}</div>"


def _account(account: Account) -> list[str]:
    return [
        f"{account.usable_wh:.1f} Wh",
        f"{account.needed_wh:.1f} Wh",
        f"{account.margin_wh:.1f} Wh",
        f"{account.lowest_voltage_v:.2f} V",
        words.duration(account.lowest_voltage_at_s),
        words.hours(account.endurance_after_surface_h),
    ]


def figure(trace: Trace, title: str) -> str:
    """Voltage over elapsed hours as a small picture (SVG), with its bounds and its unit in words."""
    time, volts = _thinned(trace.time_s / 3600.0, trace.voltage_v)
    if len(time) < 2 or time[-1] <= time[0]:
        return ""
    low, high = float(volts.min()), float(volts.max())
    room = max(high - low, 1e-6)
    x = 60 + (time - time[0]) / (time[-1] - time[0]) * (WIDTH - 70)
    y = 10 + (high - volts) / room * (HEIGHT - 35)
    points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x, y, strict=True))
    labels = ((2, 16, f"{high:.2f} V"), (2, HEIGHT - 22, f"{low:.2f} V"), (60, HEIGHT - 6, f"{time[0]:.0f} h"),
              (WIDTH - 60, HEIGHT - 6, f"{time[-1]:.1f} h"))  # fmt: skip
    text = "".join(f'<text x="{a}" y="{b}" font-size="11" fill="currentColor">{escape(c)}</text>' for a, b, c in labels)
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {WIDTH} {HEIGHT}" width="{WIDTH}" '
        f'height="{HEIGHT}"><title>{escape(title)}</title>'
        f'<polyline fill="none" stroke="currentColor" points="{points}"/>{text}</svg>'
    )


def _thinned(time: Floats, values: Floats) -> tuple[Floats, Floats]:
    """At most `POINTS_MOST` points, the least and the greatest of each stretch among them."""
    if len(time) <= POINTS_MOST:
        return time, values
    keep = {0, len(time) - 1}
    for part in np.array_split(np.arange(len(time)), POINTS_MOST // 2):
        keep |= {int(part[values[part].argmin()]), int(part[values[part].argmax()])}
    chosen = np.array(sorted(keep))
    return time[chosen], values[chosen]


def chances_html(found: Chances) -> str:
    """The chance of each margin with its interval and what matters most."""
    from schedgen.report.chances import METHODS, percent

    rows = [
        [
            one.name,
            percent(one.share),
            f"{one.low * 100:.2f} to {one.high * 100:.2f} %",
            f"{one.spread[2]:.3g} {one.unit}",
            ", ".join(f"{driver.name} ({driver.correlation:+.2f})" for driver in one.drivers),
        ]
        for one in found.margins
    ]
    head = ["margin", "holds in", "95 % interval", "median", "matters most"]
    notes = "".join(f"<li>{escape(line)}</li>" for line in METHODS)
    return f"<div>{table(head, rows, f'{found.runs} sampled dives, seed {found.seed}')}<ul>{notes}</ul></div>"


def subject_of(loaded: LoadedDive) -> Subject:
    """Everything that a report about the dive is made of."""
    from schedgen.errors import BlockError
    from schedgen.judge.facts import facts
    from schedgen.report.check import Subject

    plan, results, judgement = loaded.plan(), loaded.simulate(), loaded.check()
    told = facts(loaded, plan, results, judgement)
    try:
        return Subject(loaded, plan, results, judgement, told, loaded.settings())
    except BlockError as error:
        return Subject(loaded, plan, results, judgement, told, None, error)


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture that a notebook shows: `svg` is its text."""

    svg: str

    def _repr_svg_(self) -> str:
        return self.svg


def picture_of(loaded: LoadedDive) -> Picture:
    """The whole dive on one page, as `simulate --plot` draws it. Raises UsageError without the library matplotlib."""
    from schedgen.report.figure import picture
    from schedgen.report.figure_data import figure_data

    return Picture(picture(figure_data(subject_of(loaded)), "svg").decode("utf-8"))


def dive_html(loaded: LoadedDive) -> str:
    """The first screen, the events, and the voltage of the worst case."""
    from schedgen.report.check import first_screen
    from schedgen.report.tables import event_rows

    subject = subject_of(loaded)
    screen = "\n".join(first_screen(subject))
    head, *rows = event_rows(subject.plan)
    worst = subject.results.cases.get(subject.results.worst_case)
    drawn = figure(worst.trace, f"voltage, case {subject.results.worst_case}") if worst is not None else ""
    return f"<div><pre>{escape(screen)}</pre>{table(head, rows)}{drawn}</div>"
