"""From one dive file to proven firmware settings for a free-fall sea-floor camera.

`schedgen.load(path)` gives a dive; its `.plan()`, `.simulate()`, `.check()` and `.settings()` work in a notebook.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from schedgen.load import LoadedDive, load

__all__ = ["LoadedDive", "__version__", "load"]
__version__ = "0.1.0"


def __getattr__(name: str) -> Any:
    """`load` and `LoadedDive` are imported when first asked for, so that importing the package costs nothing."""
    if name in ("load", "LoadedDive"):
        import importlib

        module = importlib.import_module("schedgen.load")
        globals().update(load=module.load, LoadedDive=module.LoadedDive)
        return globals()[name]
    raise AttributeError(f"module 'schedgen' has no attribute {name!r}")
