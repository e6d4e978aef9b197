"""`accept`: what can be taken on, and how."""

from __future__ import annotations

from collections.abc import Callable

from .test_findings import BACKUP, LEVELS, LIGHTS, PREFER, button, parallel

Edit = tuple[str, str]


def accept(*lines: str) -> Edit:
    """The edit that adds an `accept` section."""
    return (PREFER, PREFER + "accept:\n" + "".join(f"  {line}\n" for line in lines))


ONE_STOP = ("stop: OUT3", "stop: after 15 min")
ONLY = "camera-cut-while-recording"


def test_an_accepted_stop_makes_no_no_go(judged: Callable) -> None:
    assert judged(ONE_STOP).judgement.verdict == "no-go"
    taken = judged(ONE_STOP, accept(f"{ONLY}: the card is for trials"))
    assert taken.judgement.verdict == "go"
    found = taken.one(ONLY)
    assert (found.severity, found.accepted, found.reason) == ("stop", True, "the card is for trials")
    assert not taken.has("accept-unused")


def test_a_name_with_its_load_accepts_that_load_only(judged: Callable) -> None:
    taken = judged(accept("load-stuck-on@camera: fused apart"))
    assert [f.load for f in taken.all("load-stuck-on") if f.accepted] == ["camera"]
    assert len(taken.all("load-stuck-on")) > 1
    assert not taken.has("accept-unused")


def test_a_bare_name_that_stands_at_several_loads_accepts_none_and_says_what_to_write(judged: Callable) -> None:
    taken = judged(accept("load-stuck-on: trust the switches"))
    assert not [f for f in taken.all("load-stuck-on") if f.accepted]
    unused = taken.one("accept-unused")
    assert "several loads" in unused.message
    assert "load-stuck-on@camera" in unused.fix
    assert "load-stuck-on: trust" in taken.line_of(unused)


def test_a_final_stop_stays_and_says_that_it_cannot_be_accepted(judged: Callable) -> None:
    crushed = ("rated_depth: 2000 m", "rated_depth: 1229 m")
    taken = judged(crushed, accept("depth-rating: it held last year"))
    found = taken.one("depth-rating")
    assert (found.final, found.accepted) == (True, False)
    assert "cannot be accepted" in found.message
    assert taken.judgement.verdict == "no-go"
    assert not taken.has("accept-unused")


def test_the_same_name_can_be_accepted_where_it_is_not_final(judged: Callable) -> None:
    near = ("rated_depth: 2000 m", "rated_depth: 1352 m")
    assert judged(near).judgement.verdict == "no-go"
    taken = judged(near, accept("depth-rating: tested to 1500 m in the tank"))
    assert taken.one("depth-rating").accepted
    assert taken.judgement.verdict == "go"


def test_an_accept_that_matches_nothing_is_noted_at_its_line(judged: Callable) -> None:
    taken = judged(accept("lights-in-air@lights: none"))
    unused = taken.one("accept-unused")
    assert unused.severity == "note"
    assert "lights-in-air@lights" in taken.line_of(unused)


def test_accepting_one_stop_leaves_the_others(judged: Callable) -> None:
    late = ("beacon, from: release", "beacon, from: release + 30 min")
    taken = judged(ONE_STOP, late, accept(f"{ONLY}: trials"))
    assert taken.judgement.verdict == "no-go"
    assert [f.name for f in taken.judgement.findings if f.blocks] == ["beacon-late"]


def test_accepted_findings_are_no_headline(judged: Callable) -> None:
    taken = judged(ONE_STOP, accept(f"{ONLY}: trials"))
    assert ONLY not in [f.name for f in taken.judgement.headline]
    assert ONLY in [f.name for f in judged(ONE_STOP).judgement.headline]


def test_cautions_can_be_accepted_too(judged: Callable) -> None:
    taken = judged((BACKUP, ""), accept("release-alone: the divers can reach it"))
    assert taken.one("release-alone").accepted


def test_the_headline_is_of_stops_first_and_then_the_heaviest(judged: Callable) -> None:
    bad = judged(*parallel(1), ("rated_depth: 2000 m", "rated_depth: 1229 m"), (BACKUP, ""))
    names = [f.name for f in bad.judgement.headline]
    assert len(names) == 3
    assert set(names[:2]) == {"depth-rating", "voltage-too-low"}
    assert all(f.final for f in bad.judgement.headline[:2])
    assert bad.judgement.findings[:3] == bad.judgement.headline


def test_behind_the_headline_findings_stand_by_line(judged: Callable) -> None:
    bad = judged(*parallel(1), *button("20 min .. 30 min"), (LIGHTS, ""), (LEVELS, ""))
    lines = [f.place.line for f in bad.judgement.findings[3:]]
    assert len(lines) > 5
    assert lines == sorted(lines)
