"""The panes of the picture, one function each: they draw into a matplotlib axes and know nothing of files."""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from schedgen.report.figure_style import (
    FAINT,
    GRID,
    INK,
    LANE_HATCH,
    LANE_INK,
    LIMIT,
    LINE,
    LINE_STYLES,
    SAND,
    SHADE,
)

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from schedgen.report.figure_data import Envelope, FigureData, Limit

HOUR = 3600.0
STEPS_H = (0.25, 0.5, 1, 2, 3, 6, 12, 24, 48, 96, 240, 480)
HALO: dict[str, Any] = {"facecolor": "white", "edgecolor": "none", "alpha": 0.85, "pad": 0.6}


def tick_step(span_s: float) -> float:
    """Seconds between two marks of a time axis, so that there are at most eleven."""
    for hours in STEPS_H:
        if span_s / (hours * HOUR) <= 11:
            return hours * HOUR
    return math.ceil(span_s / 10 / 86400) * 86400.0


def time_ticks(ax: Axes, span_s: float, begin_s: float) -> None:
    """Marks at whole hours after start, the same for every pane of a column, with a faint grid behind."""
    step = tick_step(span_s if begin_s == 0 else 2.6 * span_s)
    first = math.ceil((begin_s + 0.02 * span_s * (begin_s > 0)) / step)
    marks = [step * k for k in range(first, math.floor((begin_s + span_s) / step) + 1)]
    ax.set_xticks(marks, [f"{mark / HOUR:g}" for mark in marks])
    ax.tick_params(length=2.5, pad=2)
    ax.grid(True, axis="x", color=GRID, linewidth=0.5)
    ax.set_axisbelow(True)
    for side in ("top",):
        ax.spines[side].set_visible(False)


def shade_events(ax: Axes, data: FigureData) -> None:
    """Each event as a sand band from early to late, with a fine line at the nominal time."""
    for event in data.events:
        ax.axvspan(event.early_s, max(event.late_s, event.early_s + 1), color=SAND, linewidth=0, zorder=0.5)
        ax.axvline(event.nominal_s, color=FAINT, linewidth=0.6, linestyle=(0, (1, 2)), zorder=0.6)


def events(ax: Axes, data: FigureData, begin_s: float, end_s: float) -> None:
    """The strip of events: a bar early to late, a tick at nominal, the name beside it on the first free row."""
    ax.set_yticks([])
    ax.set_ylabel("events", rotation=0, ha="right", va="center")
    for spine in ax.spines.values():
        spine.set_visible(False)
    width = end_s - begin_s
    per_letter = width * (0.0125 if begin_s == 0 else 0.036)
    free = [-math.inf] * 3
    for event in data.events:
        if event.name == "start" or not begin_s <= event.nominal_s <= end_s + 1:
            continue
        length = per_letter * (len(event.name) + 1.2)
        left = event.late_s + length > end_s
        begin = event.early_s - length if left else event.early_s
        row = next((k for k in range(3) if free[k] <= begin), 2)
        free[row] = (event.late_s if left else event.late_s + length) + 0.2 * per_letter
        y = row + 0.5
        late = max(event.late_s, event.early_s + width * 0.004)
        ax.barh(y, late - event.early_s, left=event.early_s, height=0.62, color=SAND, edgecolor=INK, linewidth=0.5)
        ax.plot([event.nominal_s] * 2, [y - 0.31, y + 0.31], color=INK, linewidth=1.1)
        x = event.early_s - 0.5 * per_letter if left else late + 0.5 * per_letter
        ax.text(x, y, event.name, ha="right" if left else "left", va="center", fontsize=7, bbox=HALO, zorder=3)
    ax.set_ylim(max(2, sum(1 for used in free if used > -math.inf)), 0)


