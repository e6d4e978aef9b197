"""Runs with faults: all kinds in turn, each from the seed, so that one number and a seed give the same run again."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from random import Random
from typing import TYPE_CHECKING, Any

from schedgen.firmware.rehearse import fault_memory, fault_outside, fault_resets, speech
from schedgen.firmware.rehearse.rehearsal import Build, target_for
from schedgen.firmware.rehearse.rig import Case, Rig, verdict
from schedgen.firmware.rehearse.scenario import Scenario
from schedgen.firmware.rehearse.short_dive import shortened
from schedgen.firmware.rehearse.supervisor import Simulator, SimulatorFailed
from schedgen.settings.eeprom import ERASED

if TYPE_CHECKING:
    from schedgen.load import LoadedDive
    from schedgen.plan.model import Plan

Kind = Callable[[Rig, Random], Iterator[Case]]
KINDS: tuple[Kind, ...] = (
    fault_resets.random_resets,
    fault_resets.edge_resets,
    fault_resets.pattern_resets,
    fault_resets.storms,
    fault_memory.cut_commit,
    fault_memory.cut_arming,
    fault_memory.cut_journal,
    fault_memory.flipped_bits,
    fault_memory.both_slots_bad,
    fault_memory.journal_lost,
    fault_resets.crystal,
    fault_outside.flat_pack,
    fault_outside.noisy_pack,
    fault_outside.open_sense,
    fault_outside.dry,
    fault_outside.dries_later,
    fault_outside.flooded_lead,
    fault_outside.noise,
    fault_outside.buttons,
    fault_resets.clock_off,
    fault_outside.workshop,
    fault_outside.postponed,
)
"""Every kind of fault; one that has no more cases, or none on this board, drops out of the turn."""

Progress = Callable[[int, int], None]


@dataclass(frozen=True, slots=True)
class Failure:
    """A run that did not end well."""

    number: int
    kind: str
    about: str
    wrong: tuple[str, ...]
    replay: str
    """The command line that runs it again."""


@dataclass
class Faults:
    """All runs with faults."""

    tried: int = 0
    failures: list[Failure] = field(default_factory=list)
    by_kind: dict[str, int] = field(default_factory=dict)

    @property
    def survived(self) -> int:
        """Runs that ended well."""
        return self.tried - len(self.failures)

    def as_json(self) -> dict[str, Any]:
        """What `--json` prints of them."""
        return {
            "tried": self.tried,
            "survived": self.survived,
            "failures": [
                {"kind": one.kind, "about": one.about, "wrong": list(one.wrong), "replay": one.replay}
                for one in self.failures
            ],
            "by_kind": self.by_kind,
        }


def cases(rig: Rig, seed: int) -> Iterator[Case]:
    """Every kind in turn, without end."""
    running = [kind(rig, Random(f"{seed} {kind.__name__}")) for kind in KINDS]
    while running:
        for one in list(running):
            found = next(one, None)
            if found is None:
                running.remove(one)
            else:
                yield found


def rig_for(loaded: LoadedDive, simulator: Simulator) -> Rig:
    """The short dive on a board that was armed with it over the bench lead. Raises `SimulatorFailed`."""
    from schedgen.settings.encode import encode

    plan, board = shortened(loaded.plan()), loaded.board
    size = round(board.eeprom.size.nominal)
    settings = encode(plan, board.output_names, size)
    other = encode(_another(plan), board.output_names, size)
    rig = Rig(plan, board, settings, other, b"", bytes([ERASED] * 64))
    blank = fault_memory.unarmed(rig)
    actions = [
        (0.0, "pin", *rig.hands.lead(True)),
        (0.0, "pin", *rig.hands.pack(rig.pack_v)),
        (2.5, "mark", "before"),
        (3.0, "say", speech.identify().hex()),
        (3.5, "say", speech.arm(settings.code).hex()),
        (8.0, "mark", "after"),
    ]
    armed = simulator.play(Scenario(blank.hex(), rig.row.hex(), 9.0, tuple(actions)))
    if not any(name == "arm" for _, name, _ in speech.answers(armed.said)):
        raise SimulatorFailed("The simulated board could not be armed, so no fault was tried.")
    before, after = armed.marks["before"], armed.marks["after"]
    rig = replace(
        rig,
        eeprom=bytes.fromhex(after.eeprom),
        row=bytes.fromhex(after.row) or rig.row,
        writes_arm=after.commands - before.commands,
    )
    upload = fault_memory.upload_actions(rig)
    counted = simulator.play(
        Scenario(
            blank.hex(), bytes([ERASED] * 64).hex(), 20.0, (*upload, (2.5, "mark", "before"), (19.0, "mark", "after"))
        )
    )
    return replace(rig, writes_commit=counted.marks["after"].commands - counted.marks["before"].commands)


def _another(plan: Plan) -> Plan:
    """A dive that differs in its `latest`."""
    later = replace(plan.interlocks, latest_s=plan.interlocks.latest_s + 60)
    backup = None if plan.backup is None else replace(plan.backup, at_s=later.latest_s)
    return replace(plan, interlocks=later, backup=backup)


def run_faults(
    loaded: LoadedDive,
    build: Build,
    count: int,
    seed: int,
    *,
    only: Sequence[int] = (),
    progress: Progress = lambda done, total: None,
) -> Faults:
    """Fly `count` runs with faults (or the runs with the numbers in `only`). Raises `UsageError`, `SimulatorFailed`."""
    found = Faults()
    wanted = set(only) or set(range(1, count + 1))
    with Simulator(target_for(loaded.board, build)) as simulator:
        rig = rig_for(loaded, simulator)
        for number, one in enumerate(cases(rig, seed), start=1):
            if number > max(wanted):
                break
            if number in wanted:
                _fly(found, rig, one, number, seed, loaded, simulator)
                progress(found.tried, len(wanted))
    return found


def _fly(found: Faults, rig: Rig, one: Case, number: int, seed: int, loaded: LoadedDive, simulator: Simulator) -> None:
    try:
        wrong = verdict(rig, one, simulator.play(one.scenario))
    except SimulatorFailed as error:
        wrong = [error.message]
    found.tried += 1
    found.by_kind[one.kind] = found.by_kind.get(one.kind, 0) + 1
    if wrong:
        again = f'schedgen rehearse "{loaded.path}" --replay {number} --seed {seed}'
        found.failures.append(Failure(number, one.kind, one.about, tuple(dict.fromkeys(wrong)), again))
