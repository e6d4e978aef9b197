"""Lines that are on at the same time on one output: an error where nominal times say so, else merged and noted."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from schedgen.plan.edges import Span, spans_of
from schedgen.plan.model import Note, Window
from schedgen.plan.moment import NEVER, State
from schedgen.plan.spots import Spots
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
                f"on together with another line of {one.window.load} from {met[0]} s {_until(met)} after start",
                spots.at(path), other.window.load,
                "end one before the other begins, or make them one line",
            )  # fmt: skip
            continue
        met = first_meeting(spans_of(one.window, planned, state), spans_of(other.window, planned, state))
        if met is not None:
            yield Note(
                "",
                f"two lines of {one.window.load} may both be on from {met[0]} s {_until(met)} after start, "
                "because events may be early or late; merged",
                spots.at(path), other.window.load,
            )  # fmt: skip


def _until(span: Span) -> str:
    return "on" if span[1] == NEVER else f"to {span[1]} s"
