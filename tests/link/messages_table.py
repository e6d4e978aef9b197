"""Prints what is said when something goes wrong between computer and board, as a table for README.md.

Every line is made by making it happen (`provoke.py`). Names of ports and groups are the same on every computer.
"""

from __future__ import annotations

import re
import sys
from pathlib import Path

for folder in ("link", "settings"):
    sys.path.insert(0, str(Path(__file__).parents[1] / folder))

from provoke import told  # noqa: E402 - the folders above first


def plain(text: str) -> str:
    """`text` with the names that differ between computers taken out."""
    text = re.sub(r"/dev/pts/\d+|/dev/ttys\d+|/dev/ttyUSB77|/tmp\S*/notes\.txt|/var\S*/notes\.txt", "PORT", text)
    text = re.sub(r'the group "[^"]*"', 'the group "GROUP"', text)
    return re.sub(r"usermod -a -G \S+", "usermod -a -G GROUP", text).replace("|", r"\|")


def lines() -> list[str]:
    """The table in Markdown."""
    rows = ["| what goes wrong | what is said | next step |", "| --- | --- | --- |"]
    for what, error in told().items():
        rows.append(f"| {what} | {plain(error.message)} | {plain(error.next_step)} |")
    return rows


if __name__ == "__main__":
    sys.stdout.write("\n".join(lines()) + "\n")
