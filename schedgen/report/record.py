"""The JSON object of `check --json`: its keys are relied upon by others."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

from schedgen.report.choices import choice_records

if TYPE_CHECKING:
    from schedgen.report.check import Subject
    from schedgen.simulate.results import Account

NOMINAL = 1
"""Index of the nominal value in a (low, nominal, high) triple of the plan."""


def check_record(subject: Subject, case: str = "worst") -> dict[str, Any]:
    """The record of one check. What is not decided is None and named in `not_checked`.

    `energy` and `heat` are those of `case` ("worst" by default); `fall` is the nominal one.
    """
    results = subject.results
    account = results.worst if case == "worst" else results.cases[case].account
    settings = subject.settings
    return {
        "verdict": subject.judgement.verdict,
        "code": settings.code if settings else None,
        "name": subject.plan.name,
        "findings": [
            {
                "name": finding.name,
                "load": finding.load or None,
                "severity": finding.severity,
                "accepted": finding.accepted,
                "reason": finding.reason or None,
                "file": finding.place.file,
                "line": finding.place.line,
                "column": finding.place.column,
                "message": finding.message,
                "fix": finding.fix,
            }
            for finding in subject.judgement.findings
        ],
        "events": {
            name: {"early_s": bounds.early, "nominal_s": bounds.nominal, "late_s": bounds.late}
            for name, bounds in subject.plan.events.items()
        },
        "energy": _energy(account),
        "heat": {
            load: {"highest_c": number(heat.highest_c), "at_s": number(heat.at_s)}
            for load, heat in account.heat.items()
        },
        "storage": {
            load: {"recorded_s": use.recorded_s, "written_gb": use.written_gb, "card_gb": use.card_gb}
            for load, use in subject.facts.storage.items()
        },
        "fall": {
            "sink_speed_m_s": number(subject.plan.fall.sink_speed[NOMINAL]),
            "rise_speed_m_s": number(subject.plan.fall.rise_speed[NOMINAL]),
            "net_lift_n": number(subject.plan.fall.net_lift_n[NOMINAL]),
            "pressure_dbar": number(subject.plan.fall.pressure_dbar[NOMINAL]),
        },
        "settings": {
            "bytes": settings.bytes_used if settings else None,
            "capacity": settings.capacity if settings else None,
        },
        "temperatures": {
            phase: {name: {"lowest_c": number(low), "highest_c": number(high)} for name, (low, high) in nodes.items()}
            for phase, nodes in subject.facts.temperatures.items()
        },
        "information": {
            said.topic.lower().replace(" ", "_"): {key: figure(value) for key, value in said.figures.items()}
            for said in subject.facts.information
        },
        "field_changes": choice_records(subject.loaded.choices()),
        "guessed": list(subject.loaded.guessed),
        "defaults": [f"{path}: {text}" for path, text in subject.loaded.defaults],
        "not_checked": list(subject.judgement.not_checked),
        "case": case,
    }


def _energy(account: Account) -> dict[str, Any]:
    return {
        "usable_wh": number(account.usable_wh),
        "needed_wh": number(account.needed_wh),
        "reserve_wh": number(account.reserve_wh),
        "margin_wh": number(account.margin_wh),
        "lowest_voltage_v": number(account.lowest_voltage_v),
        "lowest_voltage_at_s": number(account.lowest_voltage_at_s),
        "endurance_after_surface_h": number(account.endurance_after_surface_h),
        "by_load_wh": {name: number(value) for name, value in account.by_load_wh.items()},
        "by_phase_wh": {name: number(value) for name, value in account.by_phase_wh.items()},
    }


def figure(value: float | int | bool | None) -> float | int | bool | None:
    """As `number`; whole numbers and yes or no stay what they are."""
    return value if isinstance(value, int) else number(value)


def number(value: float | None) -> float | None:
    """A number that JSON can hold, rounded to a millionth; None for what is not finite."""
    if value is None or not math.isfinite(value):
        return None
    return round(float(value), 6)
