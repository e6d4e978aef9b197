"""What the live page shows after each save, as plain values: verdict, picture, findings, the file's own lines."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from schedgen.report.sheet.page import answers, environment_of, limits, policy, template_text, uplot

if TYPE_CHECKING:
    from schedgen.errors import Problem
    from schedgen.judge.finding import Finding
    from schedgen.report.check import Subject


def good_state(subject: Subject) -> dict[str, Any]:
    """The state after a save that could be read. Pure; what depends on the moment is added by the server."""
    from schedgen.report.figure_data import figure_data, plain

    judgement = subject.judgement
    rank = {"stop": 0, "caution": 1, "note": 2}
    ordered = sorted(judgement.findings, key=lambda f: (not f.blocks, rank[f.severity], f.place.line, f.name))
    return {
        "name": subject.plan.name,
        "verdict": judgement.verdict,
        "code": subject.code,
        "answers": [
            {"question": a.question, "answer": a.answer, "more": a.more, "key": a.key} for a in answers(subject)
        ],
        "limits": [list(pair) for pair in limits(subject)],
        "findings": [_finding(finding, subject.loaded.path) for finding in ordered],
        "figure": plain(figure_data(subject)),
    }


def _finding(finding: Finding, dive: Path) -> dict[str, Any]:
    return {
        "name": f"{finding.name}@{finding.load}" if finding.load else finding.name,
        "severity": finding.severity,
        "accepted": finding.accepted,
        "reason": finding.reason,
        "message": finding.message,
        "fix": finding.fix,
        **_where(finding.place.file, finding.place.line, dive),
    }


def problems_state(problems: Sequence[Problem], dive: Path) -> list[dict[str, Any]]:
    """The problems of a file that could not be read."""
    return [
        {
            "message": problem.message,
            "expected": problem.expected,
            "example": problem.example,
            "next": problem.next,
            **_where(problem.file, problem.line, dive),
        }
        for problem in problems
    ]


def _where(file: str, line: int, dive: Path) -> dict[str, Any]:
    """Line and file; `here` is true where the line is one of the dive file, which the page shows."""
    here = bool(file) and (Path(file) == dive or Path(file).name == dive.name)
    return {"line": line, "file": Path(file).name if file else "", "here": here and line > 0}


def live_page(name: str) -> str:
    """The page that asks for the states and shows them; complete in itself but for those."""
    from markupsafe import Markup

    scripts = [uplot(), template_text("figure.js"), template_text("watch.js")]
    style = template_text("sheet.css") + template_text("uPlot.min.css") + template_text("watch.css")
    return (
        environment_of()
        .get_template("watch.html.j2")
        .render(
            name=name,
            style=Markup(style),
            scripts=[Markup(script) for script in scripts],
            policy=policy(scripts, connect=True),
        )
    )
