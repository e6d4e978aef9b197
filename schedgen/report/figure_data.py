"""What the pictures of a dive show, as plain numbers: lanes, events, courses of all cases, bands, limits.

The drawing on paper (`figure`), the one in a browser and the one of plain characters all start from here.
Times are seconds of the controller's elapsed clock.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from schedgen.report import words
from schedgen.report.cases import PLANNED

if TYPE_CHECKING:
    from schedgen.plan.model import Flash, OutputPlan
    from schedgen.report.check import Subject
    from schedgen.simulate.results import Case

Floats = NDArray[np.float64]
LONGEST_BAND = 900
"""Most points of the band between the cases: beyond it a browser draws no better, only slower."""
HELD = "voltage_v"
"""The quantity that holds from one row of a trace to the next; the others go on evenly."""
TOP_MARGIN = 1.03
"""The part of the picture that shows the dive itself ends this much after the latest surfacing."""


@dataclass(frozen=True, slots=True)
class Bar:
    """An output on from `start_s` to `stop_s` (cut at the end of the picture) at `level` percent."""

    start_s: float
    stop_s: float
    level: int
    pattern: str = ""
    """`0.1 s every 2 s` for a flash pattern, else empty."""
    endless: bool = False
    """True where it goes on until the pack is empty."""


@dataclass(frozen=True, slots=True)
class Lane:
    """One output of the board: which load hangs on it, what it is, and when it is on."""

    output: str
    label: str
    role: str
    bars: tuple[Bar, ...]


@dataclass(frozen=True, slots=True)
class EventBand:
    """When an event happens: early, nominal, late."""

    name: str
    early_s: float
    nominal_s: float
    late_s: float


@dataclass(frozen=True, slots=True)
class Limit:
    """A line that a curve must not cross."""

    name: str
    value: float


@dataclass(frozen=True, slots=True)
class Curves:
    """The course of one case: arrays of one length over `time_s`. `temperature_c` has the pack and each load."""

    time_s: Floats
    depth_m: Floats
    voltage_v: Floats
    charge_pct: Floats
    power_w: Floats
    temperature_c: Mapping[str, Floats]


@dataclass(frozen=True, slots=True)
class Envelope:
    """Least and greatest of a quantity over the cases as planned, over `time_s`."""

    time_s: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class FigureData:
    """Everything that a picture of a dive shows."""

    name: str
    code: str
    verdict: str
    start: datetime
    """The instant at elapsed 0, in the offset of the dive file."""
    lanes: tuple[Lane, ...]
    events: tuple[EventBand, ...]
    cases: Mapping[str, Curves]
    bands: Mapping[str, Envelope]
    """Of `depth_m`, `voltage_v`, `charge_pct`, and `temperature_c NAME` for the pack and each load."""
    voltage_limits: tuple[Limit, ...]
    charge_limits: tuple[Limit, ...]
    temperature_limits: Mapping[str, tuple[Limit, ...]] = field(default_factory=dict)
    """Of the pack's cells and of each load that has one."""
    lowest: tuple[float, float] = (0.0, 0.0)
    """Elapsed second and volts of the lowest voltage in the worst case as planned, peaks included."""
    end_s: float = 0.0
    dive_end_s: float = 0.0
    """Where the part that shows the dive ends and the wait for recovery begins."""

    @property
    def waits(self) -> bool:
        """True when the wait for recovery is so long that the dive needs a scale of its own."""
        return self.end_s > 1.6 * self.dive_end_s


