"""Ink, shades and marks of the pictures: told apart by lightness and by form, so that grey paper and any eye will do.

Dark ink for what is planned, a pale blue shade for what may be, sand for when an event may come, brick and dashes for
what must not be crossed. Every shade has a lightness of its own; no meaning hangs on hue alone.
"""

from __future__ import annotations

INK = "#14303d"
LINE = "#0b5871"
SHADE = "#b5d7e2"
SAND = "#eedfb6"
LIMIT = "#a3301b"
MEASURED = "#7a4b00"
FAINT = "#6b7c84"
GRID = "#dde4e7"

LANE_INK = {
    "camera": "#0b5871",
    "light": "#c98a00",
    "fan": "#5b8f86",
    "beacon": "#7b3f6e",
    "locator": "#4d5aa8",
    "release": "#a3301b",
    "stop": "#14303d",
    "other": "#6b7c84",
}
"""Fill of a lane's bars by what hangs on the output; the lane's label says it in words."""
LANE_HATCH = {"light": "..", "fan": "\\\\\\", "release": "xxx"}
"""Marks over the fill, for grey paper. A flash pattern has upright strokes of its own."""
LINE_STYLES = ("-", (0, (5, 1.5)), (0, (1.2, 1.2)), (0, (6, 1.5, 1.2, 1.5)))
"""Of several curves in one pane, in order."""
