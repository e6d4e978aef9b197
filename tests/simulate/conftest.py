"""Dives, boards, cells and plans built by hand, so that this room's tests need no other room to be right."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import UTC, datetime
from types import SimpleNamespace as Bag
from typing import Any

import pytest

from schedgen.files.quantity import Quantity
from schedgen.physics.cell import CellTables, Curves
from schedgen.plan.model import Bounds, Fall, Firing, Flash, Interlocks, OnTime, OutputPlan, Plan, TrueBounds


def q(low: float, nominal: float | None = None, high: float | None = None) -> Quantity:
    """An interval; one number is exact, two are value and half-width, three are the bounds."""
    if nominal is None:
        return Quantity(low, low, low)
    if high is None:
        return Quantity(low - nominal, low, low + nominal)
    return Quantity(low, nominal, high)


def make_cell(**changes: Any) -> Any:
    """A cell of round numbers: 3 Ah, 3.0 V empty to 4.2 V full in a straight line, 30 and 15 milliohm."""
    curves: dict[str, Any] = {
        "charge": [0.0, 1.0],
        "open_circuit_v": [3.0, 4.2],
        "resistance_charge": [0.0, 1.0],
        "temperature_c": [0.0, 25.0],
        "resistance_ohm": [[0.06, 0.06], [0.03, 0.03]],
        "relaxation_ohm": [[0.03, 0.03], [0.015, 0.015]],
        "time_constant_s": 60.0,
        "cold_c": [0.0, 25.0],
        "cold_nominal": [1.0, 1.0],
        "cold_pessimistic": [0.8, 1.0],
    }
    curves.update({key: changes.pop(key) for key in list(changes) if key in curves})
    base: dict[str, Any] = {
        "chemistry": "nmc",
        "capacity": q(3.0),
        "nominal": q(3.6),
        "cut_off": q(2.5),
        "full": q(4.2),
        "resistance_spread": q(0.0),
        "self_discharge": q(0.01, 0.02, 0.03),
        "mass": q(0.048),
        "tables": CellTables(Curves(**curves)),
    }
    return Bag(**{**base, **changes})


def make_flat_cell(volts: float = 3.6, ohm: float = 1e-9) -> Any:
    """A cell whose voltage hardly falls and which hardly resists: for closed forms."""
    return make_cell(
        open_circuit_v=[volts - 1e-9, volts],
        resistance_ohm=[[ohm, ohm]] * 2,
        relaxation_ohm=[[ohm, ohm]] * 2,
        cold_pessimistic=[1.0, 1.0],
    )


def make_rail(kind: str = "direct", **changes: Any) -> Any:
    base = {
        "kind": kind,
        "voltage": None,
        "efficiency": None,
        "idle": None,
        "dropout": None,
        "limit": q(10.0),
        "input": None,
    }
    return Bag(**{**base, **changes})


def make_board(rails: Mapping[str, Any] | None = None, outputs: Mapping[str, str] | None = None, **changes: Any) -> Any:
    """A board that draws nothing itself. `outputs` maps each output to its rail."""
    outputs = outputs or dict.fromkeys(("OUT1", "OUT2", "OUT3", "PWM1", "REL1", "REL2"), "pack")
    base = {
        "supply": Bag(voltage=q(5.0, 10.0, 20.0), rail="pack", asleep=q(0.0), awake=q(0.0)),
        "rails": {"pack": make_rail(), **(rails or {})},
        "outputs": {name: Bag(rail=rail, limit=q(5.0)) for name, rail in outputs.items()},
        "pack_sense": None,
    }
    return Bag(**{**base, **changes})


def make_load(
    output: str, power: Quantity, role: str = "other", surge: Any = None, power_at: Any = (), **more: Any
) -> Any:
    return Bag(
        wired_to=output, power=power, resolved_role=role, surge=surge, power_at=list(power_at), heat_limit=None, **more
    )


def make_dive(loads: Mapping[str, Any], **changes: Any) -> Any:
    """A dive in water of 25 degC everywhere, so that the cells are as on their label."""
    pack = {
        "series": 3,
        "parallel": 2,
        "charge": q(1.0),
        "health": q(1.0),
        "reserve": q(0.2),
        "protection": None,
        "supplies": None,
        "charged": None,
    }
    pack.update(changes.pop("pack", {}))
    primary = {"kind": "burn wire", "power": q(4.0), "measured_at": q(10.8), "wired_to": "REL1", "parts_after": None}
    primary.update(changes.pop("primary", {}))
    base: dict[str, Any] = {
        "site": Bag(
            depth=q(1000.0),
            water=[Bag(depth=q(0.0), temperature=q(25.0)), Bag(depth=q(1000.0), temperature=q(25.0))],
            air=Bag(temperature=q(25.0), sun=False),
            latitude=57.0,
        ),
        "vehicle": Bag(housing=None),
        "pack": Bag(**pack),
        "loads": dict(loads),
        "release": Bag(primary=Bag(**primary), backup=None),
        "recovery": Bag(wait=q(36000.0)),
    }
    return Bag(**{**base, **changes})


def on(start: int, stop: int | None, level: int = 100, flash: tuple[int, int] | None = None) -> OnTime:
    return OnTime(start, stop, level, None if flash is None else Flash(*flash))


def make_plan(
    on_times: Mapping[str, tuple[str, tuple[OnTime, ...]]],
    release: int = 36000,
    end: int = 86400,
    clock: float = 0.0,
    firing: Firing | None = None,
    backup: Firing | None = None,
    down: tuple[float, float, float] = (1000.0, 1000.0, 1000.0),
    up: tuple[float, float, float] = (1000.0, 1000.0, 1000.0),
    parting: tuple[float, float, float] = (0.0, 0.0, 0.0),
    trigger: Any = "water",
    deck: tuple[float, float, float] = (0.0, 0.0, 0.0),
    shed: float = 2.8,
) -> Plan:
    """A plan in which `on_times` maps each output to its load and on-times; the release fires at `release`."""
    firing = firing or Firing("REL1", release, 60, 1, 0)
    true = {
        "start": TrueBounds(0.0, 0.0, 0.0),
        "splash": TrueBounds(*deck),
        "bottom": TrueBounds(*(d + t for d, t in zip(deck, down, strict=True))),
        "release": TrueBounds(release / (1 + clock), float(release), release / (1 - clock)),
        "surface": TrueBounds(
            release / (1 + clock) + parting[0] + up[0],
            release + parting[1] + up[1],
            release / (1 - clock) + parting[2] + up[2],
        ),
        "end": TrueBounds(float(end), float(end), float(end)),
    }
    events = {name: Bounds(int(t.early), int(t.nominal), int(t.late)) for name, t in true.items()}
    triple = (0.0, 0.0, 0.0)
    return Plan(
        name="hand-made",
        board="bench",
        board_type=1,
        trigger=trigger,
        planned=datetime(2027, 4, 19, 6, tzinfo=UTC),
        planned_plus_minus_s=0.0,
        clock_tolerance=clock,
        events=events,
        true_events=true,
        first_edge_s=0,
        outputs={
            output: OutputPlan(output, "switched", load, "other", (), times, ())
            for output, (load, times) in on_times.items()
        },
        primary=firing,
        backup=backup,
        interlocks=Interlocks(3600, 80000, False, shed, 2.7, 3, ()),
        field_changes=(),
        fall=Fall(triple, triple, down, up, triple, triple, (1010.0, 1010.0, 1010.0), triple),
    )


@pytest.fixture(name="make")
def _make() -> Callable[..., Any]:
    """The builders of this file in one bag."""
    return Bag(
        q=q,
        cell=make_cell,
        flat_cell=make_flat_cell,
        rail=make_rail,
        board=make_board,
        load=make_load,
        dive=make_dive,
        on=on,
        plan=make_plan,
        bag=Bag,
        firing=Firing,
    )  # type: ignore[return-value]
