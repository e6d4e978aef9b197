"""The rehearsal of one dive: image and settings on the simulated part, start to end plus recovery, held to the Plan."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from itertools import pairwise
from typing import TYPE_CHECKING, Any

from schedgen.firmware.rehearse import flight as flights
from schedgen.firmware.rehearse import speech
from schedgen.firmware.rehearse.compare import Comparison, Seen, compare
from schedgen.firmware.rehearse.energy import Draw, draw_of, flown
from schedgen.firmware.rehearse.scenario import Record, Target
from schedgen.firmware.rehearse.supervisor import Simulator
from schedgen.firmware.rehearse.target import LIGHT, target_of
from schedgen.link.messages import REASONS

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.load import LoadedDive
    from schedgen.plan.model import Plan

Progress = Callable[[int, int], None]
WRITING_S = 0.001
"""Half a period of dimming: a compare value counts from the next period on."""
BAUD_ERROR = 0.025
"""Most that both ends of a serial line may differ: common practice, half a bit over ten."""


@dataclass(frozen=True, slots=True)
class Build:
    """What `compile` made, as the rehearsal needs it: flash content, processor clock, fuses by number, EEPROM image."""

    flash: bytes
    hertz: int
    eeprom: bytes
    code: str
    fuses: bytes = b""


@dataclass
class Rehearsal:
    """What a rehearsal found. Times elapsed s unless the name says otherwise."""

    comparison: Comparison
    record: Record
    draw: Draw
    planned_s: int | None
    seen_s: float | None
    lower_s: int
    upper_s: int
    energy_plan_wh: float
    energy_edges_wh: float
    quiet_awake: float | None = None
    """Share of the time that the processor works while nothing flashes and nobody talks; None: no such time."""
    troubles: list[str] = field(default_factory=list)
    """What besides edges was not as it has to be."""

    @property
    def passed(self) -> bool:
        """Whether all of it was as planned."""
        return self.comparison.agrees and not self.troubles

    @property
    def speed(self) -> float:
        """Simulated seconds a second of waiting."""
        return self.record.simulated_s / max(self.record.wall_s, 1e-9)

    def as_json(self) -> dict[str, Any]:
        """The object that `--json` prints, without the faults."""
        found = self.comparison
        return {
            "passed": self.passed,
            "simulated_s": round(self.record.simulated_s, 3),
            "wall_s": round(self.record.wall_s, 3),
            "busy_s": round(self.record.busy_s, 3),
            "edges": {
                "expected": found.expected,
                "seen": found.seen,
                "missed": found.missed,
                "extra": found.extra,
                "worst_error_s": round(found.worst_error_s, 4),
                "late": found.late,
                "worst_length_s": round(found.worst_length_s, 5),
            },
            "awake_fraction": self.draw.awake,
            "awake_fraction_quiet": self.quiet_awake,
            "idle_fraction": self.draw.idle,
            "controller_ua": {"low": self.draw.low_a * 1e6, "high": self.draw.high_a * 1e6},
            "energy_plan_wh": self.energy_plan_wh,
            "energy_edges_wh": self.energy_edges_wh,
            "release": {
                "planned_s": self.planned_s,
                "seen_s": self.seen_s,
                "lower_s": self.lower_s,
                "upper_s": self.upper_s,
            },
            "remarks": [*self.troubles, *found.remarks],
        }


def seen_edges(record: Record, board: Board, zero_s: float) -> dict[str, Seen]:
    """By output, (elapsed s, level) of every edge; `zero_s` is when the controller's clock began."""
    edges: dict[str, list[tuple[float, int]]] = {name: [] for name in board.outputs}
    for at, name, level in record.edges:
        if name != LIGHT:
            edges[name].append((at / 1e6 - zero_s, level))
    return {name: _settled(found) if board.outputs[name].kind == "level" else found for name, found in edges.items()}


