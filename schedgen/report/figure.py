"""The picture of a dive on paper: a lane for each output, depth, voltage, charge and temperature under one another.

matplotlib draws it and is imported only then. The same dive gives the same bytes.
"""

from __future__ import annotations

import warnings
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta
from io import BytesIO
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

from schedgen.errors import UsageError
from schedgen.report import figure_panes as panes
from schedgen.report import words
from schedgen.report.figure_debrief import Measured, debrief
from schedgen.report.figure_style import FAINT, INK

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from schedgen.report.figure_data import FigureData

FORMS = ("svg", "png", "pdf")
A4_WIDTH_IN = 7.3
"""Leaves 12 mm at either side of A4."""
LANE_IN = 0.24
_INSTALL = "install it with: pip install 'schedgen[plot]'"
SETTINGS: dict[str, Any] = {
    "font.family": ["DejaVu Sans"],
    "font.size": 7.5,
    "text.color": INK,
    "text.parse_math": False,
    "axes.edgecolor": FAINT,
    "axes.labelcolor": INK,
    "axes.linewidth": 0.6,
    "xtick.color": INK,
    "ytick.color": INK,
    "xtick.labelsize": 7,
    "ytick.labelsize": 7,
    "hatch.linewidth": 0.5,
    "svg.hashsalt": "schedgen",
}


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of time that gets a column of its own: the dive, and the wait for recovery."""

    title: str
    begin_s: float
    end_s: float
    share: float


def parts(data: FigureData) -> tuple[Part, ...]:
    """One column, or two where the wait is so long that the dive would be squeezed."""
    if not data.waits:
        return (Part("", 0.0, data.end_s, 1.0),)
    return (Part("dive", 0.0, data.dive_end_s, 0.74), Part("waiting for recovery", data.dive_end_s, data.end_s, 0.26))


def draw(data: FigureData) -> Figure:
    """The picture as a matplotlib figure, A4 upright at most. Raises UsageError where matplotlib is missing."""
    figure_class, rc_context = matplotlib_parts()
    lanes = max(1, len(data.lanes))
    rows = (0.46, LANE_IN * lanes, 1.55, 1.5, 1.15, 1.35)
    gap = 0.2
    head, foot = 0.72, 0.72
    height = head + foot + sum(rows) + gap * (len(rows) - 1)
    with rc_context(SETTINGS):
        figure = figure_class(figsize=(A4_WIDTH_IN, height))
        columns = parts(data)
        grid = figure.add_gridspec(
            len(rows),
            len(columns),
            height_ratios=rows,
            width_ratios=[p.share for p in columns],
            wspace=0.025,
            hspace=gap * len(rows) / sum(rows),
            left=0.125,
            right=0.985,
            top=1 - head / height,
            bottom=foot / height,
        )
        axes = [[figure.add_subplot(grid[row, column]) for row in range(len(rows))] for column in range(len(columns))]
        for index, part in enumerate(columns):
            _column(data, part, axes[index], first=index == 0, last=index == len(columns) - 1)
        _frame(figure, data, height)
        panes.legend(figure, 0.23 / height)
    return figure


def picture(data: FigureData, form: str = "svg", text_as_paths: bool = True) -> bytes:
    """The picture as a file of the form `svg`, `png` or `pdf`. Raises UsageError for another form."""
    return rendered(draw(data), form, text_as_paths)


def rendered(figure: Figure, form: str, text_as_paths: bool = True) -> bytes:
    """A figure as the bytes of a file, the same ones each time: no date, no version, no random names."""
    if form not in FORMS:
        raise UsageError(f"There is no picture of the form {form!r}.", f"end the name in one of: {', '.join(FORMS)}")
    _, rc_context = matplotlib_parts()
    metadata: dict[str, Any] = {
        "svg": {"Date": None, "Creator": None},
        "png": {"Software": None},
        "pdf": {"CreationDate": None, "Creator": None, "Producer": None},
    }[form]
    buffer = BytesIO()
    with rc_context({**SETTINGS, "svg.fonttype": "path" if text_as_paths else "none"}), warnings.catch_warnings():
        # A name in a script that the font lacks is drawn as boxes: the words beside the picture have it in full.
        warnings.filterwarnings("ignore", message=".*[Gg]lyph.*")
        figure.savefig(buffer, format=form, dpi=200, metadata=metadata)
    return buffer.getvalue()


def form_of(path: str) -> str:
    """The form that a file's name asks for. Raises UsageError where it asks for none that there is."""
    suffix = PurePath(path).suffix.lower().lstrip(".")
    if suffix not in FORMS:
        raise UsageError(f"{path}: a picture is written as SVG, PNG or PDF.", "end the name in .svg, .png or .pdf")
    return suffix


