"""The table of cases that `simulate` prints."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from schedgen.report import words
from schedgen.report.record import number
from schedgen.report.tables import table

if TYPE_CHECKING:
    from schedgen.plan.model import Plan
    from schedgen.simulate.results import Results

PLANNED = ("nominal", "energy", "voltage", "heat")
"""The cases of the dive as planned: nominal, then everything at its worst for one account."""


def case_lines(plan: Plan, results: Results, paint: Callable[..., str]) -> list[str]:
    """A row for each case: energy, lowest voltage and when, temperatures of the cells, when the pack is empty."""
    groups = (
        ("as planned", PLANNED),
        ("with one fault, or fetched a day late", tuple(n for n in results.cases if n not in PLANNED)),
    )
    rows = [["case", "usable", "needed", "left", "lowest", "at", "cells", "beacon after surfacing"]]
    heads = {}
    for title, names in groups:
        heads[len(rows)] = title
        rows += [_row(name, results) for name in names if name in results.cases]
    lines = [paint(plan.name, "bold")]
    for index, row in enumerate(table(rows, right=frozenset({1, 2, 3, 4, 5, 7}))):
        if index in heads:
            lines.append(heads[index].capitalize())
        lines.append("  " + row)
    lines.append(f"Worst margin as planned: {results.worst.margin_wh:.1f} Wh, case {results.worst_case}.")
    lines += [f"Assumed: {text}" for text in results.assumptions]
    return lines


def _row(name: str, results: Results) -> list[str]:
    account = results.cases[name].account
    low, high = account.cell_temperature_c
    return [
        name,
        f"{account.usable_wh:.1f} Wh",
        f"{account.needed_wh:.1f} Wh",
        f"{account.margin_wh:.1f} Wh",
        f"{account.lowest_voltage_v:.2f} V",
        words.duration(account.lowest_voltage_at_s),
        f"{low:.0f} to {high:.0f} degC",
        words.hours(account.endurance_after_surface_h),
    ]


def case_records(results: Results) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        name: {
            "usable_wh": number(case.account.usable_wh),
            "needed_wh": number(case.account.needed_wh),
            "margin_wh": number(case.account.margin_wh),
            "lowest_voltage_v": number(case.account.lowest_voltage_v),
            "lowest_voltage_at_s": number(case.account.lowest_voltage_at_s),
            "endurance_after_surface_h": number(case.account.endurance_after_surface_h),
            "end_charge": number(case.account.end_charge),
            "corner": {key: number(value) for key, value in case.corner.items()},
        }
        for name, case in results.cases.items()
    }
