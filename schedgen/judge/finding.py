"""A finding: what judging says about a dive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from schedgen.files.place import Place

Severity = Literal["stop", "caution", "note"]
Verdict = Literal["go", "no-go"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One finding. `load` makes NAME@load; `final` marks one that cannot be accepted (! in the table)."""

    name: str
    severity: Severity
    place: Place
    message: str
    fix: str
    load: str = ""
    final: bool = False
    accepted: bool = False
    reason: str = ""
    """The user's reason when accepted."""
    weight: float = 0.0
    """Orders headline findings: larger is worse, within one severity."""

    @property
    def blocks(self) -> bool:
        """True when this alone makes the verdict no-go."""
        return self.severity == "stop" and not self.accepted


@dataclass(frozen=True, slots=True)
class Judgement:
    """All findings, headline ones first and then by place; the verdict; and what could not be decided, and why."""

    findings: tuple[Finding, ...]
    verdict: Verdict
    not_checked: tuple[str, ...]
    """Each `NAME: what is missing` or `NAME@load: what is missing`."""
    headline: tuple[Finding, ...] = ()
    """At most three of the findings: what to mend first."""

    def _repr_html_(self) -> str:
        """What a notebook shows."""
        from schedgen.report.notebook import judgement_html

        return judgement_html(self)