def lanes(ax: Axes, data: FigureData, label: bool) -> None:
    """A lane for each output; the height of a bar is its level, upright strokes a flash pattern."""
    count = len(data.lanes)
    ax.set_ylim(count, 0)
    ax.set_yticks([k + 0.5 for k in range(count)], [_lane_label(lane.label, lane.output) for lane in data.lanes])
    ax.tick_params(axis="y", length=0)
    for k, lane in enumerate(data.lanes):
        if k:
            ax.axhline(k, color=GRID, linewidth=0.5)
        ink = LANE_INK.get(lane.role, FAINT)
        for bar in lane.bars:
            height = 0.74 * max(bar.level, 12) / 100
            ax.bar(
                bar.start_s,
                height,
                width=bar.stop_s - bar.start_s,
                bottom=k + 0.87 - height,
                align="edge",
                color="white" if bar.pattern else ink,
                edgecolor=ink if bar.pattern else "white",
                hatch="||||||" if bar.pattern else LANE_HATCH.get(lane.role),
                linewidth=0.0,
                zorder=2,
            )
            ax.bar(
                bar.start_s,
                height,
                width=bar.stop_s - bar.start_s,
                bottom=k + 0.87 - height,
                align="edge",
                color="none",
                edgecolor=ink,
                linewidth=0.7,
                zorder=2.1,
            )
    if not label:
        ax.set_yticklabels([])


def depth(ax: Axes, data: FigureData) -> None:
    """Depth downwards, the band from the earliest and shallowest to the latest and deepest."""
    _band(ax, data.bands["depth_m"])
    curves = data.cases["nominal"]
    ax.plot(curves.time_s, curves.depth_m, color=LINE, linewidth=1.3)
    deepest = float(data.bands["depth_m"].high.max())
    ax.set_ylim(deepest * 1.06, -deepest * 0.04)
    ax.set_ylabel("depth, m")


def voltage(ax: Axes, data: FigureData, name_limits: bool) -> None:
    """Pack voltage with the limits it must not cross, and the lowest of the worst case with its peaks."""
    _band(ax, data.bands["voltage_v"], step=True)
    curves = data.cases["nominal"]
    ax.step(curves.time_s, curves.voltage_v, where="post", color=LINE, linewidth=1.1)
    at, volts = data.lowest
    ax.plot([at], [volts], marker="v", color=INK, markersize=4.5, linestyle="none", zorder=4, clip_on=False)
    begin, end = ax.get_xlim()
    if begin <= at <= end:
        right = at > begin + 0.5 * (end - begin)
        ax.annotate(
            f"lowest {volts:.2f} V",
            (at, volts),
            xytext=(-5 if right else 5, -7),
            textcoords="offset points",
            fontsize=7,
            ha="right" if right else "left",
            va="top",
            bbox=HALO,
            zorder=5,
        )
    _limits(ax, data.voltage_limits, name_limits)
    shown = [data.bands["voltage_v"].high.max(), volts, *(limit.value for limit in data.voltage_limits)]
    room = 0.08 * (max(shown) - min(shown))
    ax.set_ylim(min(shown) - room, max(shown) + room)
    ax.set_ylabel("pack, V")


def charge(ax: Axes, data: FigureData, name_limits: bool) -> None:
    """Charge left, as a share of label times health, with the reserve."""
    _band(ax, data.bands["charge_pct"])
    curves = data.cases["nominal"]
    ax.plot(curves.time_s, curves.charge_pct, color=LINE, linewidth=1.3)
    _limits(ax, data.charge_limits, name_limits)
    ax.set_ylim(-3, 103)
    ax.set_ylabel("charge, %")