def figure_data(subject: Subject) -> FigureData:
    """The pictures' numbers of a dive that was examined. Raises OutOfRange as the physics of pressure does."""
    plan, dive = subject.plan, subject.loaded.dive
    end = float(plan.end_s)
    latitude = dive.site.latitude.nominal
    cases = {name: _curves(case, latitude) for name, case in subject.results.cases.items()}
    planned = [cases[name] for name in PLANNED if name in cases]
    worst = subject.results.worst
    return FigureData(
        name=plan.name,
        code=subject.code or "no code",
        verdict=subject.judgement.verdict,
        start=plan.planned,
        lanes=tuple(_lane(output, end) for output in plan.outputs.values()),
        events=tuple(EventBand(n, b.early, b.nominal, b.late) for n, b in plan.events.items()),
        cases=cases,
        bands=_bands(subject, planned),
        voltage_limits=_voltage_limits(subject),
        charge_limits=(Limit("reserve", 100 * _reserve(subject)),),
        temperature_limits=_temperature_limits(subject),
        lowest=(worst.lowest_voltage_at_s, worst.lowest_voltage_v),
        end_s=end,
        dive_end_s=min(end, TOP_MARGIN * plan.events["surface"].late),
    )


def pattern_words(flash: Flash | None) -> str:
    """`0.1 s every 2 s`, or nothing."""
    return "" if flash is None else f"{flash.on_64 / 64:.2g} s every {flash.every_64 / 64:.3g} s"


def _lane(output: OutputPlan, end: float) -> Lane:
    label = {"release": "release", "stop": f"stop {output.load}"}.get(output.role, output.load)
    if output.kind == "release":
        label = "release"
    bars = tuple(
        Bar(
            on.start_s,
            end if on.stop_s is None else min(on.stop_s, end),
            on.level,
            pattern_words(on.flash),
            on.stop_s is None,
        )
        for on in output.on_times
        if on.start_s < end
    )
    return Lane(output.output, label, "release" if output.kind == "release" else output.role, bars)


def _curves(case: Case, latitude: float) -> Curves:
    from schedgen.physics.seawater import depth

    trace = case.trace
    metres = np.asarray(depth(np.maximum(trace.pressure_dbar, 0.0), latitude), dtype=np.float64)
    return Curves(
        time_s=trace.time_s,
        depth_m=metres,
        voltage_v=trace.voltage_v,
        charge_pct=100.0 * trace.charge,
        power_w=trace.power_w,
        temperature_c={"pack": trace.pack_c, **trace.load_c},
    )


def course_at(curves: Curves, values: Floats, times: Floats, held: bool) -> Floats:
    """`values` of a course at other times; nan outside it. Held values keep what the last row said."""
    inside = (times >= curves.time_s[0]) & (times <= curves.time_s[-1])
    if held:
        index = np.clip(np.searchsorted(curves.time_s, times, side="right") - 1, 0, len(values) - 1)
        found = values[index]
    else:
        found = np.interp(times, curves.time_s, values)
    return np.where(inside, found, np.nan)


def _grid(planned: list[Curves]) -> Floats:
    times = np.unique(np.concatenate([curves.time_s for curves in planned]))
    if len(times) <= LONGEST_BAND:
        return times
    return times[np.unique(np.linspace(0, len(times) - 1, LONGEST_BAND).astype(np.intp))]


def _bands(subject: Subject, planned: list[Curves]) -> dict[str, Envelope]:
    times = _grid(planned)

    def between(values: list[Floats], held: bool) -> Envelope:
        rows = np.array([course_at(c, v, times, held) for c, v in zip(planned, values, strict=True)])
        here = ~np.isnan(rows).all(axis=0)
        return Envelope(times[here], np.nanmin(rows[:, here], axis=0), np.nanmax(rows[:, here], axis=0))

    bands = {key: between([getattr(c, key) for c in planned], key == HELD) for key in ("voltage_v", "charge_pct")}
    for name in planned[0].temperature_c:
        bands[f"temperature_c {name}"] = between([c.temperature_c[name] for c in planned], False)
    bands["depth_m"] = _depth_band(subject)
    return bands


