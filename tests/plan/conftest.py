"""Dives built by hand from plain namespaces, so that these tests need neither YAML nor the models."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime
from types import SimpleNamespace
from typing import Any

import pytest

from schedgen.dive.times import Between, Planned, When
from schedgen.files.place import Place
from schedgen.files.quantity import Quantity
from schedgen.plan import compile_plan
from schedgen.plan.assemble import by_output, states, with_edges
from schedgen.plan.model import (
    Bounds,
    Fall,
    Firing,
    Interlocks,
    OutputPlan,
    Plan,
    TrueBounds,
)
from schedgen.plan.overlaps import overlap_notes
from schedgen.plan.spots import Spots
from schedgen.plan.times import Clockwork, Moment
from schedgen.plan.windows import Scheduler

PLANNED = datetime(2027, 4, 19, 6, 0, tzinfo=UTC)
NO_FALL = Fall(*[(0.0, 0.0, 0.0)] * 8)
KINDS = {
    "OUT1": "switched", "OUT2": "switched", "OUT3": "switched", "OUT4": "switched",
    "PWM1": "level", "PWM2": "level", "REL1": "release", "REL2": "release",
}  # fmt: skip
WIRED = {"camera": "OUT1", "lights": "PWM1", "fan": "PWM2", "beacon": "OUT2", "locator": "OUT4"}


def q(nominal: float, low: float | None = None, high: float | None = None) -> Quantity:
    """An exact quantity, or an interval."""
    return Quantity(nominal if low is None else low, nominal, nominal if high is None else high)


def when(text: str) -> When:
    """`bottom`, `bottom+600` or `release-300`: an event and seconds."""
    for sign in "+-":
        base, found, seconds = text.partition(sign)
        if found:
            return When(base, float(sign + seconds))  # type: ignore[arg-type]
    return When(text)  # type: ignore[arg-type]


def load(wired_to: str, role: str, **more: Any) -> SimpleNamespace:
    rest = {"stop": None, "close_before_off": None} | more
    return SimpleNamespace(wired_to=wired_to, resolved_role=role, **rest)


def line(load: str, from_: str | When | None = None, until: str | When | None = None, **more: Any) -> SimpleNamespace:
    """A schedule line: `with_`, `lead`, `trail`, `every`, `for_` (s), `level` (share), `only` (two times)."""
    found: dict[str, Any] = dict.fromkeys(("with_", "lead", "trail", "only", "every", "for_", "level"))
    found |= {key: q(value) if isinstance(value, (int, float)) else value for key, value in more.items()}
    if isinstance(found["only"], tuple):
        found["only"] = Between(when(found["only"][0]), when(found["only"][1]))
    edges = {"from_": from_, "until": until}
    found |= {key: when(value) if isinstance(value, str) else value for key, value in edges.items()}
    return SimpleNamespace(load=load, **found)


def lead_loads() -> dict[str, SimpleNamespace]:
    return {name: load(output, {"lights": "light"}.get(name, name)) for name, output in WIRED.items()}


def board() -> SimpleNamespace:
    """An eight-output board with a crystal of 20 ppm, turnover 25 degC, -0.036 ppm/K2, all exact."""
    return SimpleNamespace(
        board="test board",
        board_type=4711,
        outputs={name: SimpleNamespace(kind=kind, rail="pack") for name, kind in KINDS.items()},
        rails={"pack": SimpleNamespace(voltage=None)},
        clock=SimpleNamespace(
            kind="crystal", tolerance=q(20e-6), turnover=q(25.0), curvature=q(-0.036e-6), over_temperature=None
        ),
    )


def moments(moves: bool = True) -> dict[str, Moment]:
    """The events of the rule tests: splash at 0, bottom 1000.4 / 1100 / 1200.6 s, release at 10 000 s, and so on."""
    return {
        "start": Moment(0, 0, 0),
        "splash": Moment(0, 0, 0),
        "bottom": Moment(1000.4, 1100, 1200.6),
        "release": Moment(10000, 10000, 10000, moves),
        "surface": Moment(11000.7, 11500, 13000.2, moves),
        "end": Moment(20000, 20000, 20000, moves),
    }


class Bench:
    """Schedules compiled against given events, and the builders that tests need."""

    line = staticmethod(line)
    load = staticmethod(load)
    quantity = staticmethod(q)
    when = staticmethod(when)
    planned = PLANNED

    def __init__(self) -> None:
        self.events = moments()
        self.loads = lead_loads()
        self.first_edge_s = 60
        self.release_s = 10000
        self.plus_minus_s = 0.0
        self.error = 0.0
        self.sun: dict[str, datetime | None] = {}

    def run(self, *lines: SimpleNamespace) -> Plan:
        """The plan of these lines, with every note."""
        dive = SimpleNamespace(schedule=list(lines), loads=self.loads)
        spots = Spots({f"schedule.{i}": Place("dive.yaml", 10 + i, 3) for i in range(len(lines))})
        clock = Clockwork(PLANNED, self.plus_minus_s, self.error, lambda which: self.sun.get(which))
        scheduler = Scheduler(
            dive,
            board(),
            self.events,
            clock,
            spots,
            self.first_edge_s,
            self.release_s,  # type: ignore[arg-type]
        )
        pairs = scheduler.compile()
        grouped = by_output([pair.window for pair in pairs])
        outputs = {
            name: OutputPlan(name, KINDS[name], name, "other", windows, (), ())  # type: ignore[arg-type]
            for name, windows in grouped.items()
        }
        plan = plan_with(outputs, self.events, self.first_edge_s, self.release_s)
        notes = [*scheduler.notes, *overlap_notes(pairs, states(plan)[-1][1], spots)]
        return replace(plan, notes=tuple(notes))


def plan_with(outputs: dict[str, OutputPlan], events: dict[str, Moment], first_edge_s: int, release_s: int) -> Plan:
    """A Plan around outputs, with edges; fires REL1 at `release_s` for 480 s, three times, pauses of 300 s."""
    bounds = {name: Bounds(int(m.early), round(m.nominal), -int(-m.late // 1)) for name, m in events.items()}
    plan = Plan(
        name="bench", board="test board", board_type=4711, trigger="water", planned=PLANNED, planned_plus_minus_s=0.0,
        clock_tolerance=0.0, events=bounds,
        true_events={name: TrueBounds(m.early, m.nominal, m.late) for name, m in events.items()},
        first_edge_s=first_edge_s, outputs=outputs, primary=Firing("REL1", release_s, 480, 3, 300), backup=None,
        interlocks=Interlocks(5000, 15000, False, 3.1, 2.95, 3, ("OUT2",)), field_changes=(), fall=NO_FALL,
    )  # fmt: skip
    return with_edges(plan)


@pytest.fixture
def bench() -> Bench:
    return Bench()


def whole_dive(**more: Any) -> SimpleNamespace:
    """A complete dive in a fresh-water lake of 4 degC, one temperature, 300 m."""
    part = SimpleNamespace
    water = [part(depth=q(depth), temperature=q(4.0), salinity=q(0.0)) for depth in (0.0, 300.0)]
    parts: dict[str, Any] = {
        "dive": "lake",
        "start": part(trigger="water", planned=Planned(PLANNED, 0.0), deck_time=None),
        "site": part(latitude=q(46.0), longitude=q(9.0), depth=q(300.0), water=water, air=None),
        "vehicle": part(
            floats=(),
            mass=q(46.0), volume=q(0.0515), weighed_in_water=None, ballast=part(mass=q(16.0), density=q(7200.0)),
            frontal_area=q(0.16), drag_coefficient=part(down=q(1.0), up=q(0.9)),
        ),
        "pack": part(series=3, protection=None, shed=q(3.1), release_below=q(2.95), supplies=None),
        "loads": lead_loads(),
        "schedule": [line("camera", "bottom", "bottom+600")],
        "release": part(
            primary=part(
                kind="hot wire", at=when("bottom+7200"), wired_to="REL1", power=q(4.0), measured_at=None, fire=q(120.0),
                tries=2, pause=q(60.0), wire=None, tested=None, parts_after=None,
            ),
            backup=None, not_before=when("start+3600"), latest=when("start+20000"), without_water=False,
        ),
        "recovery": part(wait=q(36000.0), prefer="either"),
        "field_changes": [],
    }  # fmt: skip
    return SimpleNamespace(**(parts | more))


class Whole:
    """Complete dives compiled with the real physics, and the builders that tests need."""

    line = staticmethod(line)
    load = staticmethod(load)
    quantity = staticmethod(q)
    when = staticmethod(when)
    planned = PLANNED
    dive = staticmethod(whole_dive)
    board = staticmethod(board)

    @staticmethod
    def plan(dive: SimpleNamespace, places: dict[str, Place] | None = None, cell: Any = None) -> Plan:
        return compile_plan(dive, board(), places or {}, cell)  # type: ignore[arg-type]


@pytest.fixture
def whole() -> Whole:
    return Whole()
