"""Field changes: every combination judged as the dive it makes, and offered only when that dive has no new stop."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from schedgen.judge import judge
from schedgen.judge.judging import judge_subject
from schedgen.judge.subject import Subject
from schedgen.plan import apply_changes, combinations
from schedgen.settings import decode
from schedgen.simulate import simulate
from schedgen.simulate.choices import simulate_deciding

from .test_findings import SHIFT, parallel

LEVELS = "values: [70 %, 45 %]"


def test_a_level_that_would_cost_the_reserve_is_not_offered(read: Callable) -> None:
    """With 3 strings 2.9 Wh are left above the reserve at 70 %; the lights take 35 Wh, so 100 % takes 15 Wh more."""
    loaded, _ = read(*parallel(3), (LEVELS, "values: [70 %, 100 %]"))
    offered = {choice.values: choice for choice in loaded.choices()}
    assert loaded.check().verdict == "go"
    assert offered[0, 70].allowed
    assert not offered[0, 100].allowed
    assert offered[0, 100].words == "lights at 100 %"
    assert [reason.split(":")[0] for reason in offered[0, 100].reasons] == ["reserve-short"]


def test_an_earlier_release_that_cuts_a_recording_is_not_offered(read: Callable) -> None:
    """The last window ends 30 min before the release; an hour earlier it is cut short."""
    late = ("until: bottom + 40 min", "until: bottom + 7 h 30 min")
    bursts = ("  - {load: camera, from: bottom + 2 h, until: release - 5 min, every: 30 min, for: 6 min}\n", "")
    rule = ("stop: OUT3", "stop: after 7 h 40 min")
    assert not read(late, bursts, rule, (SHIFT, ""))[0].plan().allowed_changes.count(False)
    loaded, _ = read(late, bursts, rule)
    blamed = {c.words: c.reasons for c in loaded.choices() if not c.allowed}
    assert any("camera-cut-while-recording@camera" in reason for reason in blamed["release 1 h earlier"])


def test_the_block_carries_what_was_judged(read: Callable) -> None:
    loaded, _ = read(*parallel(3), (LEVELS, "values: [70 %, 100 %]"))
    said = decode(loaded.settings().block)
    assert said.allowed_changes == loaded.plan().allowed_changes == tuple(c.allowed for c in loaded.choices())
    assert any(said.allowed_changes)
    assert not all(said.allowed_changes)


def test_each_combination_is_judged_as_a_whole_check_would(read: Callable) -> None:
    """The second way: each changed plan simulated in all its cases and judged by all rules."""
    for edits in (
        (*parallel(3), (LEVELS, "values: [70 %, 100 %]")),
        (("latest: start + 13 h", "latest: start + 11 h"),),
    ):
        loaded, _ = read(*edits)
        known = {(f.name, f.load) for f in _bare(loaded).findings if f.severity == "stop"}
        for choice in loaded.choices():
            changed = apply_changes(loaded.plan(), choice.values)
            results = simulate(loaded.dive, loaded.board, loaded.cell, changed)
            found = judge(loaded, changed, results, loaded.settings().block).findings
            fresh = {(f.name, f.load) for f in found if f.blocks} - known
            late = changed.primary is not None and changed.primary.last_end_s > changed.interlocks.latest_s
            assert choice.allowed == (not fresh and not late), choice


def _bare(loaded):  # type: ignore[no-untyped-def]
    plan = replace(loaded.plan(), field_changes=(), allowed_changes=())
    return judge_subject(Subject(loaded, plan, loaded.simulate()))


def test_the_deciding_figures_are_those_of_the_whole_simulation(read: Callable) -> None:
    loaded, _ = read(*parallel(3))
    changed = apply_changes(loaded.plan(), combinations(loaded.plan())[-1])
    whole = simulate(loaded.dive, loaded.board, loaded.cell, changed).worst
    few = simulate_deciding(loaded.dive, loaded.board, loaded.cell, changed).worst
    for name in ("usable_wh", "needed_wh", "margin_wh", "lowest_voltage_v", "peak_current_a"):
        assert abs(getattr(whole, name) / getattr(few, name) - 1) < 1e-6, name
    assert whole.shed_at_s == few.shed_at_s


def test_what_the_user_accepts_does_not_keep_a_combination_back(read: Callable) -> None:
    accept = ("recovery:", "accept:\n  reserve-short: tried before, the boat is near\nrecovery:")
    loaded, _ = read(*parallel(3), (LEVELS, "values: [70 %, 100 %]"), accept)
    assert {c.values: c.allowed for c in loaded.choices()}[0, 100]
    assert not [f for f in loaded.check().findings if f.name == "accept-unused"]


def test_what_the_dive_has_anyway_is_not_said_again_for_the_field_changes(read: Callable) -> None:
    loaded, _ = read(*parallel(2))
    assert len([f for f in loaded.check().findings if f.name == "reserve-short"]) == 1
    assert not [reason for c in loaded.choices() for reason in c.reasons if reason.startswith("reserve-short")]
