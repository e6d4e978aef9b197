"""A dive on a board to its Plan. Pure: what it needs to know of the cell is handed in."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from schedgen.files.place import Place
from schedgen.plan.assemble import by_output, states, with_edges
from schedgen.plan.changes import all_choices, combinations, is_possible
from schedgen.plan.clock import clock_error, sun_finder, temperatures
from schedgen.plan.edges import spans_of
from schedgen.plan.events import (
    Happening,
    after_release,
    before_release,
    bounds_of,
    clocks,
    commanded,
    happening,
    true_of,
)
from schedgen.plan.fall import CRAWL, fall_of
from schedgen.plan.limits import change_notes, firing_notes, interlock_notes, window_notes
from schedgen.plan.mechanism import DISSOLVING, cut_times, firing_of, power_needed
from schedgen.plan.model import (
    ChooseLevel,
    Fall,
    FieldChange,
    Firing,
    Interlocks,
    Note,
    OutputKind,
    OutputPlan,
    Plan,
    ShiftRelease,
    TrueBounds,
    Window,
)
from schedgen.plan.overlaps import overlap_notes, release_cut_notes
from schedgen.plan.spots import Spots
from schedgen.plan.times import Clockwork, Moment, UnknownTimeError, down, resolve, said, up
from schedgen.plan.windows import Pair, Scheduler

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Actuator, Dive
    from schedgen.dive.times import When

WET_MINUTE_S = 60
"""With a water trigger nothing switches before: the clock starts once the contact has been wet for a minute."""
SHED_ABOVE_CUT_V = 0.3
RELEASE_ABOVE_CUT_V = 0.15
"""Default `shed` and `release_below` above the low cut of a cell, V (dive-file defaults)."""


def compile_plan(dive: Dive, board: Board, places: Mapping[str, Place], cell: Cell | None = None) -> Plan:
    """The Plan of `dive` on `board`; `places` gives the place of each value by its dotted path.

    `cell` gives what the dive leaves to it: the cut-off that `shed` and `release_below` default from, and the volts
    that the release gets. Raises ValueError when it is needed and not given, and OutOfRange where the water, the
    vehicle or the clock lie outside the range of the physics. All else that is wrong with the schedule becomes a Note.
    """
    return _Compiler(dive, board, Spots(places), cell).plan()


@dataclass
class _Release:
    """The release as planned: its event, what is fired, how long it takes."""

    event: Happening
    primary: Firing | None
    backup: Firing | None
    cut: tuple[float, float, float]
    not_before_s: int
    latest_s: int


class _Compiler:
    def __init__(self, dive: Dive, board: Board, spots: Spots, cell: Cell | None) -> None:
        self.dive, self.board, self.spots, self.cell = dive, board, spots, cell
        self.notes: list[Note] = []
        self.error = clock_error(board, *temperatures(dive))
        planned = dive.start.planned
        site = dive.site
        self.clock = Clockwork(
            planned.instant, planned.plus_minus_s, self.error,
            sun_finder(site.latitude.nominal, site.longitude.nominal, planned.instant),
        )  # fmt: skip
        self.first_edge_s = WET_MINUTE_S if dive.start.trigger == "water" else 0

    def note(self, name: str, message: str, path: str, fix: str = "", load: str = "") -> None:
        self.notes.append(Note(name, message, self.spots.at(path), load, fix))

    def plan(self) -> Plan:
        dive, board = self.dive, self.board
        fall, sinks, rises = fall_of(dive)
        self._fall_notes(sinks, rises)
        events = before_release(dive, fall, self.error)
        release = self._release(events, fall)
        last = None if release.primary is None else release.primary.last_end_s
        wait_s = dive.recovery.wait.high
        events |= after_release(release.event, last, release.cut, fall.up_s, wait_s, self.error)
        release_s = release.event.bounds.late
        scheduler = Scheduler(
            dive, board, clocks(events), self.clock, self.spots, self.first_edge_s, release_s, self.notes
        )
        pairs = scheduler.compile()
        interlocks = self._interlocks(release)
        changes = self._changes(pairs)
        bare = Plan(
            name=dive.dive,
            board=board.board,
            board_type=board.board_type,
            trigger=dive.start.trigger,
            planned=dive.start.planned.instant,
            planned_plus_minus_s=dive.start.planned.plus_minus_s,
            clock_tolerance=self.error,
            events=bounds_of(events),
            true_events=true_of(events),
            first_edge_s=self.first_edge_s,
            outputs=self._outputs([pair.window for pair in pairs], release),
            primary=release.primary,
            backup=release.backup,
            interlocks=interlocks,
            field_changes=changes,
            fall=fall,
            cut_s=release.cut,
            wait_s=wait_s,
            backup_surface=self._backup_surface(events, release, fall),
        )
        self._check(bare, pairs)
        self.notes += release_cut_notes([pair.window for pair in pairs], states(bare)[-1][1], self.spots)
        plan = with_edges(replace(bare, allowed_changes=tuple(is_possible(bare, c) for c in combinations(bare))))
        self._unused_windows(plan)
        return replace(plan, notes=tuple(self.notes))

    # -- notes

    def _fall_notes(self, sinks: bool, rises: bool) -> None:
        for arrives, way in ((sinks, "sinks to the bottom"), (rises, "rises to the surface")):
            if not arrives:
                message = f"in a corner of the tolerances it never {way}; its times assume {CRAWL} m/s there"
                self.note("", message, "vehicle")

    def _check(self, plan: Plan, pairs: list[Pair]) -> None:
        """Overlaps, numbers that the settings cannot hold, and a backup that would come after the end."""
        if plan.backup is not None and plan.backup.last_end_s > plan.end_s:
            self.note(
                "window-outside-dive",
                f"the backup fires from `latest` ({said(plan.backup.at_s)}) to {said(plan.backup.last_end_s)}, but "
                f"nothing fires after the end of the dive, {said(plan.end_s)}",
                "release.latest",
                "write an earlier `latest` or a longer `recovery.wait`",
            )
        spots = self.spots
        found: list[Iterable[Note]] = [overlap_notes(pairs, states(plan)[-1][1], spots)]
        found += [window_notes(pair.window, spots) for pair in pairs]
        found += [firing_notes(plan.primary, "primary", spots), firing_notes(plan.backup, "backup", spots)]
        found.append(interlock_notes(plan.interlocks, plan.events["end"].late, spots))
        found.append(change_notes(plan.field_changes, len(all_choices(plan.field_changes)), spots))
        self.notes += [note for notes in found for note in notes]

    def _unused_windows(self, plan: Plan) -> None:
        """Followers that are never on although their leader is: `only` cuts all of it."""
        windows = {name: output.windows for name, output in plan.outputs.items()}
        state = states(plan)[-1][1]
        for window in plan.windows:
            if window.clip is not None and not spans_of(window, windows, state):
                self.note(
                    "window-empty",
                    f"`only` leaves nothing of the windows that {window.load} follows",
                    f"schedule.{window.line}.only",
                    "widen `only`, or take the line out",
                    window.load,
                )

    # -- the release

    def _resolved(self, when: When | None, path: str, events: Mapping[str, Happening]) -> Moment:
        """A time of the release section; one that cannot be known becomes the start, and a note."""
        try:
            if when is None:
                raise UnknownTimeError("the time is missing")
            return resolve(when, clocks(events), self.clock)
        except UnknownTimeError as trouble:
            self.note("window-outside-dive", str(trouble), path, "write start, splash or bottom plus a duration")
            return Moment(0.0, 0.0, 0.0)

    def _release(self, events: Mapping[str, Happening], fall: Fall) -> _Release:
        section = self.dive.release
        known = dict(events)
        primary: Firing | None = None
        cut = (0.0, 0.0, 0.0)
        if section.primary.kind == DISSOLVING:
            event = self._dissolving(section.primary, events["splash"].true)
            if section.backup is not None and section.backup.kind != DISSOLVING:
                # the backup may be fired early, and what runs from the release must not wait for the link then
                event = replace(event, clock=replace(event.clock, moves=True))
        else:
            at = self._resolved(section.primary.at, "release.primary.at", events)
            at_s = self._from_start(at.ceil_late, "release.primary.at")
            event = commanded(float(at_s), self.error)
            primary = firing_of(section.primary, at_s)
            if primary is not None:
                needed, _ = power_needed(
                    section.primary, primary, self.dive, self.board, self.cell, fall.pressure_dbar[1]
                )
                cut = cut_times(primary, needed)
        known["release"] = event
        not_before = up(self._resolved(section.not_before, "release.not_before", known).late)
        latest = down(self._resolved(section.latest, "release.latest", known).late)
        latest = self._from_start(latest, "release.latest")
        backup = firing_of(section.backup, latest)
        return _Release(event, primary, backup, cut, self._from_start(not_before, "release.not_before"), latest)

    def _from_start(self, second: int, path: str) -> int:
        """A time of the release; one before the start becomes the start, and a note."""
        if second < 0:
            key = path.rpartition(".")[2]
            self.note("", f"`{key}` is {said(second)}; taken as the start", path)
        return max(0, second)

    def _dissolving(self, actuator: Actuator, splash: TrueBounds) -> Happening:
        parts = actuator.parts_after
        if parts is None:
            return happening((splash.early, splash.nominal, splash.late), self.error)
        return happening(
            (splash.early + parts.low, splash.nominal + parts.nominal, splash.late + parts.high), self.error
        )

    def _backup_surface(self, events: Mapping[str, Happening], release: _Release, fall: Fall) -> TrueBounds | None:
        """When it surfaces if only the backup acts, true s."""
        actuator = self.dive.release.backup
        if actuator is None:
            return None
        if release.backup is None:
            parts = self._dissolving(actuator, events["splash"].true).true
            return TrueBounds(parts.early + fall.up_s[0], parts.nominal + fall.up_s[1], parts.late + fall.up_s[2])
        needed, _ = power_needed(actuator, release.backup, self.dive, self.board, self.cell, fall.pressure_dbar[1])
        command = commanded(float(release.backup.at_s), self.error)
        found = after_release(
            command, release.backup.last_end_s, cut_times(release.backup, needed), fall.up_s, 0.0, self.error
        )
        return found["surface"].true

    # -- the rest of the plan

    def _low_cut(self) -> float:
        protection = self.dive.pack.protection
        if protection is not None and protection.low_cut is not None:
            return protection.low_cut.nominal
        if self.cell is None:
            raise ValueError("shed and release_below default from the cell's cut-off: hand in the cell")
        return self.cell.cut_off.nominal

    def _interlocks(self, release: _Release) -> Interlocks:
        pack = self.dive.pack
        shed = self._low_cut() + SHED_ABOVE_CUT_V if pack.shed is None else pack.shed.nominal
        below = self._low_cut() + RELEASE_ABOVE_CUT_V if pack.release_below is None else pack.release_below.nominal
        survive = {load.wired_to for load in self.dive.loads.values() if load.resolved_role in ("beacon", "locator")}
        return Interlocks(
            release.not_before_s,
            release.latest_s,
            self.dive.release.without_water,
            round(shed, 6),
            round(below, 6),
            pack.series,
            tuple(name for name in self.board.outputs if name in survive),
        )

    def _changes(self, pairs: list[Pair]) -> tuple[FieldChange, ...]:
        changes: list[FieldChange] = []
        for index, one in enumerate(self.dive.field_changes):
            if one.shift is not None:
                step = 0 if one.step is None else round(one.step.nominal)
                changes.append(ShiftRelease(step, one.from_ or 0, one.to or 0))
                continue
            load = self.dive.loads.get(one.level or "")
            if load is None or not one.values:
                continue
            values = tuple(round(value.nominal * 100) for value in one.values)
            changes.append(ChooseLevel(load.wired_to, values))
            used = {pair.window.level for pair in pairs if pair.window.output == load.wired_to}
            if values[0] not in used:
                self.note(
                    "",
                    f"no line of {one.level} has the first level, {values[0]} %: the buttons change nothing",
                    f"field_changes.{index}.values",
                    "write the level of the schedule first",
                )
        return tuple(changes)

    def _outputs(self, windows: list[Window], release: _Release) -> dict[str, OutputPlan]:
        """What each used output is for, in the board's order; on-times and edges come later."""
        grouped = by_output(windows)
        fired = {firing.output for firing in (release.primary, release.backup) if firing is not None}
        loads = {load.wired_to: name for name, load in self.dive.loads.items()}
        stops = {
            load.stop.output: name
            for name, load in self.dive.loads.items()
            if load.stop is not None and load.stop.kind == "output"
        }
        outputs: dict[str, OutputPlan] = {}
        for name, output in self.board.outputs.items():
            kind: OutputKind = output.kind
            mine = grouped.get(name, ())
            if name in fired:
                outputs[name] = OutputPlan(name, kind, "release", "release", (), (), ())
            elif name in loads:
                role = self.dive.loads[loads[name]].resolved_role
                outputs[name] = OutputPlan(name, kind, loads[name], role, mine, (), ())
            elif name in stops:
                outputs[name] = OutputPlan(name, kind, stops[name], "stop", mine, (), ())
        return outputs
