"""What the rules are given: a dive with its board and cell, its plan, its simulation, and where each value stands."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Protocol

from schedgen.errors import BlockError, SchedgenError
from schedgen.files.place import Place
from schedgen.judge.finding import Finding, Severity
from schedgen.judge.names import FINDINGS

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive, Load
    from schedgen.files.quantity import Quantity
    from schedgen.measured.bench_record import BenchRecord
    from schedgen.measured.differences import Difference
    from schedgen.measured.left import Left
    from schedgen.plan.model import OnTime, Plan, ShiftRelease
    from schedgen.simulate.results import Results

FOREVER = float("inf")


class Parts(Protocol):
    """What judging wants of a loaded dive."""

    @property
    def dive(self) -> Dive: ...  # noqa: D102
    @property
    def board(self) -> Board: ...  # noqa: D102
    @property
    def cell(self) -> Cell: ...  # noqa: D102
    @property
    def guessed(self) -> Sequence[str]: ...  # noqa: D102
    @property
    def places(self) -> Mapping[str, Place]: ...  # noqa: D102
    @property
    def accepted_by_choices(self) -> frozenset[str]: ...  # noqa: D102
    @property
    def bench(self) -> BenchRecord | None: ...  # noqa: D102
    @property
    def bench_differences(self) -> Sequence[Difference]: ...  # noqa: D102
    @property
    def bench_replaced(self) -> Sequence[tuple[str, Quantity]]: ...  # noqa: D102
    @property
    def left(self) -> Left | None: ...  # noqa: D102
    def place(self, dotted: str) -> Place: ...  # noqa: D102


@dataclass(frozen=True, slots=True)
class Missing:
    """A rule could not decide `name`; `what` says which input is missing or why."""

    name: str
    what: str
    load: str = ""


Outcome = Finding | Missing


@dataclass(frozen=True, slots=True)
class Span:
    """An interval of elapsed seconds, [start_s, stop_s); stop_s is infinite where it lasts until the pack is empty."""

    start_s: float
    stop_s: float
    line: int = -1

    @property
    def length_s(self) -> float:
        """Seconds."""
        return self.stop_s - self.start_s


@dataclass(frozen=True)
class Subject:
    """Everything that a rule may look at."""

    parts: Parts
    plan: Plan
    results: Results | None = None
    settings_error: BlockError | None = None
    settings_bytes: int | None = None

    @property
    def dive(self) -> Dive:
        """The dive as read."""
        return self.parts.dive

    @property
    def board(self) -> Board:
        """The board that the dive names."""
        return self.parts.board

    @property
    def cell(self) -> Cell:
        """The cell of its pack."""
        return self.parts.cell

    @property
    def guessed(self) -> tuple[str, ...]:
        """Dotted paths of the inputs that are guesses, as the loader found them."""
        return tuple(self.parts.guessed)

    @property
    def run(self) -> Results:
        """The simulation; raises SchedgenError where there is none (rules that need one say so when registered)."""
        if self.results is None:
            raise SchedgenError("the simulation was not run")
        return self.results

    def place(self, first: str, *others: str) -> Place:
        """Where the first of these values stands that the file has; with none, where the first would be added.

        A section stands where its key does.
        """
        for path in (first, *others):
            if path in self.parts.places:
                inside = f"{path}."
                section = any(other.startswith(inside) for other in self.parts.places)
                return self.parts.place(inside) if section else self.parts.places[path]
        return self.parts.place(first)

    def finding(
        self,
        name: str,
        where: str | Place | tuple[str, ...],
        message: str,
        fix: str,
        *,
        load: str = "",
        severity: Severity | None = None,
        final: bool = False,
        weight: float = 0.0,
    ) -> Finding:
        """A finding of the table's severity; `where` is one dotted path, several (the first that stands), or a place.

        A `stop` that the table never lets anybody accept is final in any case.
        """
        named = FINDINGS[name]
        level = severity or named.severity
        if level != named.severity and level not in named.lesser:
            raise ValueError(f"{name} is never a {level}")
        place = where if isinstance(where, Place) else self.place(*((where,) if isinstance(where, str) else where))
        return Finding(
            name=name,
            severity=level,
            place=place,
            message=message,
            fix=fix,
            load=load,
            final=level == "stop" and (final or named.final == "always"),
            weight=weight,
        )

    # -- loads and what the plan does with them

    @cached_property
    def roles(self) -> Mapping[str, str]:
        """The part that each load plays, by the load's name."""
        return {name: load.resolved_role for name, load in self.dive.loads.items()}

    def loads_of(self, *roles: str) -> Iterator[tuple[str, Load]]:
        """Name and load of each load that plays one of these parts, in the file's order."""
        for name, load in self.dive.loads.items():
            if self.roles[name] in roles:
                yield name, load

    def on_times(self, load: str) -> tuple[OnTime, ...]:
        """When the load's output is on, merged; empty when it never is."""
        output = self.plan.outputs.get(self.dive.loads[load].wired_to)
        return output.on_times if output is not None and output.load == load else ()

    def spans(self, load: str) -> list[Span]:
        """The same as spans, the open end as infinity."""
        return [Span(on.start_s, FOREVER if on.stop_s is None else on.stop_s, on.line) for on in self.on_times(load)]

    def line_place(self, line: int, load: str, key: str = "from") -> tuple[str, ...]:
        """The dotted paths to try for a schedule line: its key, else the line, else the load's name."""
        if line < 0:
            return (f"loads.{load}",)
        return (f"schedule.{line}.{key}", f"schedule.{line}", f"loads.{load}")

    # -- the release

    @property
    def backup_is_independent(self) -> bool:
        """True when the backup parts the ballast with neither pack nor controller: a dissolving link."""
        backup = self.dive.release.backup
        return backup is not None and backup.kind == "dissolving link"

    @property
    def shift(self) -> ShiftRelease | None:
        """The field change that moves the release, if there is one."""
        from schedgen.plan.model import ShiftRelease

        return next((change for change in self.plan.field_changes if isinstance(change, ShiftRelease)), None)

    @property
    def shifts_s(self) -> tuple[int, ...]:
        """Of `written_shifts_s` those that the board permits: not before `not_before`, over by `latest`; and 0."""
        primary, limits = self.plan.primary, self.plan.interlocks
        if primary is None:
            return (0,)
        possible = (
            shift
            for shift in self.written_shifts_s
            if primary.at_s + shift >= limits.not_before_s and primary.last_end_s + shift <= limits.latest_s
        )
        return tuple(sorted({0, *possible}))

    @property
    def written_shifts_s(self) -> tuple[int, ...]:
        """The seconds by which the file lets the two buttons move the release, 0 among them."""
        change = self.shift
        if change is None:
            return (0,)
        return tuple(change.step_s * k for k in range(change.first, change.last + 1))

    # -- the water

    @property
    def deepest_m(self) -> float:
        """The deepest the bottom may be [m]."""
        return self.dive.site.depth.high


def outside(spans: Iterable[Span], cover: Iterable[Span]) -> list[Span]:
    """What of `spans` no span of `cover` overlaps, in order."""
    covers = sorted(cover, key=lambda span: span.start_s)
    left: list[Span] = []
    for span in spans:
        start = span.start_s
        for over in covers:
            if over.stop_s <= start or over.start_s >= span.stop_s:
                continue
            if over.start_s > start:
                left.append(Span(start, over.start_s, span.line))
            start = max(start, over.stop_s)
        if start < span.stop_s:
            left.append(Span(start, span.stop_s, span.line))
    return left


def within(spans: Iterable[Span], start_s: float, stop_s: float) -> list[Span]:
    """What of `spans` lies between the two times."""
    cut = (Span(max(span.start_s, start_s), min(span.stop_s, stop_s), span.line) for span in spans)
    return [span for span in cut if span.length_s > 0]
