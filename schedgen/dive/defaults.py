"""What a dive file leaves out: what is assumed for it, and which inputs are guesses."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from pydantic import BaseModel

from schedgen.files.quantity import Quantity, write_value
from schedgen.files.trouble import listing

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.dive.model import Dive

CHARGE = Quantity(0.95, 0.95, 0.95, "exact", "95 %", "%")
HEALTH = Quantity(0.60, 0.70, 0.80, "range", "60 % .. 80 %", "%")
RESERVE = Quantity(0.20, 0.20, 0.20, "exact", "20 %", "%")
"""Common practice, no source: the last fifth of a pack is where models and gauges are at their worst."""
DRAG = Quantity(0.6, 1.05, 1.5, "range", "0.6 .. 1.5")
SHED_ABOVE_CUT_V = 0.3
RELEASE_ABOVE_CUT_V = 0.15


def guessed_inputs(dive: Dive) -> list[str]:
    """Dotted paths of every value written with `about`, and of those guessed because they were left out."""
    found = [path for path, value in _quantities(dive, ()) if value.guessed]
    if dive.pack.health is None:
        found.append("pack.health")
    if dive.vehicle.drag_coefficient is None:
        found += ["vehicle.drag_coefficient.down", "vehicle.drag_coefficient.up"]
    return found


def assumptions(dive: Dive, cell: Cell | None = None) -> list[tuple[str, str]]:
    """(dotted path, what is assumed) for every optional value that was left out and has a consequence."""
    return [*_pack(dive, cell), *_surroundings(dive), *_loads(dive), *_release(dive), *_recovery(dive)]


def _pack(dive: Dive, cell: Cell | None) -> Iterator[tuple[str, str]]:
    pack = dive.pack
    if pack.charge is None:
        yield "pack.charge", f"{CHARGE.text} when the clock starts"
    if pack.health is None:
        yield "pack.health", f"{HEALTH.text} of the label, guessed"
    if pack.reserve is None:
        yield "pack.reserve", f"{RESERVE.text} unspent at the end"
    cut = pack.protection.low_cut if pack.protection else None
    if cut is None:
        whose = write_value(cell.cut_off.nominal, "V") if cell else "the cut-off"
        yield "pack.protection.low_cut", f"{whose} for each cell, the cut-off of the cell"
    if cut is None and cell is not None:
        cut = cell.cut_off
    for key, above in (("shed", SHED_ABOVE_CUT_V), ("release_below", RELEASE_ABOVE_CUT_V)):
        if getattr(pack, key) is None:
            value = f"{write_value(round(cut.nominal + above, 6), 'V')} for each cell, " if cut else ""
            yield f"pack.{key}", f"{value}low_cut + {write_value(above, 'V')}"
    if pack.charged is None:
        yield "pack.charged", "just before the start: no self-discharge"


def _surroundings(dive: Dive) -> Iterator[tuple[str, str]]:
    site, vehicle = dive.site, dive.vehicle
    if site.air is None:
        yield "site.air", "as warm as the water at the surface, no sun"
    deepest = site.water[-1].depth
    if deepest.nominal < site.depth.high:
        yield "site.water", f"held as at {deepest} down to the bottom"
    if vehicle.drag_coefficient is None:
        yield "vehicle.drag_coefficient", f"{DRAG.text}, guessed"


def _loads(dive: Dive) -> Iterator[tuple[str, str]]:
    named = [name for name, load in dive.loads.items() if load.role is None]
    for name in named:
        yield f"loads.{name}.role", f"{dive.loads[name].resolved_role}, from its name"
    for name, load in dive.loads.items():
        if load.resolved_role != "camera":
            continue
        for key, text in (("ready_after", "0 s"), ("close_before_off", "0 s"), ("surge", "none")):
            if getattr(load, key) is None:
                yield f"loads.{name}.{key}", text
    graded = [str(i + 1) for i, line in enumerate(dive.schedule) if line.level is None and _graded(dive, line.load)]
    if graded:
        yield "schedule", f"level 100 % in entry {listing(graded, 'and')}"


def _graded(dive: Dive, name: str) -> bool:
    return any(line.load == name and line.level is not None for line in dive.schedule)


def _release(dive: Dive) -> Iterator[tuple[str, str]]:
    for key, actuator in (("primary", dive.release.primary), ("backup", dive.release.backup)):
        if actuator is None or not actuator.fired:
            continue
        if actuator.measured_at is None:
            yield f"release.{key}.measured_at", "the nominal pack voltage"
        if actuator.pause is None and actuator.tries > 1:
            yield f"release.{key}.pause", "0 s"


def _recovery(dive: Dive) -> Iterator[tuple[str, str]]:
    if "prefer" not in dive.recovery.model_fields_set:
        yield "recovery.prefer", "either"


def _quantities(value: Any, where: tuple[str, ...]) -> Iterator[tuple[str, Quantity]]:
    if isinstance(value, Quantity):
        yield ".".join(where), value
    elif isinstance(value, BaseModel):
        for name, field in type(value).model_fields.items():
            yield from _quantities(getattr(value, name), (*where, field.alias or name))
    elif isinstance(value, dict):
        for name, item in value.items():
            yield from _quantities(item, (*where, str(name)))
    elif isinstance(value, list):
        for index, item in enumerate(value):
            yield from _quantities(item, (*where, str(index)))
