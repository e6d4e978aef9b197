"""The table of the README: each line is close enough, and the command prints what the function gives."""

import subprocess
import sys
from pathlib import Path

import pytest
import table

ROWS = table.rows()


@pytest.mark.parametrize("row", ROWS, ids=[row.quantity for row in ROWS])
def test_line_agrees(row: table.Row) -> None:
    assert abs(row.off) <= row.allowed


def test_command_prints_the_table(tmp_path: Path) -> None:
    script = Path(table.__file__)
    done = subprocess.run([sys.executable, str(script)], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == table.table()
    assert done.stdout.isascii()
    assert done.stdout.count("\n") == len(ROWS) + 2
