"""Prints the table of findings for the README, from the one table that the judging room holds."""

from __future__ import annotations

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from schedgen.judge.names import FINDINGS

print("| name | severity | when |\n| --- | --- | --- |")
for name, finding in FINDINGS.items():
    severity = ", ".join([finding.severity, *finding.lesser])
    mark = {"always": " !", "sometimes": " (! in part)"}.get(finding.final, "")
    print(f"| `{name}` | {severity}{mark} | {finding.when} |")
