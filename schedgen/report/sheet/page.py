"""The sheet as one HTML file: no other file, no network, and nothing lost where scripts are off."""

from __future__ import annotations

import base64
import hashlib
import json
import re
from dataclasses import dataclass
from datetime import UTC
from importlib import resources
from typing import TYPE_CHECKING, Any

from schedgen.report import words
from schedgen.report.cases import PLANNED
from schedgen.report.check import CAUTION, worst_phase
from schedgen.report.sheet.card import card
from schedgen.report.sheet.checklist import HOW_TO_STAND_DOWN, checklist, stand_down
from schedgen.report.sheet.pack import rest_voltage, weighings
from schedgen.report.sheet.recovery import recovery_page

if TYPE_CHECKING:
    from jinja2 import Environment
    from markupsafe import Markup

    from schedgen.judge.finding import Finding
    from schedgen.report.check import Subject

TEMPLATES = "schedgen.report.templates"
PAPERS = ("A4", "Letter")
UPLOT_NOTE = "/*! uPlot 1.6.32, MIT licence, Copyright (c) 2022 Leon Sorokin; the licence travels with schedgen. */\n"


@dataclass(frozen=True, slots=True)
class Sheet:
    """What the sheet is made of besides the dive: a line first where the splash is known, and the picture."""

    first_line: str = ""
    svg: str = ""
    interactive: bool = True
    paper: str = ""


def sheet_html(subject: Subject, sheet: Sheet) -> str:
    """The whole page. The same dive gives the same bytes."""
    from schedgen.report.figure_data import figure_data, plain

    environment = environment_of()
    style = template_text("sheet.css") + (template_text("uPlot.min.css") if sheet.interactive else "")
    scripts = [uplot(), template_text("figure.js"), template_text("sheet.js")] if sheet.interactive else []
    data = script_json(plain(figure_data(subject))) if sheet.interactive else ""
    context = {
        **contents(subject),
        "sheet": sheet,
        "svg": _markup(sheet.svg),
        "style": _markup(style),
        "scripts": [_markup(script) for script in scripts],
        "data": _markup(data),
        "policy": policy(scripts),
    }
    return environment.get_template("sheet.html.j2").render(context)


def contents(subject: Subject) -> dict[str, Any]:
    """Everything that the template asks for, worked out."""
    rest, weights = rest_voltage(subject), weighings(subject)
    recovery = recovery_page(subject)
    judgement = subject.judgement
    return {
        "subject": subject,
        "dive": subject.loaded.dive,
        "plan": subject.plan,
        "go": judgement.verdict == "go",
        "code": subject.code,
        "answers": answers(subject),
        "headline": [finding for finding in judgement.headline if finding.blocks],
        "events": event_table(subject),
        "cases": case_table(subject),
        "rest": rest,
        "weights": weights,
        "stages": checklist(subject, rest, weights),
        "stand_down": stand_down(subject),
        "how_to_stand_down": HOW_TO_STAND_DOWN,
        "card": card(subject),
        "recovery": recovery,
        "findings": _in_order(judgement.findings),
        "limits": limits(subject),
        "cautions": " ".join(CAUTION),
        "zone": words.offset(subject.plan.planned),
    }


@dataclass(frozen=True, slots=True)
class Answer:
    """One of the questions that a hurried reader has, answered."""

    question: str
    answer: str
    more: str
    key: str


def answers(subject: Subject) -> tuple[Answer, ...]:
    """May we drop, which code, when is it up, how long does the beacon last."""
    judgement, planned = subject.judgement, subject.plan.planned
    stops = sum(1 for finding in judgement.findings if finding.blocks)
    cautions = sum(1 for finding in judgement.findings if finding.severity == "caution")
    go = judgement.verdict == "go"
    page = recovery_page(subject)
    wait = subject.loaded.dive.recovery.wait.high / 3600
    because = "no finding stops it" if go else f"{words.count(stops, 'finding')} {'stops' if stops == 1 else 'stop'} it"
    return (
        Answer("May we drop?", "GO" if go else "NO-GO", f"{because}; {words.count(cautions, 'caution')}", "verdict"),
        Answer("Dive code", subject.code or "none", "the board must show this one before it is armed", "code"),
        Answer(
            "At the surface",
            f"{words.local(page.first, planned)} – {words.local(page.last, page.first)}",
            f"{words.offset(planned)}, {page.first.day} {page.first:%b %Y}; {page.daylight}{_start_included(subject)}",
            "surface",
        ),
        Answer(
            "Beacon lasts",
            words.hours(subject.results.worst.endurance_after_surface_h),
            f"after the latest surfacing, in the worst case; {words.hours(wait)} asked",
            "beacon",
        ),
    )


def _start_included(subject: Subject) -> str:
    slack = subject.plan.planned_plus_minus_s
    return f"; the ± {words.duration(slack)} of the start is in it" if slack else ""


