"""`python tests/faults/many_bad_lines.py RUNS`: uploads over bad lines to the virtual board, and how they ended.

A run that lies, mixes, hangs, arms or releases ends it, and prints the number that replays it.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

for folder in ("link", "settings", "faults"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))

from test_bad_line import upload_over_a_bad_line  # noqa: E402 - the folders above first


def main(first: int, runs: int) -> None:
    ended: Counter[str] = Counter()
    begun = time.monotonic()
    for seed in range(first, first + runs):
        try:
            ended[upload_over_a_bad_line(seed)] += 1
        except AssertionError as error:
            raise AssertionError(f"replay with upload_over_a_bad_line({seed})") from error
    print(f"{runs} runs in {time.monotonic() - begun:.0f} s: {dict(ended)}")


if __name__ == "__main__":
    main(int(sys.argv[2]) if len(sys.argv) > 2 else 0, int(sys.argv[1]) if len(sys.argv) > 1 else 10_000)
