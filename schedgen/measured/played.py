"""A dive that was played on the bench, against the Plan: changes of outputs one by one, and voltages. Pure."""

from __future__ import annotations

import statistics
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

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
    """Changes expected and seen: matched ones with the greatest difference in s, missed ones, and ones too many."""

    expected: int
    matched: int
    worst_error_s: int
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


def compare(expected: Iterable[Switched], seen: Iterable[Switched], within_s: int = 1) -> Compared:
    """Match changes of the same output and level, in order of time, that lie within `within_s` of each other."""
    wanted, left = list(expected), list(seen)
    missed, worst, matched = [], 0, 0
    for one in wanted:
        near = [
            other
            for other in left
            if (other.output, other.level) == (one.output, one.level) and abs(other.at_s - one.at_s) <= within_s
        ]
        if not near:
            missed.append(one)
            continue
        best = min(near, key=lambda other: abs(other.at_s - one.at_s))
        left.remove(best)
        matched += 1
        worst = max(worst, abs(best.at_s - one.at_s))
    return Compared(len(wanted), matched, worst, tuple(missed), tuple(left))


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
