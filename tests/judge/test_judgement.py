"""The judgement as a whole: what it does without a simulation, and that following its advice works."""

from __future__ import annotations

import re
from collections.abc import Callable

import pytest

from schedgen.errors import OutOfRange
from schedgen.judge import judge
from schedgen.judge.judging import judge_subject
from schedgen.judge.rules import Registered, all_rules
from schedgen.judge.subject import Span, outside, within

from .test_findings import button, parallel

Edit = tuple[str, str]


def test_without_a_simulation_what_needs_one_is_not_checked(subject: Callable) -> None:
    made = subject()
    judgement = judge(made.parts, made.plan)
    wanting = {name for rule in all_rules() if rule.simulated for name in rule.names}
    said = {line.partition(":")[0] for line in judgement.not_checked}
    assert said == wanting | {"settings-too-big"}
    assert not wanting & {f.name for f in judgement.findings}


def test_a_rule_that_cannot_be_applied_leaves_the_others_alone(
    subject: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    def refuse(_: object) -> None:
        raise OutOfRange("depth is -5 m; it must lie in 0 .. 11000 m")

    broken = Registered(("hard-landing",), refuse, False)  # type: ignore[arg-type]
    others = tuple(rule for rule in all_rules() if rule.names != ("hard-landing",))
    before = judge_subject(subject())
    monkeypatch.setattr("schedgen.judge.judging.all_rules", lambda: (broken, *others))
    after = judge_subject(subject())
    assert after.not_checked == ("hard-landing: depth is -5 m; it must lie in 0 .. 11000 m",)
    assert after.findings == before.findings


def test_judging_twice_gives_the_same(subject: Callable) -> None:
    assert judge_subject(subject(*parallel(2))) == judge_subject(subject(*parallel(2)))


def test_every_finding_stands_at_a_line_of_the_file_and_says_what_to_do(judged: Callable) -> None:
    bad = judged(*parallel(1), *button("20 min .. 2 h 30 min"), ("rated_depth: 2000 m", "rated_depth: 1229 m"))
    assert len(bad.judgement.findings) > 12
    for finding in bad.judgement.findings:
        assert finding.place.line > 0, finding
        assert finding.place.file.endswith(".yaml"), finding
        assert finding.message, finding
        assert finding.fix, finding


def test_no_message_claims_safety(judged: Callable) -> None:
    texts = [f"{f.message} {f.fix}" for f in judged(*parallel(1)).judgement.findings]
    assert not [text for text in texts if re.search(r"\bsafe(ly|ty)?\b", text)]


@pytest.mark.parametrize(
    ("bad", "name", "advice", "edit"),
    [
        (parallel(2), "reserve-short", r"from 2 to (\d+)", ("parallel: 5", "parallel: {}")),
        (parallel(1), "voltage-too-low", r"from 1 to (\d+)", ("parallel: 5", "parallel: {}")),
        (parallel(2), "beacon-too-short", r"from 2 to (\d+)", ("parallel: 5", "parallel: {}")),
        (parallel(3), "string-loss", r"from 3 to (\d+)", ("parallel: 5", "parallel: {}")),
        (
            (("ballast: {mass: 15 kg", "ballast: {mass: 6 kg"),),
            "floats-with-ballast",
            r"mass: ([\d.]+) kg",
            ("ballast: {mass: 15 kg", "ballast: {{mass: {} kg"),
        ),
        (
            (("latest: start + 13 h", "latest: start + 5 h"),),
            "release-too-late",
            r"latest: (.*), or",
            ("latest: start + 13 h", "latest: {}"),
        ),
        (
            (("tested: {parts_in: 4 min", "tested: {parts_in: 31 min"),),
            "release-too-weak",
            r"tries: (\d+)",
            ("tries: 3", "tries: {}"),
        ),
        (
            (("card: 256 GB", "card: 40 GB"),),
            "card-full",
            r"card of ([\d.]+ GB)",
            ("card: 256 GB", "card: {}"),
        ),
        (
            (("T07:15:00", "T20:15:00"),),
            "surfacing-in-the-dark",
            r"release (\d+) min later",
            ("at: bottom + 8 h", "at: bottom + 8 h {} min"),
        ),
    ],
)
def test_following_the_advice_removes_the_finding(
    bad: tuple[Edit, ...], name: str, advice: str, edit: Edit, judged: Callable
) -> None:
    found = judged(*bad).all(name)[0]
    value = re.search(advice, found.fix)
    assert value, found.fix
    old, new = edit
    kept = tuple(pair for pair in bad if pair[0] != old)
    mended = judged(*kept, (old, new.format(value[1])))
    worse = [f.message for f in mended.all(name) if f.severity == found.severity]
    assert not worse


def test_what_no_other_span_covers_is_left() -> None:
    left = outside([Span(0, 100), Span(200, 300)], [Span(250, 400), Span(20, 30), Span(25, 50)])
    assert [(s.start_s, s.stop_s) for s in left] == [(0, 20), (50, 100), (200, 250)]
    assert outside([Span(0, 100)], [Span(0, 100)]) == []


def test_spans_are_cut_to_a_stretch() -> None:
    cut = within([Span(0, 100), Span(90, 200), Span(300, 400)], 50, 150)
    assert [(s.start_s, s.stop_s) for s in cut] == [(50, 100), (90, 150)]
