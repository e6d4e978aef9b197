"""What is wrong with one value, before anybody knows where in which file it stands."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from schedgen.errors import SchedgenError


@dataclass(frozen=True, slots=True)
class Trouble:
    """One complaint. `where` leads from the value that was read to the part that is wrong (keys and indices).

    `on_key` puts the caret under the key and not under its value.
    """

    message: str
    expected: str = ""
    example: str = ""
    next: str = ""
    where: tuple[str | int, ...] = ()
    on_key: bool = False


class Misread(SchedgenError, ValueError):  # the tree in errors.py names what happened
    """A value cannot be used. Carries one `Trouble` or several; `files.bind` gives each its place."""

    def __init__(self, *troubles: Trouble) -> None:
        self.troubles = troubles
        first = troubles[0] if troubles else Trouble("unreadable")
        super().__init__(first.message, first.next)


def nearest(word: str, choices: Iterable[str]) -> str | None:
    """The choice that `word` was probably meant to be, or None. Case, `_`, `-` and blanks do not count."""
    plain = {_plain(choice): choice for choice in reversed(list(choices))}
    begun = [choice for shape, choice in plain.items() if shape.startswith(_plain(word))]
    if len(begun) == 1 and len(word) >= 3:
        return begun[0]
    found = difflib.get_close_matches(_plain(word[:80]), list(plain), n=1, cutoff=0.6)
    return plain[found[0]] if found else None


def did_you_mean(word: str, choices: Iterable[str]) -> str:
    """`Did you mean "x"?`, or an empty text when nothing is close."""
    found = nearest(word, choices)
    return f'Did you mean "{found}"?' if found else ""


def listing(choices: Sequence[str], join: str = "or") -> str:
    """`a, b or c`."""
    if len(choices) < 2:
        return "".join(choices)
    return f"{', '.join(choices[:-1])} {join} {choices[-1]}"


def shown(text: str, limit: int = 60) -> str:
    """`text` between double quotes, on one line and cut to `limit` characters, for a message."""
    flat = "".join(char if char.isprintable() else " " for char in text)
    return f'"{flat if len(flat) <= limit else flat[: limit - 3] + "..."}"'


def _plain(word: str) -> str:
    return word.lower().replace("_", " ").replace("-", " ").strip()
