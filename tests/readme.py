"""Holds README.md to the program: each `<!-- made by: COMMAND -->` is followed by what that command prints.

`python tests/readme.py` says which parts differ; with `--write` it brings them up to date. The commands run one after
the other in a folder of their own, which at first holds only a copy of `tests/commands/first-try.yaml`. CODE in a
command stands for the dive code of the demo.
"""

from __future__ import annotations

import os
import re
import shlex
import shutil
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
README = ROOT / "README.md"
PART = re.compile(r"<!-- made by: (?P<command>.+?) -->\n(?P<body>.*?)<!-- end -->", re.DOTALL)


def output_of(command: str, folder: Path) -> str:
    """What `command` prints (standard output, then standard error), run in `folder`."""
    words = shlex.split(command)
    if words[0] == "schedgen":
        words = [sys.executable, "-m", "schedgen", *words[1:]]
    elif words[0] == "python":
        words = [sys.executable, *(str(ROOT / word) if word.endswith(".py") else word for word in words[1:])]
    environment = dict(os.environ, PYTHONIOENCODING="utf-8", NO_COLOR="1", COLUMNS="100", PYTHONPATH=str(ROOT))
    done = subprocess.run(words, cwd=folder, capture_output=True, text=True, encoding="utf-8", env=environment)
    return (done.stdout + done.stderr).rstrip()


def made_text(text: str, folder: Path) -> str:
    """`text` with every made part replaced by what its command prints now."""

    def made(match: re.Match[str]) -> str:
        command = match["command"]
        code = next((path.stem for path in folder.glob("*/settings/*.bin")), "CODE")
        run = command.replace("CODE", code)
        body = output_of(run, folder)
        if not command.startswith("python"):
            body = f"```text\n$ {run}\n{body}\n```"
        return f"<!-- made by: {command} -->\n{body}\n<!-- end -->"

    return PART.sub(made, text)


def main(write: bool) -> int:
    """0 when the README is up to date (or was brought up to date)."""
    text = README.read_text(encoding="utf-8")
    with tempfile.TemporaryDirectory() as folder:
        shutil.copy(ROOT / "tests" / "commands" / "first-try.yaml", folder)
        new = made_text(text, Path(folder))
    if new == text:
        print("README.md is up to date")
        return 0
    if write:
        README.write_text(new, encoding="utf-8", newline="\n")
        print("README.md brought up to date")
        return 0
    for old, now in zip(PART.finditer(text), PART.finditer(new), strict=True):
        if old["body"] != now["body"]:
            print(f"differs: {old['command']}")
    return 1


if __name__ == "__main__":
    sys.exit(main("--write" in sys.argv))
