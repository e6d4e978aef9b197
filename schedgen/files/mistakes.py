"""What is wrong with the text of a quantity, and what to write instead. Each returns or raises `Misread`."""

from __future__ import annotations

import re

from schedgen.files.numerals import digits
from schedgen.files.trouble import Misread, Trouble, listing, nearest, shown
from schedgen.files.units import DURATION, SHARE, Dimension, canonical, owners

_COLONS = re.compile(r"(?P<sign>-?)(?P<a>\d{1,3}):(?P<b>\d{1,2})(?::(?P<c>\d{1,2}(?:\.\d+)?))?")
_OTHER_FORMS = (
    (re.compile(r"\+\s*-|-\s*/\s*\+|\+\s*\\\s*-"), "Write a tolerance as 5 W +/- 3 %."),
    (re.compile(r"^[~\u2248\u2243]|^(approx|ca|circa|roughly)\b", re.IGNORECASE), "Write a guess as about 5 W."),
    (re.compile(r"(?<=[\w%])\s*(-|\bto\b)\s*(?=\d)"), "Write a range with two dots: 5 W .. 7 W."),
)
"""Spellings of other programs for a tolerance, a guess and a range, and what to write."""
_BINARY = re.compile(r"([KMGT])iB(/s)?")


def know_unit(symbol: str, number: str, text: str, dimension: Dimension) -> None:
    """Raises `Misread` unless `symbol` is a unit of `dimension`, with what was probably meant."""
    if canonical(symbol) in dimension.units:
        return
    wanted = f"{dimension.name} is wanted"
    if symbol in ("m", "M") and dimension is DURATION:
        raise misread(
            f"{shown(text.strip())}: m is the metre, never the minute; {wanted}.", dimension, f"Write {number} min."
        )
    binary = _BINARY.fullmatch(symbol)
    if binary:
        factor = 1024 ** ("KMGT".index(binary[1]) + 1)
        decimal = binary[1].replace("K", "k") + "B" + (binary[2] or "")
        scale = {"k": 1e3, "M": 1e6, "G": 1e9, "T": 1e12}[decimal[0]]
        raise misread(
            f"{symbol} is a binary unit; only decimal prefixes are read (1 GB is 1e9 bytes).", dimension,
            f"Write {digits(float(number) * factor / scale)} {decimal}.",
        )  # fmt: skip
    meant = _meant(symbol, dimension)
    others = owners(canonical(symbol))
    if others and symbol not in dimension.other_names:
        raise misread(
            f"{shown(text.strip())}: {symbol} is the unit of {others[0].name}; {wanted}.",
            dimension,
            _try(number, dimension),
        )
    hint = f" Did you mean {number} {meant}?" if meant else ""
    raise misread(
        f"{shown(text.strip())}: there is no unit {shown(symbol, 20)} here; {wanted}.{hint}",
        dimension,
        _try(number, dimension, meant),
    )


def _meant(symbol: str, dimension: Dimension) -> str | None:
    lowered = {name.lower(): meant for name, meant in dimension.other_names.items()}
    if symbol in dimension.other_names:
        return dimension.other_names[symbol]
    same = [name for name in dimension.units if name.lower() == symbol.lower().rstrip(".")]
    if len(same) == 1:
        return same[0]
    if symbol.lower().rstrip(".") in lowered:
        return lowered[symbol.lower().rstrip(".")]
    return same[0] if same else nearest(symbol, [*dimension.units])


def _try(number: str, dimension: Dimension, meant: str | None = None) -> str:
    """The likely spellings of a number without its unit; one like 0.94 is a share of 1, which is 94 %."""
    if dimension is SHARE and re.fullmatch(r"0\.\d*[1-9]\d*|1(\.0*)?", number):
        return f"Write {digits(float(number) * 100)} %, or {number} % if that little is meant."
    likely = [meant] if meant else list(dimension.likely)
    return f"Write {listing([f'{number} {unit}' for unit in likely])}."