def temperature(ax: Axes, data: FigureData, name_limits: bool) -> None:
    """Temperature of the pack and of each load that has one, with the limits that are near enough to show."""
    highest, least = -math.inf, math.inf
    for index, (name, values) in enumerate(data.cases["nominal"].temperature_c.items()):
        band = data.bands[f"temperature_c {name}"]
        _band(ax, band, alpha=1.0 if index == 0 else 0.5)
        highest, least = max(highest, float(band.high.max())), min(least, float(band.low.min()))
        style = LINE_STYLES[index % len(LINE_STYLES)]
        ax.plot(data.cases["nominal"].time_s, values, color=LINE if index == 0 else INK, linewidth=1.2, linestyle=style)
        if name_limits:
            spot = _quiet_spot(ax, data.cases["nominal"].time_s, values, index)
            ax.annotate(
                name if len(name) <= 22 else name[:21] + "…",
                spot,
                xytext=(0, 3),
                textcoords="offset points",
                fontsize=7,
                bbox=HALO,
                zorder=4,
                ha="left",
                va="bottom",
            )
    limits = [limit for group in data.temperature_limits.values() for limit in group]
    near = [x for x in limits if least - 25 <= x.value <= highest + 35]
    _limits(ax, near, name_limits)
    shown = [highest, least, *(limit.value for limit in near)]
    room = 0.08 * (max(shown) - min(shown) + 1)
    ax.set_ylim(min(shown) - room, max(shown) + room * 2)
    ax.set_ylabel("temperature, °C")


def legend(figure: Figure, y: float) -> None:
    """One line that says what line, shade, sand and dashes mean."""
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    handles = [
        Line2D([], [], color=LINE, linewidth=1.4, label="nominal"),
        Patch(facecolor=SHADE, edgecolor=FAINT, linewidth=0.4, label="between the cases as planned"),
        Patch(facecolor=SAND, edgecolor=INK, linewidth=0.5, label="event, early to late"),
        Line2D([], [], color=LIMIT, linewidth=1, linestyle=(0, (4, 2)), label="limit"),
        Patch(facecolor="white", edgecolor=INK, hatch="||||||", linewidth=0.5, label="flashes"),
    ]
    figure.legend(
        handles=handles, loc="center", bbox_to_anchor=(0.53, y), ncol=5, frameon=False, fontsize=7, handlelength=2.2
    )


def _lane_label(label: str, output: str) -> str:
    return f"{label if len(label) <= 15 else label[:14] + '…'}  {output}" if len(label) <= 9 else _short(label)


def _short(label: str) -> str:
    return label if len(label) <= 16 else label[:15] + "…"


def _band(ax: Axes, band: Envelope, step: bool = False, alpha: float = 1.0) -> None:
    ax.fill_between(
        band.time_s,
        band.low,
        band.high,
        color=SHADE,
        linewidth=0.3,
        alpha=alpha,
        step="post" if step else None,
        zorder=1,
    )


def _limits(ax: Axes, limits: Iterable[Limit], named: bool) -> None:
    """Each limit with its name at the right: over its line, or under it where the next one is close above."""
    ordered = sorted(limits, key=lambda limit: limit.value)
    spread = max((abs(limit.value) for limit in ordered), default=1.0) or 1.0
    for index, limit in enumerate(ordered):
        ax.axhline(limit.value, color=LIMIT, linewidth=0.9, linestyle=(0, (4, 2)), zorder=3)
        close = [
            0 <= k < len(ordered) and abs(ordered[k].value - limit.value) < 0.16 * spread
            for k in (index - 1, index + 1)
        ]
        if named:
            ax.annotate(
                f"{limit.name} {limit.value:.4g}",
                (0.72 if all(close) else 0.995, limit.value),
                xycoords=("axes fraction", "data"),
                xytext=(0, -1.5 if close[1] else 1.5),
                textcoords="offset points",
                ha="right",
                va="top" if close[1] else "bottom",
                fontsize=6.5,
                color=LIMIT,
                zorder=5,
                bbox={**HALO, "pad": 0.2},
            )


def _quiet_spot(ax: Axes, times: Any, values: Any, index: int) -> tuple[float, float]:
    """A place for a curve's name: a part along the pane that differs from curve to curve."""
    begin, end = ax.get_xlim()
    x = begin + (0.16 + 0.2 * index) * (end - begin)
    return x, float(np.interp(x, times, values))
