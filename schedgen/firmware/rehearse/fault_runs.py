"""Flies the runs with faults: the rig, as many simulators as there are processors, the results in order."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import ExitStack
from dataclasses import replace
from itertools import islice
from queue import SimpleQueue
from typing import TYPE_CHECKING

from schedgen.firmware.rehearse import fault_memory, flight, speech
from schedgen.firmware.rehearse.faults import Failure, Faults, cases
from schedgen.firmware.rehearse.rehearsal import Build, target_for
from schedgen.firmware.rehearse.rig import START_S, Case, Rig, verdict
from schedgen.firmware.rehearse.scenario import Action, Mark, Record, Scenario
from schedgen.firmware.rehearse.short_dive import shortened
from schedgen.firmware.rehearse.supervisor import Simulator, SimulatorFailed
from schedgen.settings.eeprom import ERASED

if TYPE_CHECKING:
    from schedgen.load import LoadedDive
    from schedgen.plan.model import Plan

Progress = Callable[[int, int], None]
_ROW = bytes([ERASED] * 64)


def rig_for(loaded: LoadedDive, simulator: Simulator) -> Rig:
    """The short dive on a board that was armed with it over the bench lead. Raises `SimulatorFailed`."""
    from schedgen.settings.encode import encode

    plan, board = shortened(loaded.plan()), loaded.board
    size = round(board.eeprom.size.nominal)
    settings = encode(plan, board.output_names, size)
    rig = Rig(plan, board, settings, encode(_another(plan), board.output_names, size), b"", _ROW)
    blank = fault_memory.unarmed(rig)
    actions = [
        (0.0, "pin", *rig.hands.lead(True)),
        (0.0, "pin", *rig.hands.pack(rig.pack_v)),
        (3.0, "say", speech.identify().hex()),
        (3.5, "say", speech.arm(settings.code).hex()),
    ]
    record, before, armed = _between(simulator, blank, _ROW, actions, 2.5, 8.0)
    if not any(name == "arm" for _, name, _ in speech.answers(record.said)):
        raise SimulatorFailed("The simulated board could not be armed, so no fault was tried.")
    rig = replace(
        rig,
        eeprom=bytes.fromhex(armed.eeprom),
        row=bytes.fromhex(armed.row) or rig.row,
        writes_arm=armed.commands - before.commands,
    )
    _, before, after = _between(simulator, blank, _ROW, fault_memory.upload_actions(rig), 2.5, 19.0)
    rig = replace(rig, writes_commit=after.commands - before.commands)
    begun, zero = flight.start_actions(plan, board, settings.code, START_S)
    _, before, after = _between(simulator, rig.eeprom, rig.row, begun, zero + 90.0, zero + 150.0)
    return replace(rig, writes_entry=after.commands - before.commands)


def _between(
    simulator: Simulator, eeprom: bytes, row: bytes, actions: Sequence[Action], first: float, last: float
) -> tuple[Record, Mark, Mark]:
    """A run, and what stood in the memories at two moments of it."""
    marks: list[Action] = [(first, "mark", "before"), (last, "mark", "after")]
    record = simulator.play(Scenario(eeprom.hex(), row.hex(), last + 1.0, (*actions, *marks)))
    return record, record.marks["before"], record.marks["after"]


def _another(plan: Plan) -> Plan:
    """A dive that differs in its `latest`."""
    later = replace(plan.interlocks, latest_s=plan.interlocks.latest_s + 60)
    backup = None if plan.backup is None else replace(plan.backup, at_s=later.latest_s)
    return replace(plan, interlocks=later, backup=backup)


def processors() -> int:
    """How many processors this program may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


def run_faults(
    loaded: LoadedDive,
    build: Build,
    count: int,
    seed: int,
    *,
    only: Sequence[int] = (),
    progress: Progress = lambda done, total: None,
) -> Faults:
    """Fly `count` runs with faults (or the runs with the numbers in `only`). Raises `UsageError`, `SimulatorFailed`.

    Each processor has a simulator of its own; what comes out does not depend on how many there are.
    """
    wanted = sorted(set(only)) or range(1, count + 1)
    found = Faults()
    with ExitStack() as open_simulators:
        free: SimpleQueue[Simulator] = SimpleQueue()
        for _ in range(min(processors(), len(wanted))):
            free.put(open_simulators.enter_context(Simulator(target_for(loaded.board, build))))
        simulator = free.get()
        rig = rig_for(loaded, simulator)
        free.put(simulator)
        chosen = zip(wanted, _numbered(cases(rig, seed), wanted), strict=False)
        with ThreadPoolExecutor(free.qsize()) as threads:
            try:
                flying = [(number, one, threads.submit(_fly, rig, one, free)) for number, one in chosen]
                for number, one, wrong in flying:
                    _note(
                        found, number, one, wrong, f'schedgen rehearse "{loaded.path}" --replay {number} --seed {seed}'
                    )
                    progress(found.tried, len(flying))
            except BaseException:
                threads.shutdown(wait=False, cancel_futures=True)
                open_simulators.close()
                raise
    return found


def _numbered(every: Iterator[Case], wanted: Sequence[int]) -> Iterator[Case]:
    """The cases with these numbers, which count from 1."""
    before = 0
    for number in wanted:
        yield from islice(every, number - before - 1, number - before)
        before = number


def _fly(rig: Rig, one: Case, free: SimpleQueue[Simulator]) -> list[str]:
    """One run on the next simulator that is free: what was wrong with it."""
    simulator = free.get()
    try:
        return verdict(rig, one, simulator.play(one.scenario))
    except SimulatorFailed as error:
        return [error.message]
    finally:
        free.put(simulator)


def _note(found: Faults, number: int, one: Case, wrong: Future[list[str]], again: str) -> None:
    told = tuple(dict.fromkeys(wrong.result()))
    found.tried += 1
    found.by_kind[one.kind] = found.by_kind.get(one.kind, 0) + 1
    if told:
        found.failures.append(Failure(number, one.kind, one.about, told, again))
