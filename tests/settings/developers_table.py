"""The table of fields in DEVELOPERS.md. `python tests/settings/developers_table.py --write` brings it up to date."""

from __future__ import annotations

import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
PAGE = ROOT / "DEVELOPERS.md"
BEGIN = "<!-- made by: python tests/settings/developers_table.py --write -->\n"
END = "<!-- end -->\n"


def wanted(page: str) -> str:
    """The page with the table as the code has it now. Raises ValueError where the page has no place for it."""
    from schedgen.settings.layout import layout_table

    begin = page.index(BEGIN) + len(BEGIN)
    return page[:begin] + "\n" + layout_table() + "\n" + page[page.index(END, begin) :]


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    text = PAGE.read_text(encoding="utf-8")
    if sys.argv[1:] == ["--write"]:
        PAGE.write_text(wanted(text), encoding="utf-8", newline="\n")
    elif wanted(text) != text:
        sys.exit("DEVELOPERS.md is behind the table of fields; run this with --write")
