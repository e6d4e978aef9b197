"""Where the values of a dive file stand, for notes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from schedgen.files.place import Place


@dataclass(frozen=True, slots=True)
class Spots:
    """Dotted path (`schedule.2.from`) to its place; a value that is not in the file stands where its section does."""

    places: Mapping[str, Place]

    def at(self, path: str) -> Place:
        """The place of `path`, else of the innermost section around it that is in the file."""
        while path:
            found = self.places.get(path)
            if found is not None:
                return found
            path = path.rpartition(".")[0]
        return Place("")
