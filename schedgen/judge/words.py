"""How judging writes numbers: durations, elapsed times, shares. Plain ASCII, as the dive file writes them."""

from __future__ import annotations

import math

_UNITS = ((86400, "d"), (3600, "h"), (60, "min"), (1, "s"))
_DAYS_FROM_S = 10 * 86400


def span(seconds: float) -> str:
    """A duration as the dive file writes one, at most two units: `2 h 10 min`, `45 s`, `0 s`; never negative.

    Parts of a second under 2 s, whole minutes from 2 h on, days from 10 d on.
    """
    if 0 < abs(seconds) < 2:
        return number(abs(seconds), "s", 2)
    rest = round(abs(seconds))
    if rest >= 7200:
        rest = round(rest / 60) * 60
    parts = []
    for size, unit in _UNITS[0 if rest >= _DAYS_FROM_S else 1 :]:
        count, rest = divmod(rest, size)
        if count:
            parts.append(f"{count} {unit}")
    return " ".join(parts[:2]) or "0 s"


def span_up(seconds: float) -> str:
    """As `span`, rounded up to whole minutes from 2 min on, so that following the advice is enough."""
    whole = math.ceil(seconds - 1e-9)
    return span(whole if whole < 120 else math.ceil(whole / 60) * 60)


def span_down(seconds: float) -> str:
    """As `span`, rounded down to whole minutes from 2 min on."""
    whole = math.floor(seconds + 1e-9)
    return span(whole if whole < 120 else whole // 60 * 60)


def elapsed(seconds: float) -> str:
    """An elapsed time after start as `9 h 31 min after start`."""
    return f"{span(seconds)} {'after' if seconds >= 0 else 'before'} start"


def share(value: float) -> str:
    """A fraction in percent: `93 %`."""
    return f"{value * 100:.3g} %"


def number(value: float, unit: str, digits: int = 3) -> str:
    """A value with its unit, in `digits` significant digits and never in exponents: `12.3 V`, `1510 m`."""
    if value == 0 or not math.isfinite(value):
        return f"{value:.0f} {unit}".strip()
    places = max(0, digits - 1 - math.floor(math.log10(abs(value))))
    return f"{value:.{places}f} {unit}".strip()


def number_up(value: float, unit: str, digits: int = 2) -> str:
    """As `number`, rounded up, so that following the advice is enough."""
    if value <= 0:
        return number(value, unit, digits)
    step = 10.0 ** (math.floor(math.log10(value)) + 1 - digits)
    return number(math.ceil(value / step - 1e-9) * step, unit, digits)


def apart(value: float, bound: float, unit: str) -> tuple[str, str]:
    """A value and its bound with as many digits as it takes to tell them apart (3 to 6): `2.443 A` and `2.440 A`."""
    for digits in (3, 4, 5):
        pair = number(value, unit, digits), number(bound, unit, digits)
        if pair[0] != pair[1]:
            return pair
    return number(value, unit, 6), number(bound, unit, 6)


def many(count: int, one: str, more: str | None = None) -> str:
    """`1 cell`, `2 cells`."""
    return f"{count} {one if count == 1 else more or one + 's'}"


def listed(words: list[str] | tuple[str, ...]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} and {words[-1]}"