def matplotlib_parts() -> tuple[type[Figure], Any]:
    """matplotlib's class of figures and its context of settings. Raises UsageError where it is missing."""
    try:
        from matplotlib import rc_context
        from matplotlib.figure import Figure
    except ImportError as error:
        raise UsageError("Drawing needs matplotlib, which is not there.", _INSTALL) from error
    return Figure, rc_context


def _column(data: FigureData, part: Part, axes: Sequence[Axes], first: bool, last: bool) -> None:
    """All panes of one stretch of time, from the strip of events down."""
    events, lanes, depth, voltage, charge, temperature = axes
    for ax in axes:
        ax.set_xlim(part.begin_s, part.end_s)
    panes.events(events, data, part.begin_s, part.end_s)
    panes.lanes(lanes, data, label=first)
    panes.depth(depth, data)
    panes.voltage(voltage, data, name_limits=first)
    panes.charge(charge, data, name_limits=first)
    panes.temperature(temperature, data, name_limits=first)
    for ax in axes:
        panes.shade_events(ax, data)
        panes.time_ticks(ax, part.end_s - part.begin_s, part.begin_s)
        ax.tick_params(labelbottom=False)
        if not first:
            ax.tick_params(labelleft=False, left=False)
            ax.set_ylabel("")
            ax.spines["left"].set_linestyle((0, (2, 2)))
        if not last:
            ax.spines["right"].set_visible(False)
    temperature.tick_params(labelbottom=True)
    temperature.set_xlabel("hours after start, by the controller's clock" if first else part.title)
    _local_axis(events, data, part)


def _local_axis(ax: Axes, data: FigureData, part: Part) -> None:
    """Local time along the top, at whole hours of the clock on deck."""
    step = panes.tick_step((part.end_s - part.begin_s) * 0.74 / part.share * (1.0 if part.begin_s == 0 else 1.6))
    begin = data.start + timedelta(seconds=part.begin_s)
    midnight = begin.replace(hour=0, minute=0, second=0, microsecond=0)
    marks, labels, day = [], [], None
    count = int((begin - midnight).total_seconds() // step)
    while True:
        instant = midnight + timedelta(seconds=step * count)
        count += 1
        at = (instant - data.start).total_seconds()
        if at > part.end_s:
            break
        if at < part.begin_s + 0.012 * (part.end_s - part.begin_s) and part.begin_s > 0:
            continue
        if at < part.begin_s:
            continue
        marks.append(at)
        new_day = day is not None and instant.date() != day
        text = f"{instant:%H:%M}"
        labels.append(f"{text}\n{instant.day} {instant:%b}" if new_day or day is None else text)
        day = instant.date()
    top = ax.secondary_xaxis("top")
    top.set_xticks(marks, labels)
    top.tick_params(length=2.5, pad=1.5)
    top.spines["top"].set_visible(False)


def _frame(figure: Figure, data: FigureData, height: float) -> None:
    """The name above, the clock's offset beside the top axis."""
    title(figure, data, height)
    figure.text(0.012, 1 - 0.5 / height, words.offset(data.start), fontsize=7, va="top")


def title(figure: Figure, data: FigureData, height: float) -> None:
    """Name of the dive at the left, verdict and code at the right; a figure of `height` inches."""
    name = data.name if len(data.name) <= 60 else data.name[:59] + "…"
    head: dict[str, Any] = {"y": 1 - 0.13 / height, "fontsize": 10.5, "fontweight": "bold", "va": "top"}
    figure.text(0.012, s=name, **head)
    figure.text(0.985, s=f"{data.verdict.upper()}   {data.code}", ha="right", **head)


__all__ = ["FORMS", "Measured", "debrief", "draw", "form_of", "parts", "picture", "rendered"]
