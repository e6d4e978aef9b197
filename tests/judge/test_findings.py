"""Each finding of the table: a dive that has it, and a neighbour just inside the bound that has not.

Both are small edits of `tests/dive/example.yaml`. Bounds that the table gives (30 min, 0.2 and 1.5 m/s, 1.1 and 1.25 x,
5 %, 70 %, 90 %, 50 to 70 a minute) are met from both sides; where the bound is one that physics computes, the neighbour
is the smallest round step away that was found by trial.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import pytest

Edit = tuple[str, str]
NOTHING: tuple[Edit, ...] = ()
WATER = """    - {depth: 150 m, temperature: 9.6 degC, salinity: 35.25}
    - {depth: 600 m, temperature: 8.1 degC, salinity: 35.2}
    - {depth: 1230 m, temperature: 5.2 degC, salinity: 34.98}
"""
BACKUP = "  backup:\n    kind: dissolving link\n    parts_after: 24 h ± 20 %\n"
LIGHTS = "  - {load: lights, with: camera, lead: 3 s, level: 70 %, only: splash .. surface}\n"
FAN = "  - {load: fan, with: camera, trail: 4 min, level: 60 %}\n"
TESTED = "    tested: {parts_in: 4 min, salinity: 35, temperature: 12 degC}\n"
SHIFT = "  - {shift: release, step: 30 min, from: -2, to: 4}\n"
NO_SHIFT: tuple[Edit, ...] = ((SHIFT, ""),)


def parallel(count: int) -> tuple[Edit, ...]:
    return (("parallel: 5", f"parallel: {count}"),)


def button(deck_time: str) -> tuple[Edit, ...]:
    return (("trigger: water", f"trigger: button\n  deck_time: {deck_time}"),)


def lake(salinity: float) -> tuple[Edit, ...]:
    """A lake of 200 m, warm and even, of some salinity."""
    return (
        ("depth: 1180 m .. 1230 m", "depth: 190 m .. 200 m"),
        (WATER, ""),
        ("salinity: 35.1}", f"salinity: {salinity}}}"),
    )


def depth(text: str) -> tuple[Edit, ...]:
    return (("rated_depth: 2000 m", f"rated_depth: {text}"),)


@dataclass(frozen=True)
class Pair:
    """A finding, the edits that bring it, those of the neighbour without it, and what to expect of it."""

    name: str
    bad: tuple[Edit, ...]
    good: tuple[Edit, ...]
    severity: str = "stop"
    final: bool = False
    line: str = ""
    says: str = ""
    fix: str = ""


PAIRS = [
    Pair("reserve-short", parallel(2), parallel(3), line="parallel", fix="raise parallel from 2 to 3"),
    Pair("voltage-too-low", parallel(2), parallel(3), line="low_cut", says="8.40 V"),
    Pair(
        "beacon-too-short",
        parallel(2),
        parallel(3),
        line="wait",
        says="asks for 48 h",
        fix="raise parallel from 2 to 3",
    ),
    Pair("backup-surfacing", parallel(2), parallel(3), line="parts_after", says="asks for 48 h"),
    Pair("string-loss", parallel(3), parallel(4), "caution", line="parallel", fix="raise parallel from 3 to 4"),
]


def ids(pair: Pair) -> str:
    return pair.name


@pytest.mark.parametrize("pair", PAIRS, ids=ids)
def test_the_dive_has_the_finding_and_its_neighbour_has_not(pair: Pair, judged: Callable) -> None:
    bad, good = judged(*pair.bad), judged(*pair.good)
    found = bad.all(pair.name)
    assert found, [f.name for f in bad.judgement.findings]
    first = found[0]
    assert (first.severity, first.final) == (pair.severity, pair.final)
    assert pair.line in bad.line_of(first)
    assert pair.says in first.message
    assert pair.fix in first.fix
    assert not good.all(pair.name), good.all(pair.name)[0].message
    assert not good.unchecked(pair.name)
