"""Published values to check against, and how close is close enough.

`published.yaml` holds one entry a value: inputs with units, expected, tolerance, source, how it was verified.
A test module of this folder says which entries it runs in a list `COVERS` (made from the same selection that its
tests are parametrised with); `test_coverage.py` finds the entries that no module runs.

Tolerance keys: `abs`, `rel`, `abs_s` (seconds), `exact`, `lower_bound` (the expected is a minimum), `range`.
Where a source says memory, the value was not seen in print while gathering.
"""

from __future__ import annotations

import functools
import math
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

FILE = Path(__file__).with_name("published.yaml")


@dataclass(frozen=True)
class Entry:
    """One published value; `inputs` and `expected` as in the file."""

    id: str
    topic: str
    inputs: Mapping[str, Any]
    expected: Any
    unit: str
    tolerance: Mapping[str, Any]
    source: str
    verified_by: str
    note: str = ""

    def allowed(self, expected: float, kind: str = "") -> float:
        """How far from `expected` a value may be: `abs` + rel, or the tolerance named `kind` (a share)."""
        if kind:
            return float(self.tolerance[kind]) * abs(expected)
        if "exact" in self.tolerance:
            return 4 * math.ulp(max(abs(expected), 1e-300))
        return float(self.tolerance.get("abs", 0.0)) + float(self.tolerance.get("rel", 0.0)) * abs(expected)

    def holds(self, ours: float, key: str | None = None, kind: str = "") -> None:
        """Assert that `ours` agrees with the expected value (with `expected[key]` where it is a mapping)."""
        expected = self.expected if key is None else self.expected[key]
        if self.tolerance.get("lower_bound"):
            assert ours >= expected, f"{self.id}: {ours} is under the least, {expected} {self.unit} ({self.source})"
            return
        if "range" in self.tolerance:
            low, high = self.tolerance["range"]
            assert low <= ours <= high, f"{self.id}: {ours} is outside {low} .. {high} {self.unit} ({self.source})"
            return
        off = abs(float(ours) - float(expected))
        allowed = self.allowed(float(expected), kind)
        assert off <= allowed, f"{self.id}: {ours}, published {expected} {self.unit}, off {off}, allowed {allowed}"


@functools.cache
def entries() -> dict[str, Entry]:
    """All entries by id."""
    loader = getattr(yaml, "CSafeLoader", yaml.SafeLoader)
    with FILE.open(encoding="utf-8") as stream:
        found = (Entry(id=raw.pop("name"), **raw) for raw in yaml.load(stream, Loader=loader))
        return {one.id: one for one in found}


def entry(name: str) -> Entry:
    """The entry called `name`."""
    return entries()[name]


def chosen(*prefixes: str) -> list[Entry]:
    """The entries whose id begins with one of `prefixes`, in the file's order; asserts that each finds one."""
    for prefix in prefixes:
        assert any(name.startswith(prefix) for name in entries()), f"no published value begins with {prefix}"
    return [found for name, found in entries().items() if name.startswith(prefixes)]


def ids(selection: list[Entry]) -> list[str]:
    """Names of a selection, for COVERS and for the ids of parametrised tests."""
    return [found.id for found in selection]
