"""Writing to a terminal that may be narrow, grey, or unable to show anything beyond ASCII."""

from __future__ import annotations

import os
import sys
from collections.abc import Iterable
from typing import TextIO

_ASCII = str.maketrans(
    {
        "±": "+/-",
        "°": " deg ",
        "–": "-",
        "—": "-",
        "−": "-",
        "…": "...",
        "·": "|",
        "→": "->",
        "≥": ">=",
        "≤": "<=",
        "×": "x",
        "²": "2",
        "³": "3",
        "Ω": "ohm",
        "µ": "u",
    }
)
_COLOURS = {"red": "31", "yellow": "33", "green": "32", "bold": "1", "dim": "2"}


def shows_unicode(stream: TextIO) -> bool:
    """True when the stream encodes in UTF-8, so that signs beyond ASCII reach the reader."""
    encoding = (getattr(stream, "encoding", None) or "ascii").lower().replace("-", "").replace("_", "")
    return encoding.startswith("utf8")


def shows_colour(stream: TextIO) -> bool:
    """True for a terminal, unless NO_COLOR is set or the terminal says it is dumb."""
    if os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb":
        return False
    return bool(getattr(stream, "isatty", lambda: False)())


class Console:
    """One output stream, with the plainest form of every sign where the stream cannot show more.

    Signs of our own fall back to ASCII on a console that is not UTF-8. Other characters (a name in the
    user's own script) are written if the console's code page has them, and as `?` if not, so that printing
    never raises.
    """

    def __init__(self, stream: TextIO | None = None, colour: bool | None = None) -> None:
        self.stream = stream if stream is not None else sys.stdout
        self.unicode = shows_unicode(self.stream)
        self.colour = shows_colour(self.stream) if colour is None else colour

    def plain(self, text: str) -> str:
        """`text` as this console can show it."""
        if self.unicode:
            return text
        encoding = getattr(self.stream, "encoding", None) or "ascii"
        return text.translate(_ASCII).encode(encoding, "replace").decode(encoding)

    def paint(self, text: str, *styles: str) -> str:
        """`text` in the named styles where colour is shown; the words carry the meaning without it."""
        if not self.colour or not styles:
            return text
        codes = ";".join(_COLOURS[style] for style in styles)
        return f"\x1b[{codes}m{text}\x1b[0m"

    def line(self, text: str = "") -> None:
        """Write one line."""
        self.stream.write(self.plain(text) + "\n")

    def lines(self, texts: Iterable[str]) -> None:
        """Write several lines."""
        for text in texts:
            self.line(text)

    def flush(self) -> None:
        """Hand everything to the reader now."""
        self.stream.flush()


class Progress:
    """One growing line on a terminal: what is being done and how far it is; silent where nobody looks.

    Shown as `upload   96 of 107 bytes`, rewritten in place.
    """

    def __init__(self, console: Console, what: str, unit: str = "") -> None:
        self.console = console
        self.what = what
        self.unit = f" {unit}" if unit else ""
        self.shown = bool(getattr(console.stream, "isatty", lambda: False)())
        self._last = ""

    def __call__(self, done: int, total: int) -> None:
        """Show that `done` of `total` are behind us."""
        if not self.shown:
            return
        text = f"{self.what}  {done} of {total}{self.unit}"
        if text != self._last:
            self.console.stream.write("\r" + self.console.plain(text.ljust(len(self._last))))
            self.console.flush()
            self._last = text

    def close(self) -> None:
        """End the line."""
        if self._last:
            self.console.stream.write("\r" + " " * len(self._last) + "\r")
            self.console.flush()
            self._last = ""
