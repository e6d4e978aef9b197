"""The demo dive and variants of it by text, examined once each."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from importlib import resources
from pathlib import Path

from schedgen.commands.examine import examine
from schedgen.load import load
from schedgen.report.check import Subject

Examined = Callable[..., Subject]

HOSTILE_NAME = "</script><img src=x onerror=alert(1)> " + "Gannet" * 30
HOSTILE_NOTES = "<b onmouseover=alert(2)>مرحبا بالعالم</b> &amp; 🐟🌊 {{ 7*7 }} <script>alert(3)</script>"


def demo_text() -> str:
    """The demo dive."""
    return resources.files("schedgen.dive").joinpath("demo.yaml").read_text(encoding="utf-8")


def changed(text: str, *pairs: tuple[str, str]) -> str:
    """`text` with each first string replaced by the second; each must be there."""
    for old, new in pairs:
        assert old in text, old
        text = text.replace(old, new)
    return text


def hostile_text() -> str:
    """Markup, a right-to-left script, emoji, a very long name, and fifty windows."""
    windows = "\n".join(
        f"  - {{load: camera, from: start + {85 + 10 * k} min, until: start + {89 + 10 * k} min}}" for k in range(48)
    )
    return (
        changed(
            demo_text(),
            ("dive: Hollow Bank, bait station 3", f"dive: '{HOSTILE_NAME}'"),
            ("notes: second drop of the day; bait canister packed the evening before", f"notes: '{HOSTILE_NOTES}'"),
            ("  - {load: camera, from: bottom + 2 h, until: release - 5 min, every: 30 min, for: 6 min}", windows),
        )
        + "\naccept:\n  load-stuck-on@lights: '<i>because</i> ‮ the boat stays'\n"
    )


@lru_cache(maxsize=16)
def examined_text(text: str, folder: str) -> Subject:
    path = Path(folder) / "dive.yaml"
    path.write_text(text, encoding="utf-8")
    return examine(load(path))
