"""A dive code in letters five lines high, to be read across a deck. Plain ASCII."""

from __future__ import annotations

# Three columns by five rows, a row to each group of three; X is ink.
_INK = {
    "0": "XXXX.XX.XX.XXXX", "1": ".X.XX..X..X.XXX", "2": "XXX..XXXXX..XXX", "3": "XXX..X.XX..XXXX",
    "4": "X.XX.XXXX..X..X", "5": "XXXX..XXX..XXXX", "6": "XXXX..XXXX.XXXX", "7": "XXX..X..X.X..X.",
    "8": "XXXX.XXXXX.XXXX", "9": "XXXX.XXXX..XXXX", "A": ".X.X.XXXXX.XX.X", "B": "XX.X.XXX.X.XXX.",
    "C": ".XXX..X..X...XX", "D": "XX.X.XX.XX.XXX.", "E": "XXXX..XX.X..XXX", "F": "XXXX..XX.X..X..",
    "G": ".XXX..X.XX.X.XX", "H": "X.XX.XXXXX.XX.X", "J": "..X..X..XX.X.X.", "K": "X.XX.XXX.X.XX.X",
    "M": "X.XXXXXXXX.XX.X", "N": "XX.X.XX.XX.XX.X", "P": "XX.X.XXX.X..X..", "Q": ".X.X.XX.XXX..XX",
    "R": "XX.X.XXX.X.XX.X", "S": ".XXX...X...XXX.", "T": "XXX.X..X..X..X.", "V": "X.XX.XX.XX.X.X.",
    "W": "X.XX.XXXXXXXX.X", "X": "X.XX.X.X.X.XX.X", "Y": "X.XX.X.X..X..X.", "Z": "XXX..X.X.X..XXX",
}  # fmt: skip


def large(code: str) -> list[str]:
    """Five lines that show `code` (Crockford base 32), each sign six columns wide, drawn with the sign itself.

    Signs that have no shape are left out.
    """
    lines = []
    for row in range(5):
        parts = []
        for sign in code:
            ink = _INK.get(sign)
            if ink is not None:
                cells = ink[3 * row : 3 * row + 3]
                parts.append("".join(sign * 2 if cell == "X" else "  " for cell in cells))
        lines.append("  ".join(parts).rstrip())
    return lines
