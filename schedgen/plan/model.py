"""The Plan: the one object in the middle. Events as intervals, and for each output its windows and edges.

Everything here is immutable and knows nothing of YAML, C, ports or plots. All times are seconds of the
controller's elapsed clock unless a name says `true`.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

from schedgen.files.place import Place

Role = Literal["camera", "light", "fan", "beacon", "locator", "other"]
OutputKind = Literal["switched", "level", "release"]
Phase = Literal["deck", "descent", "bottom", "ascent", "surface"]
PHASES: tuple[Phase, ...] = ("deck", "descent", "bottom", "ascent", "surface")
Trigger = Literal["water", "button", "command"]

NOWHERE = Place("")
FURTHER_TRY_S = 6 * 3600
"""After the last try one further try starts this long after its end, and so on until `end`."""
FLASH_STEPS = 64
"""A flash pattern counts in steps of 1/64 s."""


@dataclass(frozen=True, slots=True)
class Bounds:
    """An event on the controller's clock, in whole seconds after start."""

    early: int
    nominal: int
    late: int


@dataclass(frozen=True, slots=True)
class TrueBounds:
    """The same event in true seconds after start, clock error taken out."""

    early: float
    nominal: float
    late: float


@dataclass(frozen=True, slots=True)
class Burst:
    """`every`/`for` on whole seconds: `count` bursts of `on_s`, the k-th at from + k x every_s."""

    every_s: int
    on_s: int
    count: int
    surely_on_bottom: int = 0


@dataclass(frozen=True, slots=True)
class Flash:
    """A flash pattern in 1/64 s: lit for `on_64` of each `every_64`, beginning lit at the window's start."""

    every_64: int
    on_64: int


@dataclass(frozen=True, slots=True)
class Follow:
    """A window that follows every window of another output that follows nothing itself.

    Mode "cover": on from lead_s before to trail_s after each window of `leader` (gaps closed by them merge).
    Mode "stop": the pulse that ends a recording; on from (lead_s + 1) s before the end of each window of
    `leader` for 1 s (lead_s is then close_before_off). Windows that join are one recording with one pulse; where one
    is shorter than lead_s + 1 there is none.
    """

    leader: str
    lead_s: int = 0
    trail_s: int = 0
    mode: Literal["cover", "stop"] = "cover"


@dataclass(frozen=True, slots=True)
class Clip:
    """`only`: the follower is cut to [start_s, stop_s). The *_moves flags as in Window."""

    start_s: int
    stop_s: int
    start_moves: bool = False
    stop_moves: bool = False


@dataclass(frozen=True, slots=True)
class Window:
    """One window of one output, as the firmware obeys it.

    `start_s` and `stop_s` are the planned elapsed seconds. `start_moves` / `stop_moves`: the edge is an
    offset from the release, so it moves with a shifted release time and with an early first firing.
    `stop_s` is None for a beacon or locator that goes on until the pack is empty.
    For a follower both are None. Exactly one of burst, flash, follow may be set; a flash window has
    start and stop like a plain one. With bursts, `stop_s` is the end of the last whole one,
    start + (count - 1) x every + on; bursts that go on until the pack is empty (every more than 127 s, else
    they are a flash) have `stop_s` None and as many as the counter or the greatest elapsed second allow.
    `level` is a whole percent, None where the output has no level.
    """

    load: str
    output: str
    start_s: int | None
    stop_s: int | None
    level: int | None = None
    start_moves: bool = False
    stop_moves: bool = False
    burst: Burst | None = None
    flash: Flash | None = None
    follow: Follow | None = None
    clip: Clip | None = None
    place: Place = NOWHERE
    line: int = -1
    """Index of the schedule line it comes from, -1 for the pulse that stops a recording."""


@dataclass(frozen=True, slots=True)
class OnTime:
    """An interval in which an output is on, all windows merged: [start_s, stop_s) at `level` percent.

    `stop_s` None: until the pack is empty. `flash`: the pattern, or None for steadily on. Bursts without end stand
    singly until `end`; the rest of them is one entry without stop whose pattern is the burst (it may be longer
    than any flash that the settings can hold).
    """

    start_s: int
    stop_s: int | None
    level: int = 100
    flash: Flash | None = None
    line: int = -1
    """Index of the (first) schedule line it comes from, -1 where it comes from none."""


@dataclass(frozen=True, slots=True)
class Edge:
    """An output changes: on (level 1 to 100) or off (0), at `at_s`. A flash pattern is one edge on, one off."""

    at_s: int
    output: str
    level: int
    flash: Flash | None = None


