"""The search: the edge of what passes, of one knob and of two, against brute force."""

from __future__ import annotations

from collections.abc import Sequence

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.fit.edits import Edit
from schedgen.fit.search import Knob, best, edge
from schedgen.fit.trial import Trial


def knob(name: str, low: int, high: int, now: int, better: int = 1, grid: int = 1) -> Knob:
    return Knob(name, low, high, now, better, lambda value: (Edit(name, str(value), value),), grid)


def values_of(edits: Sequence[Edit]) -> dict[str, int]:
    return {edit.path: int(edit.text) for edit in edits}


@settings(deadline=None)
@given(st.integers(-5000, 5000), st.integers(1, 5000), st.integers(0, 4999), st.sampled_from([1, -1]))
def test_the_edge_is_the_last_that_passes(good: int, steps: int, room: int, way: int) -> None:
    last = good + way * min(room, steps - 1)
    assert edge(good, good + way * steps, lambda value: (last - value) * way >= 0) == last


@settings(deadline=None, max_examples=60)
@given(st.integers(0, 999), st.integers(0, 999), st.sampled_from([1, -1]))
def test_one_knob_finds_the_best_that_passes(limit: int, now: int, better: int) -> None:
    def judge(edits: Sequence[Edit]) -> Trial:
        value = values_of(edits)["a"]
        return Trial((float(better * value),), () if (limit - value) * better >= 0 else ("x: too much",))

    found = best([knob("a", 0, 999, now, better)], judge)
    assert found is not None
    assert found.values == (limit,)


def test_where_nothing_passes_there_is_no_answer() -> None:
    never = best([knob("a", 0, 99, 5)], lambda _: Trial((0.0,), ("x: no",)))
    neither = best([knob("a", 0, 99, 5), knob("b", 0, 9, 1)], lambda _: Trial((0.0,), ("x: no",)))
    assert (never, neither) == (None, None)


@settings(deadline=None, max_examples=25)
@given(st.integers(1, 9), st.integers(1, 9), st.integers(1, 30), st.integers(300, 3000), st.integers(40, 180))
def test_two_knobs_find_the_best_pair_of_a_grid(cost_a: int, cost_b: int, worth_b: int, budget: int, most: int) -> None:
    """A budget that two times share at different prices: brute force over every pair of whole steps."""

    def judge(edits: Sequence[Edit]) -> Trial:
        at = values_of(edits)
        ok = at["a"] * cost_a + at["b"] * cost_b <= budget
        return Trial((float(at["a"] + worth_b * at["b"]),), () if ok else ("x: over",))

    found = best([knob("a", 0, 400, 20), knob("b", 1, most, 5)], judge)
    assert found is not None
    pairs = ((a, b) for a in range(401) for b in range(1, most + 1) if a * cost_a + b * cost_b <= budget)
    assert found.score == max(a + worth_b * b for a, b in pairs)
    assert judge([Edit("a", str(found.values[0]), 0), Edit("b", str(found.values[1]), 0)]).passes


@pytest.mark.parametrize("gap", [(40, 60), (5, 30)])
def test_a_gap_in_what_passes_does_not_hide_what_is_better(gap: tuple[int, int]) -> None:
    def judge(edits: Sequence[Edit]) -> Trial:
        value = values_of(edits)["a"]
        return Trial((float(value),), ("x: gap",) if gap[0] <= value < gap[1] or value > 800 else ())

    found = best([knob("a", 0, 999, 3)], judge)
    assert found is not None
    assert found.values == (800,)