def _depth_band(subject: Subject) -> Envelope:
    """Shallowest and deepest that it may be, from the bounds of the events; straight lines between them."""
    plan, depth = subject.plan, subject.loaded.dive.site.depth
    splash, bottom, surface = (plan.events[name] for name in ("splash", "bottom", "surface"))
    up = plan.fall.up_s
    leaves_early = max(surface.early - up[0], bottom.late)
    leaves_late = max(surface.late - up[2], leaves_early)
    corners = (splash.early, splash.late, bottom.early, bottom.late, leaves_early, leaves_late, surface.early)
    times = np.unique(np.array([0.0, *corners, surface.late], dtype=np.float64))
    deepest = np.interp(times, [splash.early, bottom.early, leaves_late, surface.late], [0, depth.high, depth.high, 0])
    shallow = np.interp(times, [splash.late, bottom.late, leaves_early, surface.early], [0, depth.low, depth.low, 0])
    return Envelope(times, np.minimum(shallow, deepest), np.maximum(shallow, deepest))


def _reserve(subject: Subject) -> float:
    from schedgen.simulate.corners import DEFAULT_RESERVE

    reserve = subject.loaded.dive.pack.reserve
    return reserve.high if reserve is not None else DEFAULT_RESERVE


def _voltage_limits(subject: Subject) -> tuple[Limit, ...]:
    """What the pack's voltage must not go under: shedding, the request for release, the board's own least."""
    pack, limits = subject.loaded.dive.pack, subject.plan.interlocks
    board = Limit("board needs", subject.loaded.board.supply.voltage.low)
    if pack.supplies is not None:
        return (board,)
    lines = [
        Limit("shed", limits.shed_v * pack.series),
        Limit("asks for release", limits.release_below_v * pack.series),
    ]
    return (*lines, board)


def _temperature_limits(subject: Subject) -> dict[str, tuple[Limit, ...]]:
    rated = subject.loaded.cell.rated_temperature
    limits: dict[str, tuple[Limit, ...]] = {
        "pack": (Limit("cells at most", rated.high), Limit("cells at least", rated.low))
    }
    for name, load in subject.loaded.dive.loads.items():
        if load.heat_limit is not None:
            limits[name] = (Limit(f"{name} at most", load.heat_limit.low),)
    return limits


def plain(data: FigureData) -> dict[str, Any]:
    """The same as values for JSON, for the drawing in a browser. What is not a number there is None."""

    def rounded(values: Floats, digits: int) -> list[float | None]:
        numbers: list[float | None] = np.round(np.asarray(values, dtype=np.float64), digits).tolist()
        if np.isfinite(values).all():
            return numbers
        return [None if v is None or not math.isfinite(v) else v for v in numbers]

    def curves(one: Curves) -> dict[str, Any]:
        return {
            "time_s": rounded(one.time_s, 1),
            "depth_m": rounded(one.depth_m, 1),
            "voltage_v": rounded(one.voltage_v, 3),
            "charge_pct": rounded(one.charge_pct, 2),
            "power_w": rounded(one.power_w, 3),
            "temperature_c": {name: rounded(values, 2) for name, values in one.temperature_c.items()},
        }

    return {
        "name": data.name,
        "code": data.code,
        "verdict": data.verdict,
        "start_ms": round(data.start.timestamp() * 1000),
        "offset_min": round((data.start.utcoffset() or timedelta(0)).total_seconds() / 60),
        "offset": words.offset(data.start),
        "lanes": [
            {
                "output": lane.output,
                "label": lane.label,
                "role": lane.role,
                "bars": [[bar.start_s, bar.stop_s, bar.level, bar.pattern] for bar in lane.bars],
            }
            for lane in data.lanes
        ],
        "events": [[e.name, e.early_s, e.nominal_s, e.late_s] for e in data.events],
        "cases": {name: curves(one) for name, one in data.cases.items()},
        "planned": [name for name in PLANNED if name in data.cases],
        "bands": {
            key: {"time_s": rounded(b.time_s, 1), "low": rounded(b.low, 3), "high": rounded(b.high, 3)}
            for key, b in data.bands.items()
        },
        "limits": {
            "voltage_v": [[limit.name, limit.value] for limit in data.voltage_limits],
            "charge_pct": [[limit.name, limit.value] for limit in data.charge_limits],
            "temperature_c": [[x.name, x.value] for group in data.temperature_limits.values() for x in group],
        },
        "end_s": data.end_s,
        "dive_end_s": data.dive_end_s,
    }