def _settled(edges: Seen) -> Seen:
    """Edges of a dimmed output without what its timer's registers say while they are written one after the other."""
    settled: list[tuple[float, int]] = []
    for at, level in edges:
        if settled and at - settled[-1][0] < WRITING_S:
            settled[-1] = (settled[-1][0], level)
        else:
            settled.append((at, level))
    before = [0, *(level for _, level in settled)]
    return [edge for edge, last in zip(settled, before, strict=False) if edge[1] != last]


def troubles_of(record: Record, board: Board, plan: Plan) -> list[str]:
    """What besides edges is not as it has to be: not armed, resets, rules of the hardware, the serial speed."""
    troubles = []
    answers = list(speech.answers(record.said))
    if not any(name == "arm" for _, name, _ in answers):
        refusals = [REASONS[values.number("reason")] for _, name, values in answers if name == "refused"]
        troubles.append(f"the board was not armed ({', '.join(refusals) or 'it did not answer'})")
    troubles += [f"it was reset ({cause}) at {at:.1f} s" for at, cause in record.resets if cause != "power-on"]
    troubles += [f"{rule} ({count} times)" for rule, count in record.broken_rules.items()]
    baud = board.serial.baud
    if not record.baud or abs(record.baud / baud - 1) > BAUD_ERROR:
        troubles.append(f"the serial line runs at {record.baud:.0f} bit/s, not {baud}")
    return troubles


def first_command(plan: Plan, seen: Mapping[str, Seen]) -> float | None:
    """When the first release output went on, elapsed s."""
    outputs = {firing.output for firing in (plan.primary, plan.backup) if firing}
    return min((at for name in outputs for at, level in seen.get(name, ()) if level), default=None)


def rehearse(loaded: LoadedDive, build: Build, progress: Progress = lambda done, total: None) -> Rehearsal:
    """Fly `loaded` with image and settings of `build`. Raises `UsageError` without a simulator, `SimulatorFailed`."""
    plan, board = loaded.plan(), loaded.board
    nominal = loaded.simulate().cases["nominal"]
    flying = flights.flight(plan, board, build.eeprom, build.code, flights.volts_of(nominal.trace))
    total = round(flying.scenario.end_s)
    with Simulator(target_of(board, build.flash, build.hertz, build.fuses)) as simulator:
        record = simulator.play(flying.scenario, lambda done: progress(round(done), total))
    progress(total, total)
    return judged(loaded, record, flying.zero_s, nominal.account.needed_wh)


def judged(loaded: LoadedDive, record: Record, zero_s: float, planned_wh: float) -> Rehearsal:
    """What a record of the unchanged dive shows."""
    from schedgen.simulate import simulate

    plan, board = loaded.plan(), loaded.board
    seen = seen_edges(record, board, zero_s)
    until = record.simulated_s - zero_s
    happened = simulate(loaded.dive, board, loaded.cell, flown(plan, seen, until))
    return Rehearsal(
        comparison=compare(plan, seen, until),
        record=record,
        draw=draw_of(record, board),
        planned_s=plan.first_firing_s,
        seen_s=first_command(plan, seen),
        lower_s=plan.interlocks.not_before_s,
        upper_s=plan.interlocks.latest_s,
        energy_plan_wh=planned_wh,
        energy_edges_wh=happened.cases["nominal"].account.needed_wh,
        quiet_awake=quiet_awake(plan, record, zero_s),
        troubles=troubles_of(record, board, plan),
    )


def quiet_awake(plan: Plan, record: Record, zero_s: float) -> float | None:
    """Share of the time awake over the samples in which no flash pattern runs and the bench lead is off."""
    flashing = [
        (on.start_s, on.stop_s) for output in plan.outputs.values() for on in output.on_times if on.flash is not None
    ]
    awake = whole = 0.0
    for (begin, before), (end, after) in pairwise(record.samples):
        first, last = begin - zero_s - 1, end - zero_s + 1
        if begin < flights.UNPLUG_S + 60 or any(a < last and (b is None or b > first) for a, b in flashing):
            continue
        awake += after - before
        whole += end - begin
    return awake / whole if whole else None


def target_for(board: Board, build: Build) -> Target:
    """The target of a build."""
    return target_of(board, build.flash, build.hertz, build.fuses)
