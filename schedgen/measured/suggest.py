"""What a fit says to write into the dive file: lines to paste. Pure."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING, Any

from schedgen.measured.bench_record import measured_powers
from schedgen.measured.fit import Fit, Sought

if TYPE_CHECKING:
    from schedgen.dive.model import Dive
    from schedgen.measured.bench_record import BenchRecord

MOSTLY = 0.8
"""Loads of this share of the planned energy measured on the bench: then the capacity is what is sought."""
MISFIT_MOST = 2.0
"""Above this the model does not explain the readings, and nothing is suggested."""


def sought_by(bench: BenchRecord | None, by_load_wh: Mapping[str, float], dive: Dive) -> Sought:
    """Capacity where a bench record measured the loads of most of the energy, else the common load factor."""
    if bench is None:
        return "loads"
    measured = measured_powers(dive, bench)
    of_loads = {name: wh for name, wh in by_load_wh.items() if name in dive.loads}
    total = sum(of_loads.values())
    known = sum(wh for name, wh in of_loads.items() if name in measured)
    return "capacity" if total > 0 and known >= MOSTLY * total else "loads"


def suggestion(fit: Fit, dive: Any) -> list[str]:
    """Lines to paste into the dive file; none where the model does not explain the readings."""
    if fit.misfit > MISFIT_MOST:
        return []
    if fit.sought == "capacity":
        low, high = max(fit.value - fit.half_width, 0.01), min(fit.value + fit.half_width, 1.0)
        if low >= high:
            return []
        return ["pack:", f"  health: {low * 100:.3g} % .. {high * 100:.3g} %"]
    lines = ["loads:"]
    share = fit.half_width / fit.value
    for name, load in dive.loads.items():
        power = load.power.nominal * fit.value
        lines += [f"  {name}:", f"    power: {power:.4g} W ± {share * 100:.2g} %"]
        if load.surge is not None:
            surge = load.surge.power.nominal * fit.value
            lines.append(f"    surge: {{power: {surge:.4g} W, for: {load.surge.for_}}}")
    actuators = (("primary", dive.release.primary), ("backup", dive.release.backup))
    fired = [(key, one.power) for key, one in actuators if one is not None and one.fired and one.power is not None]
    if fired:
        lines.append("release:")
    for key, power in fired:
        lines += [f"  {key}:", f"    power: {power.nominal * fit.value:.4g} W ± {share * 100:.2g} %"]
    return lines
