"""Each line of the schedule to one window: whole seconds, bursts, flash patterns, followers and clips.

`from` takes the early bound, down; `until` the late bound, up; `only` the time certainly between its two ends.
Beside the window goes its nominal twin, with nominal times, in which overlaps are looked for.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from schedgen.files.quantity import write_duration
from schedgen.plan.limits import ELAPSED_MOST
from schedgen.plan.model import FLASH_STEPS, Burst, Clip, Flash, Follow, Note, Window
from schedgen.plan.spots import Spots
from schedgen.plan.times import Clockwork, Moment, UnknownTimeError, down, resolve, said, up
from schedgen.settings.fields import by_name

if TYPE_CHECKING:
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive, Line
    from schedgen.dive.times import Between, When
    from schedgen.files.quantity import Quantity

FLASH_UP_TO_S = 10.0
"""`every` up to this is a flash pattern."""
NOTABLE_CHANGE = 0.01
"""A flash whose length changes by more than this share through rounding is noted."""


@dataclass(frozen=True, slots=True)
class Pair:
    """A window and its nominal twin."""

    window: Window
    nominal: Window


@dataclass
class Scheduler:
    """Compiles the lines of one dive; gathers notes on the way."""

    dive: Dive
    board: Board
    events: Mapping[str, Moment]
    clock: Clockwork
    spots: Spots
    first_edge_s: int
    release_s: int
    notes: list[Note] = field(default_factory=list)

    @property
    def end_s(self) -> int:
        """`end` on the controller's clock."""
        return self.events["end"].ceil_late

    def note(self, name: str, message: str, path: str, load: str, fix: str = "") -> None:
        """Add a note about the value at `path`."""
        self.notes.append(Note(name, message, self.spots.at(path), load, fix))

    def compile(self) -> list[Pair]:
        """All windows in the order of the schedule, then the pulses that stop recordings."""
        pairs: list[Pair] = []
        for index, line in enumerate(self.dive.schedule):
            pair = self._follower(index, line) if line.with_ is not None else self._direct(index, line)
            if pair is not None:
                pairs.append(pair)
        pairs = self._without_orphans(pairs)
        return pairs + self._stop_pulses(pairs)

    # -- lines with from and until

    def _direct(self, index: int, line: Line) -> Pair | None:
        path = f"schedule.{index}"
        begin, finish = self._moment(line.from_, f"{path}.from", line), self._moment(line.until, f"{path}.until", line)
        if begin is None or finish is None:
            return None
        if finish.nominal < begin.nominal:
            self.note(
                "window-outside-dive",
                f"`until` comes before `from` ({said(finish.nominal)}, and `from` {said(begin.nominal)})",
                f"{path}.until", line.load, "write the earlier time as `from`",
            )  # fmt: skip
        start, stop = self._start(begin, f"{path}.from", line), self._stop(finish, line, f"{path}.until")
        nominal_stop = None if stop is None else min(round(finish.nominal), self.end_s)
        window = Window(
            line.load, self._output(line.load), start, stop, self._level(line), begin.moves,
            finish.moves and stop is not None, place=self.spots.at(path), line=index,
        )  # fmt: skip
        nominal = replace(window, start_s=max(round(begin.nominal), self.first_edge_s), stop_s=nominal_stop)
        last = self.end_s if window.stop_s is None else window.stop_s
        if last <= (window.start_s or 0):
            self._empty(f"it would stop {said(last)}, and start {said(window.start_s or 0)}", path, line)
            return None
        return self._repeated(window, nominal, line, path)

    def _start(self, begin: Moment, path: str, line: Line) -> int:
        start = begin.floor_early
        if start < self.first_edge_s:
            why = "the wet minute of the trigger" if self.first_edge_s else "the start"
            self.note(
                "", f"`from` is {said(start)}; moved to {write_duration(self.first_edge_s)}, {why}", path, line.load
            )
            return self.first_edge_s
        return start

    def _stop(self, finish: Moment, line: Line, path: str) -> int | None:
        """Late bound of `until`, None for a beacon or locator until `end`; what would pass `end` is cut and noted."""
        beacon = self.dive.loads[line.load].resolved_role in ("beacon", "locator")
        if beacon and line.until is not None and line.until.base == "end" and line.until.offset_s == 0:
            return None
        if finish.ceil_late > self.end_s:
            self.note(
                "window-outside-dive",
                f"`until` is {said(finish.ceil_late)}, past the end of the dive at {write_duration(self.end_s)}",
                path, line.load, "write `until: end` or earlier; only a beacon or locator goes on after the end",
            )  # fmt: skip
        return min(finish.ceil_late, self.end_s)

    def _repeated(self, window: Window, nominal: Window, line: Line, path: str) -> Pair | None:
        """The window with its bursts or its flash pattern, when the line has `every` and `for`."""
        if line.every is None or line.for_ is None:
            return Pair(window, nominal)
        every, lit = line.every.nominal, line.for_.nominal
        slow = every > FLASH_UP_TO_S and every == int(every) and lit == int(lit)
        if window.stop_s is None and round(every * FLASH_STEPS) <= by_name("window", "flash_every").high:
            slow = False
        if not slow:
            flash = Flash(self._steps(every, f"{path}.every", line), self._steps(lit, f"{path}.for", line))
            return Pair(replace(window, flash=flash), replace(nominal, flash=flash))
        bursts, twin = self._bursts(window, int(every), int(lit)), self._bursts(nominal, int(every), int(lit))
        if bursts is None:
            room = (window.stop_s or 0) - (window.start_s or 0)
            self._empty(f"no whole burst of {write_duration(lit)} fits its {write_duration(room)}", path, line)
            return None
        return Pair(bursts, twin or bursts)

    def _steps(self, seconds: float, path: str, line: Line) -> int:
        """Seconds in steps of 1/64 s, to the nearest, at least one; noted when that changes it by more than 1 %."""
        steps = max(1, math.floor(seconds * FLASH_STEPS + 0.5))
        if abs(steps / FLASH_STEPS - seconds) > NOTABLE_CHANGE * seconds + 1e-12:
            exact = steps / FLASH_STEPS * 1000
            self.note("", f"{seconds * 1000:g} ms becomes {exact:g} ms, {steps} steps of 1/64 s", path, line.load)
        return steps

    def _bursts(self, window: Window, every: int, lit: int) -> Window | None:
        """The window with as many whole bursts as end by its stop; None where none does."""
        start = window.start_s or 0
        limit = ELAPSED_MOST if window.stop_s is None else window.stop_s
        if start + lit > limit:
            return None
        count = (limit - start - (0 if window.stop_s is None else lit)) // every + 1
        bottom = self.events["bottom"].ceil_late
        first_sure = max(0, -(-(bottom - start) // every))
        last_sure = min(count - 1, (self.release_s - lit - start) // every)
        burst = Burst(every, lit, count, max(0, last_sure - first_sure + 1))
        stop = None if window.stop_s is None else start + (count - 1) * every + lit
        return replace(window, burst=burst, stop_s=stop)

    # -- lines with `with`

    def _follower(self, index: int, line: Line) -> Pair | None:
        path = f"schedule.{index}"
        leader = self.dive.loads.get(line.with_ or "")
        if leader is None:
            return None
        cut: _Cut | None = None
        if line.only is not None:
            cut = self._between(line.only, f"{path}.only", line)
            if cut is None:
                return None
            if cut.clip.stop_s <= cut.clip.start_s:
                certain = f"surely begun {said(cut.clip.start_s)}, surely not ended until {said(cut.clip.stop_s)}"
                self._empty(f"`only` leaves no time: {certain}", f"{path}.only", line)
                return None
        follow = Follow(leader.wired_to, _whole_up(line.lead), _whole_up(line.trail))
        window = Window(
            line.load, self._output(line.load), None, None, self._level(line), follow=follow,
            clip=None if cut is None else cut.clip, place=self.spots.at(path), line=index,
        )  # fmt: skip
        return Pair(window, replace(window, clip=None if cut is None else cut.nominal))

    def _without_orphans(self, pairs: list[Pair]) -> list[Pair]:
        """The pairs without followers whose leader has no window of its own."""
        leading = {pair.window.output for pair in pairs if pair.window.follow is None}
        kept: list[Pair] = []
        for pair in pairs:
            follow = pair.window.follow
            if follow is not None and follow.leader not in leading:
                line = self.dive.schedule[pair.window.line]
                message = f"{line.with_} has no window of its own to follow"
                self._empty(message, f"schedule.{pair.window.line}.with", line)
                continue
            kept.append(pair)
            if follow is not None:
                self._early_lead(pair.window, follow, pairs)
        return kept

    def _early_lead(self, window: Window, follow: Follow, pairs: list[Pair]) -> None:
        """A note when `lead` would begin before the first edge."""
        starts = [p.window.start_s or 0 for p in pairs if p.window.output == follow.leader and not p.window.follow]
        begin = min(starts) - follow.lead_s
        if begin < self.first_edge_s and (window.clip is None or window.clip.start_s < self.first_edge_s):
            message = f"`lead` begins {said(begin)}; moved to {write_duration(self.first_edge_s)}"
            self.note("", message, f"schedule.{window.line}.lead", window.load)

    def _stop_pulses(self, pairs: list[Pair]) -> list[Pair]:
        """One follower for each load whose recording is ended by a pulse on another output."""
        leading = {pair.window.output for pair in pairs if pair.window.follow is None}
        pulses: list[Pair] = []
        for name, load in self.dive.loads.items():
            rule = load.stop
            if rule is None or rule.kind != "output" or rule.output is None or load.wired_to not in leading:
                continue
            follow = Follow(load.wired_to, _whole_up(load.close_before_off), 0, "stop")
            level = 100 if self._has_level(rule.output) else None
            window = Window(
                name, rule.output, None, None, level, follow=follow, place=self.spots.at(f"loads.{name}.stop")
            )
            pulses.append(Pair(window, window))
        return pulses

    # -- small parts

    def _moment(self, when: When | None, path: str, line: Line) -> Moment | None:
        if when is None:
            self.note("window-outside-dive", "an edge is missing", path, line.load, "write `from` and `until`")
            return None
        try:
            return resolve(when, self.events, self.clock)
        except UnknownTimeError as trouble:
            self.note("window-outside-dive", str(trouble), path, line.load, "write an event or an instant instead")
            return None

    def _between(self, only: Between, path: str, line: Line) -> _Cut | None:
        begin, finish = self._moment(only.begin, path, line), self._moment(only.until, path, line)
        if begin is None or finish is None:
            return None
        start, stop = max(0, up(begin.late)), min(max(0, down(finish.early)), self.end_s)
        nominal = Clip(max(0, round(begin.nominal)), min(round(finish.nominal), self.end_s), begin.moves, finish.moves)
        return _Cut(Clip(start, stop, begin.moves, finish.moves), nominal)

    def _empty(self, message: str, path: str, line: Line) -> None:
        self.note("window-empty", message, path, line.load, "give it more time, or take the line out")

    def _output(self, load: str) -> str:
        return self.dive.loads[load].wired_to

    def _has_level(self, output: str) -> bool:
        found = self.board.outputs.get(output)
        return found is not None and found.kind == "level"

    def _level(self, line: Line) -> int | None:
        """Whole percent, 100 where the line has none, None on an output without levels."""
        if not self._has_level(self._output(line.load)):
            return None
        if line.level is None:
            return 100
        return round(line.level.nominal * 100)


@dataclass(frozen=True, slots=True)
class _Cut:
    """`only` with its certain bounds, and with its nominal ones."""

    clip: Clip
    nominal: Clip


def _whole_up(duration: Quantity | None) -> int:
    return 0 if duration is None else math.ceil(duration.high - 1e-6)