@dataclass(frozen=True, slots=True)
class Firing:
    """A release actuator that the controller fires: tries at at_s + k x (fire_s + pause_s)."""

    output: str
    at_s: int
    fire_s: int
    tries: int
    pause_s: int

    @property
    def last_end_s(self) -> int:
        """End of the last try, seconds elapsed."""
        return self.at_s + self.tries * self.fire_s + (self.tries - 1) * self.pause_s

    def all_tries(self, end_s: int) -> tuple[tuple[int, int], ...]:
        """(start, stop) of each try, seconds elapsed: those ordered, then one every 6 h until `end_s`.

        Nothing fires after `end_s`: a try then under way is cut, later ones do not come.
        """
        first = [self.at_s + k * (self.fire_s + self.pause_s) for k in range(self.tries)]
        last = self.last_end_s
        further = range(last + FURTHER_TRY_S, end_s, FURTHER_TRY_S)
        return tuple((start, min(start + self.fire_s, end_s)) for start in (*first, *further) if start < end_s)


@dataclass(frozen=True, slots=True)
class Interlocks:
    """What bounds the release. `shed_v` and `release_below_v` are per cell."""

    not_before_s: int
    latest_s: int
    without_water: bool
    shed_v: float
    release_below_v: float
    series: int
    keep: tuple[str, ...]
    """Outputs that survive shedding (beacon, locator), in board order; release outputs always do."""


@dataclass(frozen=True, slots=True)
class ShiftRelease:
    """Field change: release moved by step_s x k, k from first to last (first <= 0 <= last)."""

    step_s: int
    first: int
    last: int


@dataclass(frozen=True, slots=True)
class ChooseLevel:
    """Field change: the level of an output; values[0] is the level in the schedule. Whole percents."""

    output: str
    values: tuple[int, ...]


FieldChange = ShiftRelease | ChooseLevel


@dataclass(frozen=True, slots=True)
class OutputPlan:
    """All of one output: windows as compiled, merged on-times and edges for the unchanged dive."""

    output: str
    kind: OutputKind
    load: str
    role: Role | Literal["release", "stop"]
    windows: tuple[Window, ...]
    on_times: tuple[OnTime, ...]
    edges: tuple[Edge, ...]


@dataclass(frozen=True, slots=True)
class Note:
    """Something that compiling noticed, for judging and the report: `name` is a finding's name or ""."""

    name: str
    message: str
    place: Place
    load: str = ""
    fix: str = ""


@dataclass(frozen=True, slots=True)
class Fall:
    """The way down and up, nominal and bounds: speeds in m/s, times in true s, lift in N, pressure in dbar."""

    sink_speed: tuple[float, float, float]
    rise_speed: tuple[float, float, float]
    down_s: tuple[float, float, float]
    up_s: tuple[float, float, float]
    net_weight_n: tuple[float, float, float]
    """With ballast, positive down, at the bottom."""
    net_lift_n: tuple[float, float, float]
    """Without ballast, positive up, least over the column."""
    pressure_dbar: tuple[float, float, float]
    landing_speed: tuple[float, float, float]


@dataclass(frozen=True, slots=True)
class Plan:
    """What the controller will do and when things happen. See the module's page for the conventions."""

    name: str
    board: str
    board_type: int
    trigger: Trigger
    planned: datetime
    planned_plus_minus_s: float
    clock_tolerance: float
    """Largest relative error of the controller's clock over the dive, as a fraction."""
    events: Mapping[str, Bounds]
    true_events: Mapping[str, TrueBounds]
    first_edge_s: int
    """No output changes before: 60 with a water trigger (the wet minute), else 0."""
    outputs: Mapping[str, OutputPlan]
    """In the board's order; only those that a load, a stop or a release uses."""
    primary: Firing | None
    backup: Firing | None
    interlocks: Interlocks
    field_changes: tuple[FieldChange, ...]
    fall: Fall
    notes: tuple[Note, ...] = ()
    allowed_changes: tuple[bool, ...] = field(default=())
    """One flag for each combination of field changes, first change slowest; empty when there are none."""
    cut_s: tuple[float, float, float] = (0.0, 0.0, 0.0)
    """From the primary's command to the ballast gone, true s: shortest, nominal, end of the last try."""
    wait_s: float = 0.0
    """`recovery.wait`, true s."""
    backup_surface: TrueBounds | None = None
    """Surfacing if only the backup acts, true s after start; None without a backup."""

    @property
    def release_s(self) -> int:
        """The planned release, elapsed s, from which every edge that moves is an offset: the primary's `at`.

        Of a primary that parts by itself it is the late bound of the `release` event.
        """
        return self.primary.at_s if self.primary else self.events["release"].late

    @property
    def first_firing_s(self) -> int | None:
        """Planned first firing command, elapsed s: the primary's, else the backup's; None when nothing is fired."""
        firing = self.primary or self.backup
        return firing.at_s if firing else None

    @property
    def end_s(self) -> int:
        """`end`, elapsed s: everything but endless windows is off from here on. Moves with the release."""
        return self.events["end"].late

    @property
    def windows(self) -> tuple[Window, ...]:
        """All windows in the order of outputs, then as compiled."""
        return tuple(window for output in self.outputs.values() for window in output.windows)