def no_unit(text: str, number: str, body: str, end: int, dimension: Dimension) -> Misread:
    """Of a number in `text` that ends at `end` of `body` and has no unit behind it."""
    rest = body[end:].strip()
    if re.match(r"\d", rest):
        joined = re.sub(r"(?<=\d)\s+(?=\d)", "", body.strip())
        return misread(f"{shown(text.strip())}: a blank stands inside the number.", dimension, f"Write {joined}.")
    if rest:
        return no_number(text, dimension)
    inside = "" if number == text.strip() else f"{shown(text.strip())}: "
    return misread(f"{inside}{number} has no unit; {dimension.name} is wanted.", dimension, _try(number, dimension))


def no_number(text: str, dimension: Dimension) -> Misread:
    """Of a text that does not begin with a number."""
    bare = text.strip()
    if not bare:
        return misread(f"A part of the value is missing; {dimension.name} is wanted.", dimension, "Complete it.")
    step = "Write a number and its unit." if dimension.units else "Write a number."
    for look_alike, form in _OTHER_FORMS:
        if look_alike.search(bare):
            step = form
            break
    return misread(f"{shown(bare)} is not {dimension.name}.", dimension, step)


def refuse_traps(text: str, dimension: Dimension) -> None:
    """Spellings that other readers take silently for something, and look-alike characters."""
    if text.strip(" ?") == "":
        raise misread(
            f"This still has to be filled in; {dimension.name} is wanted.", dimension, "Replace the ? by the value."
        )
    colons = _COLONS.fullmatch(text)
    if colons and dimension is DURATION:
        raise misread(_both_readings(text, colons), dimension, "Write the one that you mean, with its units.")
    if colons:
        raise misread(
            f"{shown(text)} is a time of day or a duration; {dimension.name} is wanted.", dimension, _write(dimension)
        )
    if text.lower() in ("on", "off", "yes", "no", "true", "false", "y", "n", "null", "~"):
        raise misread(f"{shown(text)} is a word; {dimension.name} is wanted.", dimension, _write(dimension))
    if re.fullmatch(r"[-+]?\.?(inf|infinity|nan)( .*)?", text, re.IGNORECASE):
        raise misread(
            f"{shown(text)} is not a number that can be used; {dimension.name} is wanted.",
            dimension,
            "Write a finite number.",
        )
    for dash in "\u2212\u2013\u2014\u2010\u2011\ufe63\uff0d":
        if dash in text and "/" + dash not in text.replace(" ", ""):
            fixed = text.replace(dash, "-")
            step = (
                f"Write {fixed}."
                if text.startswith(dash)
                else "Write a range with two dots: 5 .. 7, with the unit on both."
            )
            raise misread(f"{shown(text)} has a typographic dash (U+{ord(dash):04X}) in it.", dimension, step)
    for quote in "\u201c\u201d\u2018\u2019\u201e":
        if quote in text:
            raise misread(
                f"{shown(text)} has a curly quote ({quote}) in it.", dimension, "Delete it; no quotes are needed."
            )
    if re.search(r"\.\.\.|\u2026", text):
        raise misread(f"{shown(text)} has three dots in it.", dimension, "A range is written with two: 5 W .. 7 W.")


def _write(dimension: Dimension) -> str:
    return f"Write a number{' and its unit' if dimension.units else ''}, such as {dimension.example}."


def _both_readings(text: str, colons: re.Match[str]) -> str:
    a, b, c = colons["a"].lstrip("0") or "0", colons["b"].lstrip("0") or "0", colons["c"]
    if c is None:
        return f"{shown(text)} can be read as {a} h {b} min or as {a} min {b} s."
    c = c.lstrip("0") or "0"
    return f"{shown(text)} can be read as {a} h {b} min {c} s or as {a} d {b} h {c} min."


def misread(message: str, dimension: Dimension, step: str) -> Misread:
    """The message, with what is expected of a value of this dimension."""
    known = [unit for unit in dict.fromkeys([*dimension.likely, *dimension.units]) if unit.isascii()]
    units = listing(known[:8])
    expected = f"{dimension.name} in {units}" if dimension.units else dimension.name
    return Misread(Trouble(message, expected, dimension.example, step))
