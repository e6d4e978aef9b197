"""Any mixture of the edits of the other tests: judging never fails, and the verdict is what the findings say."""

from __future__ import annotations

from collections.abc import Callable

from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

from schedgen.errors import FileProblems, OutOfRange

from .conftest import EXAMPLE
from .test_findings import BACKUP, PAIRS, Edit

MORE: list[Edit] = [
    ("nmc-21700-5000", "lfp-32700-6000"),
    ("kind: burn wire", "kind: hot wire"),
    ("  health: 93 % ± 3 %\n", ""),
    ("  drag_coefficient: {down: 1.0 ± 20 %, up: 0.9 ± 20 %}\n", ""),
    (BACKUP, ""),
    ("  air: {temperature: 13 degC, sun: yes}\n", ""),
    ("  charge: 98 %\n", ""),
    ("  reserve: 20 %\n", ""),
    ("  protection: {trip_current: 20 A, low_cut: 2.8 V}\n", ""),
]
EDITS = sorted({edit for pair in PAIRS for edit in (*pair.bad, *pair.good)} | set(MORE))


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.filter_too_much, HealthCheck.too_slow])
@given(st.lists(st.sampled_from(EDITS), max_size=5, unique_by=lambda edit: edit[0]))
def test_any_mixture_of_edits_is_judged(judged: Callable, edits: list[Edit]) -> None:
    text = EXAMPLE.read_text(encoding="utf-8")
    fitting = []
    for old, new in edits:
        if text.count(old) == 1:
            text = text.replace(old, new)
            fitting.append((old, new))
    try:
        made = judged(*fitting)
    except (FileProblems, OutOfRange):
        assume(False)
    findings = made.judgement.findings
    stops = [f for f in findings if f.severity == "stop" and not f.accepted]
    assert made.judgement.verdict == ("no-go" if stops else "go")
    assert all(f.severity == "stop" and not f.accepted for f in findings if f.final)
    assert all(f.place.line > 0 and f.message and f.fix for f in findings)
    assert not any("nan" in f"{f.message} {f.fix}".split() for f in findings)
    assert list(findings[: len(made.judgement.headline)]) == list(made.judgement.headline)
