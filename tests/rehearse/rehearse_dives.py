"""A dive for each board of ours."""

from __future__ import annotations

from pathlib import Path

HERE = Path(__file__).parent
DIVES = {
    "halyard-4809": HERE.parents[1] / "schedgen" / "dive" / "demo.yaml",
    "thole-1608": HERE.parent / "dives" / "shelf-sea-day.yaml",
    "cleat-328p": HERE.parent / "dives" / "lake.yaml",
}
