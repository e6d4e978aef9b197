"""The outcome of judging.

Written by the lead for the report (schedgen/report/check.py reads these names); owner from here on: engineer H.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from schedgen.judge.finding import Finding


@dataclass(frozen=True, slots=True)
class CardUse:
    """What one camera writes, worst case. Decimal gigabytes."""

    recorded_s: float
    written_gb: float
    card_gb: float | None


@dataclass(frozen=True, slots=True)
class Judgement:
    """Findings and verdict, and what the first screen says beside them."""

    verdict: Literal["go", "no-go"]
    findings: tuple[Finding, ...]
    not_checked: tuple[str, ...]
    """`name: what is missing`, one for each finding that could not be decided."""
    checked: tuple[str, ...]
    """Short subjects in which rules ran and found nothing ("energy", "release times", ...), for "no problem found in: ..."."""
    deck_limit: str
    """Until when it may stay on deck and then must be disarmed, one clause with local clock time, and why."""
    daylight: str
    """The surfacing window against the sun: "in daylight, sunset 20:41" or "in the dark until 05:12"."""
    matters_most: str = ""
    """The dotted name of the guessed or assumed input that matters most, or ""."""
    storage: Mapping[str, CardUse] = field(default_factory=dict)
