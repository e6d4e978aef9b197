"""A finding: what judging says about a dive."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from schedgen.files.place import Place

Severity = Literal["stop", "caution", "note"]


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
