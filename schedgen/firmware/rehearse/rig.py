"""What every run with a fault starts from: a short dive on an armed board, its start, and how a run is read. Pure."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from schedgen.firmware.rehearse import flight
from schedgen.firmware.rehearse.rehearsal import seen_edges
from schedgen.firmware.rehearse.scenario import Action, Record, Scenario
from schedgen.firmware.rehearse.target import Hands
from schedgen.firmware.rehearse.verdict import TICK_S, Allowed, judge
from schedgen.settings.eeprom import EepromLayout, layout_of

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.firmware.rehearse.compare import Seen
    from schedgen.plan.model import Plan
    from schedgen.settings import Settings

START_S = 10.25
"""True s after power-on at which a run starts its dive."""
JOURNAL_S = 60.0
"""Interval of journal entries: what a reset may cost."""
HOLD_S = 900.0
"""How long the release is held after a power-on reset under way, and after the bench lead goes."""
LOW_FOR_S = 180.0
WATCHDOG_S = 8.0
AFTER_END_S = 200.0
SURE_V_A_CELL = 3.75


@dataclass(frozen=True)
class Rig:
    """The short dive and the board that flies it. `eeprom` and `row` are those of the armed board."""

    plan: Plan
    board: Board
    settings: Settings
    other: Settings
    """Settings of another dive for the same board, for uploads."""
    eeprom: bytes
    row: bytes
    writes_commit: int = 0
    writes_arm: int = 0
    writes_entry: int = 0
    """Write commands of an upload with its commit, of an arming, of a journal entry."""

    @property
    def hands(self) -> Hands:
        """The board's inputs."""
        return Hands(self.board)

    @property
    def layout(self) -> EepromLayout:
        """Where things lie in the EEPROM."""
        return layout_of(round(self.board.eeprom.size.nominal))

    @property
    def has_water(self) -> bool:
        """Whether the board has a water contact."""
        return self.board.water_contact is not None

    @property
    def pack_v(self) -> float:
        """A pack voltage that gives no cause for anything."""
        return SURE_V_A_CELL * self.plan.interlocks.series

    @property
    def at_s(self) -> float:
        """Planned first firing, elapsed s."""
        at = self.plan.first_firing_s
        return float(self.plan.release_s if at is None else at)

    def begin(self, start_s: float = START_S) -> tuple[list[Action], float]:
        """The actions that start the dive, and when the controller's clock begins by them."""
        actions, zero = flight.start_actions(self.plan, self.board, self.settings.code, start_s)
        return [(0.0, "pin", *self.hands.pack(self.pack_v)), *actions], zero

    def limits(self, lag_s: float = 0.0, held_until_s: float = 0.0) -> Allowed:
        """What holds when resets put the clock `lag_s` behind and a hold ends at `held_until_s` (elapsed, true)."""
        plan = self.plan
        late = max(self.at_s + lag_s, held_until_s) + TICK_S
        firing = plan.primary or plan.backup
        span = firing.last_end_s - firing.at_s if firing else 0
        surfaced = late + span + flight_rise(plan) + lag_s
        return Allowed(
            not_before_s=plan.interlocks.not_before_s - TICK_S,
            no_later_s=late,
            lag_s=lag_s,
            beacon_at_s=(surfaced, surfaced + 600.0),
            over_at_s=plan.end_s + lag_s + TICK_S + 10.0,
            dark_until_s=-0.5,
        )


def flight_rise(plan: Plan) -> float:
    """From the end of the last try to the surface, s."""
    firing = plan.primary or plan.backup
    return float(plan.events["surface"].late - (firing.last_end_s if firing else plan.release_s))


@dataclass(frozen=True)
class Case:
    """One run with a fault: what happens, and what it must show."""

    kind: str
    about: str
    scenario: Scenario
    zero_s: float
    allowed: Allowed
    memory: MemoryCheck | None = None
    plan: Plan | None = None
    """The plan that is flown, where it is not the rig's own."""


@dataclass(frozen=True)
class MemoryCheck:
    """The settings at the end: one of these codes counts, or none where `none` says so; when armed, it is `armed`."""

    codes: Sequence[str] = field(default_factory=tuple)
    none: bool = False


def case(
    rig: Rig,
    kind: str,
    about: str,
    actions: Sequence[Action],
    allowed: Allowed,
    *,
    seed: int = 0,
    start_s: float = START_S,
    begin: bool = True,
    more_s: float = 0.0,
    ppm: float = 0.0,
    crystal_stopped: bool = False,
    internal_error: float = 0.0,
    end_s: float | None = None,
) -> Case:
    """A run of the short dive with `actions` (true s since the start) on top of what starts it."""
    begun, zero = rig.begin(start_s) if begin else ([(0.0, "pin", *rig.hands.pack(rig.pack_v))], start_s)
    moved = [(zero + float(action[0]), *action[1:]) for action in actions]
    until = zero + (rig.plan.end_s + allowed.lag_s + AFTER_END_S + more_s if end_s is None else end_s)
    scenario = Scenario(
        rig.eeprom.hex(),
        rig.row.hex(),
        until,
        tuple(sorted([*begun, *moved], key=lambda one: float(one[0]))),
        seed,
        ppm,
        0.4,
        crystal_stopped,
        internal_error,
    )
    return Case(kind, about, scenario, zero, allowed)


def verdict(rig: Rig, one: Case, record: Record) -> list[str]:
    """What was wrong with a run; empty when it ended well."""
    from schedgen.firmware.rehearse.fault_memory import memory_wrong

    seen: dict[str, Seen] = seen_edges(record, rig.board, one.zero_s)
    wrong = judge(one.plan or rig.plan, seen, record.simulated_s - one.zero_s, one.allowed, record)
    if one.memory is not None:
        wrong += memory_wrong(rig, one.memory, record)
    return wrong
