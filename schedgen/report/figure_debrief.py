"""The picture of a debrief: what was planned, and what the board told afterwards, on one scale of time."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from schedgen.report import figure_panes as panes
from schedgen.report.figure_style import INK, MEASURED

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from schedgen.report.figure_data import FigureData


@dataclass(frozen=True, slots=True)
class Measured:
    """What a board told of its dive, elapsed s on its own clock.

    `voltage` are readings (elapsed s, V), taken while cameras and lights are off and no release fires. `events` are
    what happened and when, by name; `ended_s` is the last second that was journalled, None where not known.
    """

    voltage: Sequence[tuple[float, float]] = ()
    events: Mapping[str, float] = field(default_factory=dict)
    ended_s: float | None = None


def debrief(planned: FigureData, measured: Measured) -> Figure:
    """The picture as a matplotlib figure, A4 upright at most; `schedgen.report.figure.rendered` makes a file of it.

    Raises UsageError where matplotlib is missing.
    """
    from schedgen.report.figure import A4_WIDTH_IN, LANE_IN, SETTINGS, matplotlib_parts, title

    figure_class, rc_context = matplotlib_parts()
    end = _end(planned, measured)
    rows = (0.7, LANE_IN * max(1, len(planned.lanes)), 1.5, 3.2)
    head, foot, gap = 0.78, 0.75, 0.22
    height = head + foot + sum(rows) + gap * (len(rows) - 1)
    with rc_context(SETTINGS):
        figure = figure_class(figsize=(A4_WIDTH_IN, height))
        grid = figure.add_gridspec(
            len(rows),
            1,
            height_ratios=rows,
            hspace=gap * len(rows) / sum(rows),
            left=0.125,
            right=0.985,
            top=1 - head / height,
            bottom=foot / height,
        )
        events, lanes, depth, voltage = (figure.add_subplot(grid[row]) for row in range(len(rows)))
        for ax in (events, lanes, depth, voltage):
            ax.set_xlim(0, end)
        panes.events(events, planned, 0, end)
        panes.lanes(lanes, planned, label=True)
        panes.depth(depth, planned)
        panes.voltage(voltage, planned, name_limits=False)
        _readings(voltage, planned, measured)
        for ax in (events, lanes, depth, voltage):
            panes.shade_events(ax, planned)
            panes.time_ticks(ax, end, 0)
            ax.tick_params(labelbottom=False)
            _happened(ax, measured, end, named=ax is events)
        voltage.tick_params(labelbottom=True)
        voltage.set_xlabel("hours after start, by the controller's clock")
        title(figure, planned, height)
        _legend(figure, 0.22 / height)
    return figure


def _end(planned: FigureData, measured: Measured) -> float:
    """What is shown: the dive, and whatever was told beyond it, up to the end."""
    told = [at for at, _ in measured.voltage] + list(measured.events.values())
    if measured.ended_s is not None:
        told.append(measured.ended_s)
    return max(planned.dive_end_s, 1.02 * max(told, default=0.0))


def _readings(ax: Axes, planned: FigureData, measured: Measured) -> None:
    if not measured.voltage:
        return
    times, volts = zip(*measured.voltage, strict=True)
    ax.plot(times, volts, linestyle="none", marker="D", markersize=3.6, color=MEASURED, markeredgecolor="white",
            markeredgewidth=0.5, zorder=6)  # fmt: skip
    begin, end = ax.get_xlim()
    band = planned.bands["voltage_v"]
    shown = (band.time_s >= begin) & (band.time_s <= end)
    low = min(min(volts), float(band.low[shown].min()))
    high = max(max(volts), float(band.high[shown].max()))
    ax.set_ylim(low - 0.15, high + 0.15)


def _happened(ax: Axes, measured: Measured, end: float, named: bool) -> None:
    """A full line at each thing that happened, its name over the strip of events, on two rows in turn."""
    marks = dict(measured.events)
    if measured.ended_s is not None:
        marks.setdefault("journal ends", measured.ended_s)
    for index, (name, at) in enumerate(sorted(marks.items(), key=lambda mark: mark[1])):
        ax.axvline(at, color=MEASURED, linewidth=1.1, zorder=3)
        if named:
            right = at > 0.8 * end
            ax.annotate(
                name, (at, 1), xycoords=("data", "axes fraction"), xytext=(-3 if right else 3, 3 + 11 * (index % 2)),
                textcoords="offset points", ha="right" if right else "left", va="bottom", fontsize=7, color=MEASURED,
                fontweight="bold", bbox=panes.HALO, zorder=5,
            )  # fmt: skip


def _legend(figure: Figure, y: float) -> None:
    from matplotlib.lines import Line2D

    from schedgen.report.figure_style import LINE

    handles = [
        Line2D([], [], color=LINE, linewidth=1.4, label="planned, nominal"),
        Line2D([], [], color=MEASURED, marker="D", markersize=3.6, linestyle="none",
               label="read by the board, cameras and lights off"),
        Line2D([], [], color=MEASURED, linewidth=1.1, label="happened"),
        Line2D([], [], color=INK, linewidth=0.6, linestyle=(0, (1, 2)), label="event, nominal"),
    ]  # fmt: skip
    figure.legend(handles=handles, loc="center", bbox_to_anchor=(0.53, y), ncol=4, frameon=False, fontsize=7)
