"""The committed reports of the three dives: what `schedgen check` prints, as text and as JSON.

`python tests/dives/golden.py --write` makes them anew after a change that was meant; look at the difference then.
"""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
DIVES = ("shelf-sea-day", "deep-night", "lake")
FORMS = {"txt": [], "json": ["--json"]}
"""Ending of the committed file, and the options that make it."""


def report(dive: str, form: str, **environment: str) -> str:
    """What `schedgen check` prints about a dive on a plain console, run beside its file in a process of its own."""
    around = {**os.environ, "PYTHONPATH": str(ROOT), "PYTHONIOENCODING": "ascii", "NO_COLOR": "1", **environment}
    command = [sys.executable, "-m", "schedgen", "check", f"{dive}.yaml", *FORMS[form]]
    done = subprocess.run(command, cwd=HERE, env=around, capture_output=True, text=True, encoding="utf-8", check=False)
    if done.stderr:
        raise RuntimeError(done.stderr)
    return done.stdout


def committed(dive: str, form: str) -> str:
    """The committed report."""
    return (HERE / f"{dive}.{form}").read_text(encoding="utf-8")


def write() -> None:
    """Makes every committed report anew."""
    for dive in DIVES:
        for form in FORMS:
            (HERE / f"{dive}.{form}").write_text(report(dive, form), encoding="utf-8", newline="\n")


if __name__ == "__main__":
    if "--write" not in sys.argv:
        raise SystemExit("add --write to make the committed reports anew")
    write()
