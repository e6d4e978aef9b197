"""The order of findings."""

from __future__ import annotations

from dataclasses import replace

from schedgen.files.place import Place
from schedgen.judge.finding import Finding, Severity
from schedgen.judge.headline import headline, ordered


def finding(name: str, severity: Severity = "stop", line: int = 1, weight: float = 0.0, final: bool = False) -> Finding:
    return Finding(name, severity, Place("a.yaml", line, 3), "what", "do", weight=weight, final=final)


def test_stops_come_before_cautions_whatever_they_weigh() -> None:
    light, heavy = finding("reserve-short", "stop", weight=1), finding("hard-landing", "caution", weight=99)
    assert headline([heavy, light]) == (light, heavy)


def test_final_stops_come_before_other_stops_whatever_they_weigh() -> None:
    final, heavy = finding("cell-overcurrent", weight=1, final=True), finding("reserve-short", weight=99)
    assert headline([heavy, final]) == (final, heavy)


def test_the_heavier_of_two_alike_comes_first() -> None:
    light, heavy = finding("lights-in-air", weight=40), finding("reserve-short", weight=60)
    assert headline([light, heavy]) == (heavy, light)


def test_there_are_three_at_most() -> None:
    four = [finding(name, weight=w) for w, name in enumerate(("too-hot", "card-full", "lights-in-air", "beacon-late"))]
    assert [f.name for f in headline(four)] == ["beacon-late", "lights-in-air", "card-full"]


def test_notes_and_accepted_ones_are_no_headline() -> None:
    note = finding("stuck-on-bottom", "note", weight=99)
    taken_on = replace(finding("reserve-short", weight=99), accepted=True, reason="we know")
    assert headline([note, taken_on]) == ()


def test_a_second_of_the_same_name_waits_for_other_names() -> None:
    first, second = finding("too-hot", line=4, weight=50), finding("too-hot", line=9, weight=49)
    other = finding("card-full", weight=10)
    assert headline([first, second, other]) == (first, other, second)


def test_after_the_headline_the_rest_stands_by_place() -> None:
    stops = [finding(name, line=9, weight=9) for name in ("too-hot", "card-full", "beacon-late")]
    late, early = finding("hard-landing", "caution", line=30), finding("stuck-on-bottom", "note", line=2)
    everything = [late, *stops, early]
    found = ordered(everything)
    assert {f.name for f in found[:3]} == {"too-hot", "card-full", "beacon-late"}
    assert found[3:] == (early, late)
    assert len(found) == len(everything)


def test_the_order_does_not_hang_on_the_order_of_the_rules() -> None:
    some = [finding("too-hot", line=4), finding("card-full", line=4), finding("hard-landing", "caution", line=1)]
    assert ordered(some) == ordered(reversed(some))
