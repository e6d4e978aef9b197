"""Lets the tests of this folder, and those of the link's faults, import `bench_rig` and the settings tests' dives."""

import sys
from pathlib import Path

for folder in ("link", "settings"):
    path = str(Path(__file__).parents[1] / folder)
    if path not in sys.path:
        sys.path.insert(0, path)
