"""A dive that was played on the bench, against the Plan: changes of outputs one by one, and voltages. Pure."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from schedgen.errors import OutOfRange
from schedgen.settings.meaning import DecodedDive
from schedgen.settings.schedule import edges


@dataclass(frozen=True, slots=True)
class Switched:
    """An output that changed: `at_s` elapsed, its name, level in percent, 0 for off."""

    at_s: int
    output: str
    level: int


@dataclass(frozen=True, slots=True)
class Compared:
    """Changes expected and seen: how many, those that came at their second, missed ones, and ones too many."""

    expected: int
    matched: int
    missed: tuple[Switched, ...]
    extra: tuple[Switched, ...]

    @property
    def same(self) -> bool:
        """Whether nothing is missed and nothing extra."""
        return not self.missed and not self.extra


def expected_changes(dive: DecodedDive) -> tuple[Switched, ...]:
    """Every change that playing a block makes until its `end`, where everything goes off. A flash is on throughout."""
    level: dict[str, int] = {}
    found = []
    for edge in edges(dive):
        if edge.at_s < dive.end_s and level.get(edge.output, 0) != edge.level:
            level[edge.output] = edge.level
            found.append(Switched(edge.at_s, edge.output, edge.level))
    found += [Switched(dive.end_s, name, 0) for name in dive.outputs if level.get(name)]
    return tuple(found)


def seconds_to_ask(expected: Iterable[Switched], end_s: int, step_s: int) -> tuple[int, ...]:
    """The elapsed seconds at which a board is looked at, rising, from 0 to `end_s`.

    Each second with a change and the second before it, so that a change is known to the second, and others between
    them, so that none is more than `step_s` from the next. Raises `OutOfRange` for a step below 1.
    """
    if step_s < 1:
        raise OutOfRange(f"a step of {step_s} s between two looks is below 1 s")
    wanted = {0, end_s - 1, end_s}
    for change in expected:
        wanted |= {change.at_s - 1, change.at_s}
    ordered = sorted(second for second in wanted if 0 <= second <= end_s)
    found = [ordered[0]]
    for before, second in pairwise(ordered):
        found += [*range(before + step_s, second, step_s), second]
    return tuple(found)


def changes_in(looks: Iterable[tuple[int, Sequence[int]]], outputs: Sequence[str]) -> tuple[Switched, ...]:
    """What changed from one look to the next, everything being off before the first. A look: second, levels."""
    held = [0] * len(outputs)
    found = []
    for at_s, levels in looks:
        for number, name in enumerate(outputs):
            if levels[number] != held[number]:
                held[number] = levels[number]
                found.append(Switched(at_s, name, levels[number]))
    return tuple(found)


def compare(expected: Iterable[Switched], seen: Iterable[Switched]) -> Compared:
    """Match changes of the same output and level at the same second."""
    wanted, left = list(expected), list(seen)
    missed = []
    for one in wanted:
        if one in left:
            left.remove(one)
        else:
            missed.append(one)
    return Compared(len(wanted), len(wanted) - len(missed), tuple(missed), tuple(left))


@dataclass(frozen=True, slots=True)
class State:
    """The pack while certain outputs were on: mean of the readings, V, how many, and their spread, V.

    `on` are (output, level in percent); of a release it stands for the status light.
    """

    on: tuple[tuple[str, int], ...]
    volts: float
    spread_v: float
    count: int


def states_of(changes: Sequence[Switched], readings: Sequence[tuple[int, float]]) -> tuple[State, ...]:
    """Pack voltage by what was on: `readings` are (elapsed s, V). The state with nothing on comes first."""
    grouped: dict[tuple[tuple[str, int], ...], list[float]] = {}
    ordered = sorted(changes, key=lambda one: one.at_s)
    for at_s, volts in readings:
        on: dict[str, int] = {}
        for change in ordered:
            if change.at_s > at_s:
                break
            on[change.output] = change.level
        key = tuple((name, level) for name, level in sorted(on.items()) if level)
        grouped.setdefault(key, []).append(volts)
    return tuple(
        State(on, statistics.fmean(volts), statistics.pstdev(volts), len(volts))
        for on, volts in sorted(grouped.items())
    )
