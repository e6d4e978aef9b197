"""What a fix tells the user to write: it mends what it says it mends, and is left out where nothing simple would."""

from __future__ import annotations

import re
from collections.abc import Callable
from datetime import UTC, datetime

import pytest

from schedgen.dive.times import When
from schedgen.judge.when import later

AT = "at: bottom + 8 h"
NOT_BEFORE = "not_before: start + 3 h"
PRIMARY = re.compile(r"  primary:\n.*?(?=  backup:)", re.DOTALL)


@pytest.mark.parametrize(
    ("written", "name"),
    [
        ((NOT_BEFORE, "not_before: start - 1 h"), "release-interlock"),
        ((AT, "at: bottom - 5 h"), "release-before-bottom"),
        ((AT, "at: start"), "release-before-bottom"),
    ],
)
def test_a_release_time_before_the_start_gets_a_fix_that_mends_it(
    judged: Callable, written: tuple[str, str], name: str
) -> None:
    """Such a time is taken as the start, so moving what is written by what lacks would leave it too early."""
    finding = judged(written).one(name) if name != "release-interlock" else judged(written).all(name)[0]
    advice = re.search(r"write ((at|not_before): start \+ [^,]+)", finding.fix)
    assert advice is not None, finding.fix
    assert not [f for f in judged((written[0], advice[1])).all(name) if f.place == finding.place]


def test_an_instant_that_the_plan_has_is_moved_as_it_is_written() -> None:
    when = When("instant", instant=datetime(2027, 5, 11, 12, tzinfo=UTC))
    assert later(when, 100.0, 3600.0) == "2027-05-11T13:00:00+00:00"


def test_a_voltage_that_equals_the_bound_fits(judged: Callable) -> None:
    """3 cells of 4.2 V are 12.6 V; in binary 3 x 4.2 is a little more, which is no reason to refuse the rail."""
    boost = ("board: halyard-4809", "board: cleat-328p")
    wiring = (("stop: OUT3", "stop: on power loss"), ("wired_to: OUT4", "wired_to: OUT3"))
    assert not judged(boost, *wiring).has("supply-mismatch")
    assert "take at most 3 in series" in judged(boost, *wiring, ("series: 3", "series: 4")).one("supply-mismatch").fix


def test_an_empty_pack_is_not_mended_by_one_more_string(judged: Callable) -> None:
    found = judged(("charge: 98 %", "charge: 5 %"))
    for name in ("voltage-too-low", "string-loss", "reserve-short"):
        assert "raise parallel" not in found.all(name)[0].fix
    assert "charge fuller" in found.one("voltage-too-low").fix


def test_a_fuse_is_exchanged_for_a_fuse(judged: Callable) -> None:
    assert (
        "take a fuse of" in judged(("  reserve: 20 %\n", "  reserve: 20 %\n  fuse: 3 A\n")).one("protection-trip").fix
    )


def test_two_dissolving_links_are_not_told_to_become_two_dissolving_links(judged: Callable) -> None:
    from .conftest import EXAMPLE

    primary = PRIMARY.search(EXAMPLE.read_text(encoding="utf-8"))
    assert primary is not None
    link = "  primary:\n    kind: dissolving link\n    parts_after: 8 h ± 20 %\n"
    shift = ("  - {shift: release, step: 30 min, from: -2, to: 4}\n", "")
    both = judged((primary[0], link), shift).one("release-shares")
    assert both.fix.startswith("as one of the two take an actuator")
    backup = "  backup:\n    kind: dissolving link\n    parts_after: 24 h ± 20 %\n"
    alone = judged((primary[0], link), (backup, ""), shift).one("release-alone")
    assert "an actuator on an output of its own" in alone.fix