def event_table(subject: Subject) -> list[dict[str, Any]]:
    """A row for each bound of each event: elapsed, local, UTC."""
    plan, rows = subject.plan, []
    for name, bounds in plan.events.items():
        true = plan.true_events[name]
        kinds = ("nominal",) if bounds.early == bounds.late else ("early", "nominal", "late")
        for index, kind in enumerate(kinds):
            instant = words.at(plan.planned, getattr(true, kind))
            rows.append(
                {
                    "name": name if index == 0 else "",
                    "of": len(kinds),
                    "kind": kind if len(kinds) > 1 else "exactly",
                    "elapsed": words.duration(getattr(bounds, kind), exact=True),
                    "local": words.moment(instant),
                    "utc": words.moment(instant.astimezone(UTC)),
                }
            )
    return rows


def case_table(subject: Subject) -> list[dict[str, Any]]:
    """A row for each case: energy, lowest voltage, temperatures, beacon."""
    rows = []
    for name, case in subject.results.cases.items():
        account = case.account
        rows.append(
            {
                "name": name,
                "planned": name in PLANNED,
                "usable": f"{account.usable_wh:.1f}",
                "needed": f"{account.needed_wh:.1f}",
                "left": f"{account.margin_wh:.1f}",
                "short": account.margin_wh < 0,
                "volts": f"{account.lowest_voltage_v:.2f}",
                "at": words.duration(account.lowest_voltage_at_s),
                "cells": "{:.0f} to {:.0f}".format(*account.cell_temperature_c),
                "beacon": words.hours(account.endurance_after_surface_h),
            }
        )
    return rows


def limits(subject: Subject) -> list[tuple[str, str]]:
    """The other figures of the first screen, for those who look further."""
    plan, worst = subject.plan, subject.results.worst
    at = plan.events["release"].nominal
    margin = "left" if worst.margin_wh >= 0 else "short"
    release_at = words.local(words.at(plan.planned, at), plan.planned)
    return [
        (
            "Release",
            f"{release_at}, {words.duration(at)} after the start; never before "
            f"{words.duration(plan.interlocks.not_before_s)}, latest {words.duration(plan.interlocks.latest_s)}",
        ),
        (
            "Margin",
            f"{abs(worst.margin_wh):.1f} Wh {margin} of {worst.usable_wh:.0f} Wh usable, above the reserve; "
            f"worst case: {subject.results.worst_case}",
        ),
        (
            "Lowest voltage",
            f"{worst.lowest_voltage_v:.2f} V, {words.duration(worst.lowest_voltage_at_s)} after "
            f"the start ({worst_phase(subject, worst.lowest_voltage_at_s)})",
        ),
        (
            "Speeds",
            f"sinks {plan.fall.sink_speed[1]:.2f} m/s, rises {plan.fall.rise_speed[1]:.2f} m/s; "
            f"least lift without ballast {plan.fall.net_lift_n[0]:.0f} N",
        ),
        ("On deck", subject.facts.deck_limit or "no limit could be worked out"),
    ]


def _in_order(findings: tuple[Finding, ...]) -> list[Finding]:
    rank = {"stop": 0, "caution": 1, "note": 2}
    return sorted(findings, key=lambda f: (not f.blocks, rank[f.severity], f.place.line, f.place.column, f.name))


def template_text(name: str) -> str:
    """One of the files beside the templates."""
    return resources.files(TEMPLATES).joinpath(name).read_text(encoding="utf-8")


def uplot() -> str:
    """The plotting library, with its licence's notice in place of its own first line."""
    text = template_text("uPlot.iife.min.js")
    return UPLOT_NOTE + re.sub(r"^/\*!.*?\*/\s*", "", text, count=1, flags=re.DOTALL)


def environment_of() -> Environment:
    """The templates, every value escaped."""
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    environment = Environment(
        loader=FunctionLoader(template_text),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        keep_trailing_newline=True,
    )
    environment.filters["clock"] = lambda instant, reference=None: words.local(instant, reference)
    environment.filters["stamp"] = lambda instant: f"{instant.day} {instant:%b %Y %H:%M}"
    environment.filters["hours"] = words.hours
    return environment


def script_json(value: Any) -> str:
    """JSON that may stand inside a script element: no text in it can end the element."""
    text = json.dumps(value, ensure_ascii=True, allow_nan=False, separators=(",", ":"))
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def policy(scripts: list[str], connect: bool = False) -> str:
    """What the browser lets the page do: run these scripts and no other, load nothing."""
    sums = [base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii") for text in scripts]
    run = " ".join(f"'sha256-{one}'" for one in sums) or "'none'"
    here = "'self'" if connect else "'none'"
    return (
        f"default-src 'none'; script-src {run}; style-src 'unsafe-inline'; img-src data:; connect-src {here}; "
        "base-uri 'none'; form-action 'none'"
    )


def inline_svg(data: bytes) -> str:
    """A picture as an SVG element to stand inside a page: no prologue, no metadata, its width left to the page."""
    text = data.decode("utf-8")
    text = text[text.index("<svg") :]
    text = re.sub(r"\s*<metadata>.*?</metadata>", "", text, flags=re.DOTALL)
    return re.sub(
        r'(<svg\b[^>]*?) width="[^"]*"', r"\1", re.sub(r'(<svg\b[^>]*?) height="[^"]*"', r"\1", text, count=1), count=1
    )


def _markup(text: str) -> Markup:
    from markupsafe import Markup

    return Markup(text)


__all__ = ["PAPERS", "Answer", "Sheet", "answers", "contents", "inline_svg", "sheet_html"]
