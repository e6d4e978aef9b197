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


def case_lines(plan: Plan, results: Results, paint: Callable[..., str]) -> list[str]:
    """A row for each case: energy, lowest voltage and when, temperatures of the cells, when the pack is empty."""
    rows = [["case", "usable", "needed", "left", "lowest", "at", "cells", "beacon after surfacing"]]
    for name, case in results.cases.items():
        account = case.account
        low, high = account.cell_temperature_c
        rows.append(
            [
                name,
                f"{account.usable_wh:.1f} Wh",
                f"{account.needed_wh:.1f} Wh",
                f"{account.margin_wh:.1f} Wh",
                f"{account.lowest_voltage_v:.2f} V",
                words.duration(account.lowest_voltage_at_s),
                f"{low:.0f} to {high:.0f} degC",
                words.hours(account.endurance_after_surface_h),
            ]
        )
    lines = [paint(plan.name, "bold"), *table(rows, right=frozenset({1, 2, 3, 4, 5, 7}))]
    lines.append(f"Worst energy margin: {results.worst.margin_wh:.1f} Wh in case {results.worst_case}.")
    lines += [f"Assumed: {text}" for text in results.assumptions]
    return lines


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
