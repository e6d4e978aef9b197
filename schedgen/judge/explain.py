"""What stands behind a finding: its rule, its case and moment, its figures, its equations and their sources."""

from __future__ import annotations

import importlib
import inspect
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.errors import UsageError
from schedgen.judge.finding import Finding, Judgement
from schedgen.judge.names import FINDINGS

if TYPE_CHECKING:
    from schedgen.plan.model import Plan
    from schedgen.simulate.results import Account, Results


@dataclass(frozen=True, slots=True)
class Basis:
    """What a finding is worked out from.

    `equations` are functions under `schedgen.physics`, whose docstrings hold equation, range and source. `case` is the
    case of the simulation, or empty. `figures` are attributes of the account, or of the plan's fall with `fall.` before
    them. `moment` is the account's attribute that says when, or an event.
    """

    equations: tuple[str, ...] = ()
    case: str = ""
    figures: tuple[str, ...] = ()
    moment: str = ""


_CELL = ("pack.terminal_voltage", "cell.charge_after", "cell.relaxed", "cell.charge_felt")
_FALL = ("motion.net_weight", "motion.ballast_weight", "motion.terminal_speed", "seawater.density")
_RELEASE = ("release.parting_time", "release.wire_time_by_charge", "release.wire_time_by_test")
_ENERGY = ("usable_wh", "needed_wh", "reserve_wh", "margin_wh", "cold_loss_wh")
_LASTS = ("empty_at_s", "endurance_after_surface_h")
_CLOCK = ("clock.error", "clock.clock_time")

BASES: dict[str, Basis] = {
    "reserve-short": Basis(_CELL, "worst", _ENERGY, "end"),
    "voltage-too-low": Basis(_CELL, "worst", ("lowest_voltage_v", "lowest_release_voltage_v"), "lowest_voltage_at_s"),
    "beacon-too-short": Basis(_CELL, "worst", _LASTS, "empty_at_s"),
    "backup-surfacing": Basis(_CELL, "backup-late", _LASTS, "surface_s"),
    "early-release": Basis(_CELL, "worst", ("shed_at_s", "release_below_at_s"), "shed_at_s"),
    "protection-trip": Basis(("pack.trip_use", "pack.fuse_use"), "worst", ("peak_current_a",), "peak_current_at_s"),
    "cell-overcurrent": Basis(
        ("pack.largest_current_share",), "worst", ("peak_cell_current_a", "peak_cell_current_c"), "peak_current_at_s"
    ),
    "cell-too-cold": Basis(("nodes.one_node",), "worst", ("cell_temperature_c",)),
    "output-overloaded": Basis(("pack.converter_input_power",), "worst", ("peak_output_a", "peak_rail_a")),
    "supply-mismatch": Basis(("pack.rail_headroom",)),
    "pack-turns-itself-off": Basis((), "worst", ("longest_low_current_s",), "longest_low_current_at_s"),
    "string-loss": Basis((*_CELL, "pack.strings_left"), "string-lost", (*_ENERGY, *_LASTS), "empty_at_s"),
    "load-stuck-on": Basis(_CELL, "stuck:", (*_ENERGY, *_LASTS), "empty_at_s"),
    "armed-idle": Basis(("pack.mean_power",)),
    "release-before-bottom": Basis((*_FALL, *_CLOCK), moment="release"),
    "release-too-late": Basis(("release.all_firing", *_CLOCK), moment="release"),
    "release-interlock": Basis(_CLOCK, moment="splash"),
    "postponed-drop": Basis(moment="release"),
    "release-alone": Basis(),
    "backup-before-primary": Basis(_CLOCK, moment="release"),
    "release-shares": Basis(),
    "release-output-floats": Basis(),
    "release-too-weak": Basis(_RELEASE, "worst", ("lowest_release_voltage_v",), "lowest_release_voltage_at_s"),
    "wire-in-fresh-water": Basis(("release.conductivity",)),
    "trigger-in-fresh-water": Basis(("release.conductivity",)),
    "sinks-after-release": Basis(("buoyancy.lift", *_FALL), figures=("fall.net_lift_n",), moment="release"),
    "floats-with-ballast": Basis(_FALL, figures=("fall.net_weight_n", "fall.sink_speed"), moment="splash"),
    "hard-landing": Basis(_FALL, figures=("fall.landing_speed", "fall.sink_speed"), moment="bottom"),
    "depth-rating": Basis(("seawater.pressure",), figures=("fall.pressure_dbar",), moment="bottom"),
    "antenna-awash": Basis(("buoyancy.lift", "buoyancy.stands_out", "buoyancy.floats_upright"), moment="surface"),
    "camera-cut-while-recording": Basis(),
    "camera-window-too-short": Basis(),
    "camera-in-the-dark": Basis(),
    "card-full": Basis(("storage.written", "storage.full_share", "storage.files")),
    "lights-in-air": Basis((*_FALL, *_CLOCK), moment="splash"),
    "too-hot": Basis(
        ("heat.nusselt_horizontal_cylinder", "heat.wall_cylinder", "heat.solar_gain", "nodes.one_node"),
        "worst", ("heat",),
    ),
    "fan-missing": Basis(("heat.fan_flow",)),
    "beacon-late": Basis((*_FALL, *_CLOCK), moment="surface"),
    "surfacing-in-the-dark": Basis(("daylight.light_between",), moment="surface"),
    "flash-like-distress": Basis(("light.like_distress",)),
    "clock-too-coarse": Basis(("clock.error", "clock.crystal_deviation", "clock.reading_error"), moment="release"),
    "deck-time-unknown": Basis(_CLOCK, moment="splash"),
    "window-outside-dive": Basis(),
    "window-overlap": Basis(),
    "window-empty": Basis(),
    "settings-too-big": Basis(),
    "counter-range": Basis(),
    "bench-disagrees": Basis(),
    "stuck-on-bottom": Basis(("motion.net_weight",), figures=("fall.net_lift_n",), moment="bottom"),
    "transport-limit": Basis(("pack.label",)),
    "guessed-input": Basis(),
    "accept-unused": Basis(),
}  # fmt: skip
"""By finding; one without equations is a rule of the dive file alone."""


