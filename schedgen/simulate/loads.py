"""Plan to electrical demand: what each consumer takes in each stretch between two edges.

Edges are on the controller's clock and the same for every run, so the demand is one table; a run multiplies it by its
own powers. Three kinds of demand reach the pack: power (W, behind a converter or a load that keeps its power),
current (A, behind a linear regulator, idle draws) and conductance (1/ohm, a wire straight on the pack).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from schedgen.files.quantity import Quantity
from schedgen.plan.mechanism import nominal_pack_v
from schedgen.plan.model import Firing, OnTime, Plan
from schedgen.simulate.inputs import Input, fixed, uncertain
from schedgen.simulate.results import BACKUP, CONTROLLER, PRIMARY, Floats

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board, Rail
    from schedgen.dive.loads import Load
    from schedgen.dive.loads import Surge as Inrush
    from schedgen.dive.model import Dive

RETRY_S = 6 * 3600
"""After the last try, one further try every 6 h until `end`."""
AWAKE_TICK = 0.02
"""Share of the time the controller is awake for its once-a-second turn: a bound of our own firmware, no source."""

Kind = Literal["power", "current", "conductance"]


@dataclass(frozen=True, slots=True, eq=False)
class Consumer:
    """Something that draws: `factor` times its input(s), on where `on` (segments,) is above 0.

    `kind` is how the pack sees it. `mean` is the share of the time it is lit (a flash below 1), `peak` 1 wherever it is
    on at all. `value` and `divide` name inputs: the demand is value / divide (an efficiency), or for a wire
    value / (volts x volts). `quiet` is True for what still runs while the board measures with cameras and lights off.
    """

    account: str
    output: str
    rail: str
    kind: Kind
    value: str
    divide: str
    volts: str
    scale: float
    mean: Floats
    peak: Floats
    quiet: bool
    firing: bool = False
    used: bool = True
    """False for one that the plan never switches on: a load at full power, kept for the case that it is stuck on."""

    @property
    def blinks(self) -> bool:
        """Whether a flash pattern runs in some of its segments."""
        return bool((self.peak > self.mean).any())


@dataclass(frozen=True, slots=True, eq=False)
class Surge:
    """A load that takes `power` for `lasts` s (inputs) after each switch-on. `begun` (segments,): elapsed s of the
    switch-on that the segment belongs to, -inf while off."""

    load: str
    output: str
    power: str
    lasts: str
    begun: Floats
    starts: Floats


@dataclass(frozen=True, slots=True, eq=False)
class Demand:
    """All demand of a plan. `edges` (segments + 1,) elapsed s, the last one infinite: the last segment is what goes on
    until the pack is empty."""

    edges: Floats
    consumers: tuple[Consumer, ...]
    surges: tuple[Surge, ...]
    inputs: tuple[Input, ...]
    full: Mapping[str, str]
    """By load: name of the input with its power steadily on at 100 %."""
    levels: Mapping[str, Floats]
    """By output: level in percent in each segment, 0 while off (fan speed, for heat)."""
    flashing: bool


def firing_times(firing: Firing, end_s: int) -> list[tuple[int, int]]:
    """Every stretch in which a release output is powered: the tries, then one of `fire_s` every 6 h until `end`."""
    step = firing.fire_s + firing.pause_s
    times = [(firing.at_s + k * step, firing.at_s + k * step + firing.fire_s) for k in range(firing.tries)]
    again = firing.last_end_s + RETRY_S
    while again < end_s:
        times.append((again, min(again + firing.fire_s, end_s)))
        again += RETRY_S
    return times


def _all_edges(plan: Plan, firings: Mapping[str, list[tuple[int, int]]]) -> Floats:
    end = plan.events["end"].late
    marks: set[float] = {0.0, float(end)}
    for output in plan.outputs.values():
        for on in output.on_times:
            marks.add(float(on.start_s))
            if on.stop_s is not None:
                marks.add(float(on.stop_s))
    for stretches in firings.values():
        for stretch in stretches:
            marks.update(map(float, stretch))
    return np.array([*sorted(marks), np.inf])


class _Table:
    """Marks stretches of time in arrays over the segments."""

    def __init__(self, edges: Floats) -> None:
        self.edges = edges
        self.size = len(edges) - 1
        self.at = {float(edge): i for i, edge in enumerate(edges)}

    def span(self, on: OnTime) -> slice:
        last = self.size if on.stop_s is None else self.at[float(on.stop_s)]
        return slice(self.at[float(on.start_s)], last)


def own_volts(rail: Rail) -> float:
    """The nominal voltage of a rail [V] that is not the pack itself."""
    assert rail.voltage is not None
    return rail.voltage.nominal


def power_at_level(load: Load, level: int) -> Quantity:
    """Power of a load at a level of whole percent: level x power, or its `power_at` table, linear between the rows,
    from 0 at level 0 to `power` at level 100 % where the table does not say."""
    rows = sorted(load.power_at or (), key=lambda row: float(row.level.nominal))
    if level >= 100 and not any(row.level.nominal >= 1.0 for row in rows):
        return Quantity(load.power.low, load.power.nominal, load.power.high)
    share = level / 100.0
    if not rows:
        return Quantity(load.power.low * share, load.power.nominal * share, load.power.high * share)
    at = [0.0, *(float(row.level.nominal) for row in rows)]
    powers = [(0.0, 0.0, 0.0), *((row.power.low, row.power.nominal, row.power.high) for row in rows)]
    if at[-1] < 1.0:
        at.append(1.0)
        powers.append((load.power.low, load.power.nominal, load.power.high))
    low, nominal, high = (float(np.interp(share, at, [row[i] for row in powers])) for i in range(3))
    return Quantity(low, nominal, high)


class DemandBuilder:
    """Collects consumers and inputs for one dive, board and plan."""

    def __init__(self, dive: Dive, board: Board, plan: Plan, nominal_pack_v: float) -> None:
        self.dive, self.board, self.plan = dive, board, plan
        self.nominal_pack_v = nominal_pack_v
        self.inputs: dict[str, Input] = {}
        self.consumers: list[Consumer] = []
        self.surges: list[Surge] = []
        self.full: dict[str, str] = {}
        self.levels: dict[str, Floats] = {}
        self.flashing = False
        end = plan.events["end"].late
        self.firings = {
            name: firing_times(firing, end)
            for name, firing in ((PRIMARY, plan.primary), (BACKUP, plan.backup))
            if firing is not None
        }
        self.table = _Table(_all_edges(plan, self.firings))

    def add(self, item: Input) -> str:
        """Registers an input once and gives its name."""
        self.inputs.setdefault(item.name, item)
        return item.name

    def behind(self, rail_name: str) -> tuple[Kind, str, float]:
        """How the pack sees a load of 1 W on a rail: kind, name of the efficiency input, scale."""
        rail = self.board.rails[rail_name]
        if rail.kind == "direct":
            return "power", "", 1.0
        if rail.kind == "linear":
            return "current", "", 1.0 / own_volts(rail)
        assert rail.efficiency is not None  # the board file gives it for every converter
        return "power", self.add(uncertain(f"board.rails.{rail_name}.efficiency", rail.efficiency, "low")), 1.0

    def load(self, output: str, name: str, on_times: tuple[OnTime, ...]) -> None:
        """One load on one output: a consumer for each level that the plan uses."""
        load = self.dive.loads[name]
        rail = self.board.outputs[output].rail
        kind, divide, scale = self.behind(rail)
        written = self.add(uncertain(f"loads.{name}.power", load.power, "high"))
        quiet = load.resolved_role not in ("camera", "light")
        levels = np.zeros(self.table.size)
        for level in sorted({100, *(on.level for on in on_times)}):  # 100 also when unused: for a load stuck on
            value = written
            if level != 100 or (load.power_at and load.power_at[-1].level.nominal >= 1.0):
                power = power_at_level(load, level)
                value = self.add(uncertain(f"loads.{name}.power at {level} %", power, "high", cause=written))
            if level == 100:
                self.full[name] = value
            mean, peak = np.zeros(self.table.size), np.zeros(self.table.size)
            for on in on_times:
                if on.level == level:
                    span = self.table.span(on)
                    levels[span] = level
                    peak[span] = 1.0
                    mean[span] = 1.0 if on.flash is None else on.flash.on_64 / on.flash.every_64
                    self.flashing |= on.flash is not None
            used = bool(peak.any())
            self.consumers.append(
                Consumer(name, output, rail, kind, value, divide, "", scale, mean, peak, quiet, used=used)
            )
        self.levels[output] = levels
        if load.surge is not None:
            self.surge(output, name, load.surge, on_times)

    def surge(self, output: str, name: str, surge: Inrush, on_times: tuple[OnTime, ...]) -> None:
        """The inrush of a load at each switch-on; a change of level alone is none."""
        begun = np.full(self.table.size, -np.inf)
        starts: list[float] = []
        ordered = sorted(on_times, key=lambda on: on.start_s)
        for before, on in zip((None, *ordered), ordered, strict=False):
            if before is None or before.stop_s != on.start_s:
                starts.append(float(on.start_s))
            begun[self.table.span(on)] = starts[-1]
        self.surges.append(
            Surge(
                name,
                output,
                self.add(uncertain(f"loads.{name}.surge.power", surge.power, "high")),
                self.add(uncertain(f"loads.{name}.surge.for", surge.for_, "high")),
                begun,
                np.array(starts),
            )
        )

    def release(self, account: str, firing: Firing) -> None:
        """A release actuator while it fires: a wire or coil is a resistor, a motor takes its stalled power."""
        actuator = self.dive.release.primary if account == PRIMARY else self.dive.release.backup
        if actuator is None or actuator.power is None:
            return
        rail_name = self.board.outputs[firing.output].rail
        rail = self.board.rails[rail_name]
        kind, divide, scale = self.behind(rail_name)
        where = "release.primary" if account == PRIMARY else "release.backup"
        value = self.add(uncertain(f"{where}.power", actuator.power, "high"))
        volts = ""
        if actuator.kind != "motor":
            v = self.nominal_pack_v
            default = Quantity(v, v, v)
            volts = self.add(uncertain(f"{where}.measured_at", actuator.measured_at or default, "low"))
            if rail.kind == "direct":
                kind = "conductance"
            else:
                scale *= own_volts(rail) ** 2
        on = np.zeros(self.table.size)
        for start, stop in self.firings[account]:
            on[self.table.at[float(start)] : self.table.at[float(stop)]] = 1.0
        self.consumers.append(
            Consumer(account, firing.output, rail_name, kind, value, divide, volts, scale, on, on, False, True)
        )

    def always(self, kind: Kind, value: str, scale: float, divide: str = "", share: Floats | None = None) -> None:
        """Something of the board itself that draws all the time, or for a share of it."""
        on = np.ones(self.table.size) if share is None else share
        self.consumers.append(Consumer(CONTROLLER, "", "", kind, value, divide, "", scale, on, on, True))

    def controller(self) -> None:
        """Controller awake and asleep, idle draw of the rails, the battery divider."""
        supply = self.board.supply
        rail = self.board.rails[supply.rail]
        awake = np.full(self.table.size, AWAKE_TICK)
        for output in self.plan.outputs.values():
            for on in output.on_times:
                if on.flash is not None:
                    awake[self.table.span(on)] = 1.0
        for consumer in self.consumers:
            if consumer.firing:
                awake[consumer.peak > 0] = 1.0
        kind: Kind = "current"
        divide, scale = "", 1.0
        if rail.kind in ("buck", "boost"):
            kind, divide, _ = self.behind(supply.rail)
            scale = own_volts(rail)
        for name, share in (("awake", awake), ("asleep", 1.0 - awake)):
            value = self.add(uncertain(f"board.supply.{name}", getattr(supply, name), "high"))
            self.always(kind, value, scale, divide, share)
        for rail_name, each in self.board.rails.items():
            if each.idle is not None and each.idle.high > 0:
                self.always("current", self.add(uncertain(f"board.rails.{rail_name}.idle", each.idle, "high")), 1.0)
        sense = self.board.pack_sense
        if sense is not None:
            ohms = sense.top.nominal + sense.bottom.nominal
            self.always("conductance", self.add(fixed("board.pack_sense", 1.0 / ohms)), 1.0)

    def build(self) -> Demand:
        """The finished table."""
        for output in self.plan.outputs.values():
            if output.role not in ("release", "stop") and output.load in self.dive.loads and output.on_times:
                self.load(output.output, output.load, output.on_times)
        for account, firing in ((PRIMARY, self.plan.primary), (BACKUP, self.plan.backup)):
            if firing is not None:
                self.release(account, firing)
        self.controller()
        return Demand(
            self.table.edges,
            tuple(self.consumers),
            tuple(self.surges),
            tuple(self.inputs.values()),
            self.full,
            self.levels,
            self.flashing,
        )


def build_demand(dive: Dive, board: Board, plan: Plan, cell: Cell) -> Demand:
    """Demand of a plan on a board. Reads every output's `on_times`, the firings, the controller's own draw."""
    return DemandBuilder(dive, board, plan, nominal_pack_v(dive, cell)).build()
