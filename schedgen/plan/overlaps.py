"""Lines that are on at the same time on one output: an error where nominal times say so, else merged and noted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from schedgen.files.quantity import write_duration
from schedgen.plan.edges import Span, occurrences, spans_of
from schedgen.plan.model import Note, Window
from schedgen.plan.moment import NEVER, State, cut_there
from schedgen.plan.spots import Spots
from schedgen.plan.times import said
from schedgen.plan.windows import Pair


def first_meeting(one: Sequence[Span], other: Sequence[Span]) -> Span | None:
    """The first time that two sorted lists of spans share, None where they share none."""
    i = j = 0
    while i < len(one) and j < len(other):
        start, stop = max(one[i][0], other[j][0]), min(one[i][1], other[j][1])
        if start < stop:
            return start, stop
        if one[i][1] < other[j][1]:
            i += 1
        else:
            j += 1
    return None


def _grouped(windows: Sequence[Window]) -> Mapping[str, list[Window]]:
    groups: dict[str, list[Window]] = {}
    for window in windows:
        groups.setdefault(window.output, []).append(window)
    return groups


def overlap_notes(pairs: Sequence[Pair], state: State, spots: Spots) -> Iterator[Note]:
    """`window-overlap` for lines of one output whose nominal times overlap; an unnamed note where bounds alone do."""
    lines = [pair for pair in pairs if pair.window.line >= 0]
    planned, nominal = _grouped([p.window for p in pairs]), _grouped([p.nominal for p in pairs])
    for one, other in combinations(lines, 2):
        if one.window.output != other.window.output:
            continue
        path = f"schedule.{other.window.line}"
        met = first_meeting(spans_of(one.nominal, nominal, state), spans_of(other.nominal, nominal, state))
        if met is not None:
            yield Note(
                "window-overlap",
                f"on together with another line of {one.window.load} {_between(met)}",
                spots.at(path), other.window.load,
                "end one before the other begins, or make them one line",
            )  # fmt: skip
            continue
        met = first_meeting(spans_of(one.window, planned, state), spans_of(other.window, planned, state))
        if met is not None:
            yield Note(
                "",
                f"two lines of {one.window.load} may both be on {_between(met)}, "
                "because events may be early or late; merged",
                spots.at(path), other.window.load,
            )  # fmt: skip


def _bursts(count: int) -> str:
    return f"{count} burst{'' if count == 1 else 's'}"


def _between(span: Span) -> str:
    until = "on" if span[1] == NEVER else f"to {write_duration(span[1])}"
    return f"from {write_duration(span[0])} {until} after start"


def release_cut_notes(windows: Sequence[Window], state: State, spots: Spots) -> Iterator[Note]:
    """How many bursts each line has, how many fall surely on the bottom, and what the first firing command cuts off."""
    for window in windows:
        if window.follow is not None or window.stop_s is None:
            continue
        done = occurrences(window, state)
        path, at = f"schedule.{window.line}", said(state.cut)
        if window.burst is not None:
            lost = window.burst.count - len(done)
            cut = f"; {_bursts(lost)} after the first firing command ({at}) left out" if lost else ""
            message = f"{_bursts(len(done))}, {window.burst.surely_on_bottom} of them surely on the bottom{cut}"
            yield Note("", message, spots.at(path), window.load)
        if done and cut_there(window, state) and done[-1][1] == state.cut < window.stop_s:
            message = f"cut at the first firing command, {at}: its stop does not follow the release"
            yield Note("", message, spots.at(path), window.load)
