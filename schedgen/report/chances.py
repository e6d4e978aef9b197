"""The chances of many sampled dives, as lines and as plain values."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from schedgen.report import words
from schedgen.report.check import wrapped
from schedgen.report.record import number
from schedgen.report.tables import table

if TYPE_CHECKING:
    from schedgen.plan.model import Plan
    from schedgen.simulate.chances import Chance, Chances, Driver

METHODS = (
    "Chance: share of the sampled dives, with its 95 % score interval (Wilson 1927).",
    "Matters most: rank correlation with the margin (Spearman 1904), + when more of it is better.",
    "Bounds are hard and every value inside them as likely as any other; faults are not sampled, see the cases.",
)


def percent(share: float) -> str:
    """`97.3 %`; never `100.0 %` for less than all, nor `0.0 %` for more than none."""
    if 0.9995 <= share < 1:
        return "over 99.9 %"
    if 0 < share < 0.0005:
        return "under 0.1 %"
    return f"{share * 100:.1f} %"


def chance_lines(plan: Plan, found: Chances, paint: Callable[..., str]) -> list[str]:
    """A row a margin, the surfacing window, and what matters most to each."""
    rows = [["margin", "holds in", "95 % interval", "least", "5 %", "median", "unit", "of what"]]
    for one in found.margins:
        least, low, middle = one.spread[:3]
        interval = f"{one.low * 100:.2f} to {one.high * 100:.2f} %"
        figures = [_figure(value) for value in (least, low, middle)]
        rows.append([one.name, percent(one.share), interval, *figures, one.unit, one.what])
    lines = [paint(plan.name, "bold"), f"{found.runs} sampled dives, seed {found.seed}"]
    lines += ["  " + row for row in table(rows, right=frozenset({1, 3, 4, 5}))]
    lines += ["", *wrapped(_surfacing(plan, found), paint("Surfacing", "bold") + "  ", " " * 11)]
    lines += ["", paint("Matters most", "bold")]
    pairs = [*((one.name, one.drivers) for one in found.margins), ("surfacing", found.surface_drivers)]
    lines += ["  " + row for row in table([[name, _drivers(drivers)] for name, drivers in pairs])]
    return [*lines, "", *METHODS]


def _figure(value: float) -> str:
    return f"{value:.1f}" if abs(value) >= 10 else f"{value:.2f}"


def _surfacing(plan: Plan, found: Chances) -> str:
    first, low, middle, high, last = (
        words.local(words.at(plan.planned, seconds), plan.planned) for seconds in found.surface_true_s
    )
    return (
        f"{first} at the earliest, {low} to {high} in 90 % of the dives, median {middle}, {last} at the latest "
        f"({words.offset(plan.planned)}, for a start as planned)"
    )


def _drivers(drivers: Sequence[Driver]) -> str:
    if not drivers:
        return "no input stands out"
    return ", ".join(f"{one.name} ({one.correlation:+.2f})" for one in drivers)


def chance_record(found: Chances) -> dict[str, Any]:
    """The same as plain values for JSON. Quantiles are 0, 5, 50, 95 and 100 %."""
    return {
        "runs": found.runs,
        "seed": found.seed,
        "chances": {one.name: _record(one) for one in found.margins},
        "surface_true_s": [number(value) for value in found.surface_true_s],
        "surface_matters_most": _pairs(found.surface_drivers),
        "quantiles": [0.0, 0.05, 0.5, 0.95, 1.0],
        "methods": list(METHODS),
    }


def _record(one: Chance) -> dict[str, Any]:
    return {
        "what": one.what,
        "unit": one.unit,
        "holds": number(one.share),
        "held": one.held,
        "low": number(one.low),
        "high": number(one.high),
        "margin": [number(value) for value in one.spread],
        "matters_most": _pairs(one.drivers),
    }


def _pairs(drivers: Sequence[Driver]) -> list[dict[str, Any]]:
    return [{"input": one.name, "rank_correlation": number(one.correlation)} for one in drivers]
