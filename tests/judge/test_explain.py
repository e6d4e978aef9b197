"""Explaining a finding: every name has a basis, every equation a source, and the figures are those of its case."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from schedgen.errors import UsageError
from schedgen.judge.explain import BASES, chosen, equations_of, explained
from schedgen.judge.names import FINDINGS

from .test_findings import parallel


def test_every_finding_can_be_explained() -> None:
    assert list(BASES) == list(FINDINGS)


@pytest.mark.parametrize("name", list(BASES))
def test_every_equation_says_what_it_is_and_where_it_comes_from(name: str) -> None:
    for equation in equations_of(BASES[name].equations):
        assert "Source:" in equation.says, equation.name
        assert ">>>" not in equation.says
        assert len(equation.says) > 40


def test_the_figures_are_those_of_the_worst_case(read: Callable) -> None:
    loaded, _ = read(*parallel(2))
    one = explained(chosen(loaded.check(), "reserve-short")[0], loaded.plan(), loaded.simulate())
    worst = loaded.simulate().worst
    assert (one.case, one.moment) == ("energy", "end")
    assert one.at_s == loaded.plan().events["end"].late
    assert dict(one.figures)["margin_wh"] == f"{worst.margin_wh:.4g}"
    assert dict(one.corner)["cell.cold_capacity"] == 1.0
    assert any("terminal_voltage" in equation.name for equation in one.equations)


def test_a_case_of_one_load_is_its_own(read: Callable) -> None:
    loaded, _ = read(*parallel(2))
    found = chosen(loaded.check(), "load-stuck-on@camera")
    assert [f.load for f in found] == ["camera"]
    assert explained(found[0], loaded.plan(), loaded.simulate()).case == "stuck:camera"


def test_a_rule_of_the_file_alone_has_no_case(read: Callable) -> None:
    loaded, _ = read(("latest: start + 13 h", "latest: start + 5 h"))
    one = explained(chosen(loaded.check(), "release-too-late")[0], loaded.plan(), loaded.simulate())
    assert (one.case, one.corner) == ("", ())
    assert one.at_s == loaded.plan().events["release"].late


@pytest.mark.parametrize(("name", "words"), [("reserve-shrt", "Did you mean"), ("too-hot", "has no too-hot")])
def test_names_that_are_not_there_are_refused(name: str, words: str, read: Callable) -> None:
    with pytest.raises(UsageError, match=words):
        chosen(read()[0].check(), name)
