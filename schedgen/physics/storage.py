"""What a recording writes: bytes, files of at most 4 GiB, and whether a card is large and quick enough.

Decimal prefixes as makers of cards use them (IEC 80000-13): 1 GB is 1e9 bytes, 1 GiB is 2^30.
"""

from __future__ import annotations

import math

from schedgen.physics.bounds import above, within

GB = 1e9
GIB = 2.0**30
LARGEST_FILE = 2**32 - 1
"""Bytes of the largest file on FAT32 (Microsoft FAT32 File System Specification 1.03): cameras start a new one."""
FILL_LIMIT = 0.9
"""From this share of the card on a caution is due; real cards are often slightly under their label (from memory)."""


def written(bitrate: float, seconds: float) -> float:
    """Return the bytes that `seconds` [s] at `bitrate` [bit/s] write.

    Source: arithmetic. 25 Mbit/s is 11.25 GB an hour.

    >>> written(25e6, 3600) / GB
    11.25
    """
    within("bitrate", bitrate, 0.0, 1e10, "bit/s")
    within("recording", seconds, 0.0, math.inf, "s")
    return bitrate * seconds / 8.0


def recording_time(capacity: float, bitrate: float) -> float:
    """Return the seconds that fit on `capacity` [byte] at `bitrate` [bit/s]. Source: arithmetic.

    >>> round(recording_time(32 * GB, 25e6) / 3600, 6)
    2.844444
    """
    above("bitrate", bitrate, 0.0, "bit/s")
    within("capacity", capacity, 0.0, math.inf, "byte")
    return capacity * 8.0 / bitrate


def files(seconds: float, bitrate: float) -> int:
    """Return into how many files one recording of `seconds` [s] at `bitrate` [bit/s] is cut at 4 GiB.

    Source: FAT32 specification. At 25 Mbit/s a file is full after 22.9 min, so an hour takes three.

    >>> files(3600.0, 25e6), round(recording_time(LARGEST_FILE, 25e6) / 60, 3)
    (3, 22.906)
    """
    return max(1, math.ceil(written(bitrate, seconds) / LARGEST_FILE)) if seconds > 0 else 0


def full_share(written_bytes: float, capacity: float) -> float:
    """Return the share of a card of `capacity` [byte] that `written_bytes` fill; above 1 it does not fit.

    Source: arithmetic.

    >>> full_share(64 * GB, 256 * GB)
    0.25
    """
    above("card", capacity, 0.0, "byte")
    within("bytes written", written_bytes, 0.0, math.inf, "byte")
    return written_bytes / capacity


def card_keeps_up(bitrate: float, card_speed: float, margin: float = 1.5) -> bool:
    """Return whether a card that writes `card_speed` [byte/s] all the time keeps up with `bitrate` [bit/s].

    `margin` is what a camera writes in bursts over its mean (common practice, no source).

    >>> card_keeps_up(60e6, 10e6), card_keeps_up(100e6, 10e6)
    (False, False)
    >>> card_keeps_up(60e6, 30e6)
    True
    """
    above("card speed", card_speed, 0.0, "byte/s")
    within("margin", margin, 1.0, 10.0)
    return card_speed >= margin * bitrate / 8.0


def gibibytes(count: float) -> float:
    """Return bytes in GiB, as computers show a card. Source: IEC 80000-13. 32 GB is 29.80 GiB.

    >>> round(gibibytes(32 * GB), 2)
    29.8
    """
    return count / GIB