@dataclass(frozen=True, slots=True)
class Equation:
    """A function of the physics: its dotted name, and what its docstring says (equation, units, range, source)."""

    name: str
    says: str


@dataclass(frozen=True, slots=True)
class Explanation:
    """One finding explained. `corner` are the inputs of its case that have a tolerance, name to value."""

    finding: Finding
    rule: str
    case: str
    moment: str
    at_s: float | None
    figures: tuple[tuple[str, str], ...]
    corner: tuple[tuple[str, float], ...]
    equations: tuple[Equation, ...]


def chosen(judgement: Judgement, name: str) -> list[Finding]:
    """The findings that NAME or NAME@load means. Raises UsageError for a name that is in no table, or not here."""
    from schedgen.files.trouble import did_you_mean

    bare, _, load = name.partition("@")
    if bare not in FINDINGS:
        raise UsageError(f"There is no finding {bare!r}. {did_you_mean(bare, FINDINGS)}".strip(), "`check` names them.")
    found = [f for f in judgement.findings if f.name == bare and load in ("", f.load)]
    if not found:
        here = ", ".join(dict.fromkeys(f.name for f in judgement.findings)) or "nothing"
        raise UsageError(f"This dive has no {name}: {FINDINGS[bare].when}.", f"It has {here}.")
    return found


def explained(finding: Finding, plan: Plan, results: Results) -> Explanation:
    """All that stands behind a finding of a dive with this plan and simulation."""
    basis = BASES[finding.name]
    case = f"stuck:{finding.load}" if basis.case == "stuck:" else basis.case
    account: Account | None = None
    if case == "worst":
        account = results.worst
    elif case in results.cases:
        account = results.cases[case].account
    ran = results.worst_case if case == "worst" else case
    if account is not None and basis.moment == "lowest_voltage_at_s":
        ran = "voltage"
    if finding.name in ("too-hot",):
        ran = "heat"
    at_s = _at(basis.moment, account, plan)
    return Explanation(
        finding,
        FINDINGS[finding.name].when,
        ran if account is not None else "",
        basis.moment.removesuffix("_at_s").removesuffix("_s").replace("_", " ") if at_s is not None else "",
        at_s,
        tuple(_figures(basis.figures, account, plan)),
        _corner(results, ran) if account is not None else (),
        equations_of(basis.equations),
    )


def _at(moment: str, account: Account | None, plan: Plan) -> float | None:
    if moment in plan.events:
        return float(plan.events[moment].late)
    value = getattr(account, moment, None) if account is not None and moment else None
    return float(value) if value is not None else None


def _figures(names: Sequence[str], account: Account | None, plan: Plan) -> list[tuple[str, str]]:
    out = []
    for name in names:
        inner = name.removeprefix("fall.")
        value = getattr(plan.fall, inner) if inner != name else getattr(account, inner, None)
        if value is not None:
            out.append((inner, _written(value)))
    return out


def _written(value: object) -> str:
    if isinstance(value, float):
        return f"{value:.4g}"
    if isinstance(value, tuple):
        return " .. ".join(_written(part) for part in value)
    if isinstance(value, dict):
        return ", ".join(f"{name} {_written(part)}" for name, part in value.items())
    if hasattr(value, "highest_c"):
        return f"{value.highest_c:.1f} degC"
    return str(value)


def _corner(results: Results, case: str) -> tuple[tuple[str, float], ...]:
    """Inputs of a case that differ from the nominal case's."""
    found, plain = results.cases.get(case), results.cases["nominal"].corner
    if found is None:
        return ()
    return tuple((name, value) for name, value in found.corner.items() if value != plain.get(name))


def equations_of(names: Sequence[str]) -> tuple[Equation, ...]:
    """The docstrings of functions under `schedgen.physics`, without their worked examples."""
    out = []
    for dotted in names:
        module, _, function = dotted.partition(".")
        found = getattr(importlib.import_module(f"schedgen.physics.{module}"), function)
        says = " ".join((inspect.getdoc(found) or "").partition(">>>")[0].split())
        out.append(Equation(f"schedgen.physics.{dotted}", says))
    return tuple(out)
