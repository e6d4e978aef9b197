"""What `debrief` prints: planned against happened, the fit with its uncertainty, and lines to paste."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any

from schedgen.measured.suggest import MISFIT_MOST, suggestion
from schedgen.report.check import wrapped
from schedgen.report.tables import table

if TYPE_CHECKING:
    from schedgen.load import LoadedDive
    from schedgen.measured.fit import Fit
    from schedgen.measured.happened import Happened
    from schedgen.measured.journal import Journal
    from schedgen.measured.left import Left

Paint = Callable[..., str]
_MARKS = {True: "as planned", False: "DIFFERS", None: ""}


def debrief_lines(
    told: Journal,
    lines: Sequence[Happened],
    found: Fit | None,
    trouble: str,
    left_out: str,
    loaded: LoadedDive,
    paint: Paint,
) -> list[str]:
    """The whole report."""
    who = f'{told.board} "{told.name}"' if told.name else told.board
    rows = [["", "planned", "happened", ""]]
    for one in lines:
        mark = _MARKS[one.as_planned]
        rows.append([one.what, one.planned, one.happened, paint(mark, "bold", "red") if mark == "DIFFERS" else mark])
    out = [f"Dive {told.code}, {loaded.dive.dive}; told by {who}", "", *table(rows), ""]
    if found is None:
        return [*out, *wrapped(f"Nothing fitted: {trouble}. {left_out}".strip(), "")]
    return [*out, *_fit_lines(found, left_out, loaded, paint)]


def _fit_lines(found: Fit, left_out: str, loaded: LoadedDive, paint: Paint) -> list[str]:
    if found.sought == "loads":
        head = f"All loads took {found.value * 100:.1f} % ± {found.half_width * 100:.1f} % of what the file says"
    else:
        head = f"The pack's health is {found.value * 100:.1f} % ± {found.half_width * 100:.1f} % of its label"
    parts = f"{found.from_readings * 100:.1f} % from the readings, {found.from_held * 100:.1f} % from what is held"
    lines = [
        paint(head, "bold"),
        *wrapped(f"with about 95 % confidence ({parts}), from {found.used} readings by least squares.", "  "),
        *wrapped(f"Held: {found.held}.", "  "),
    ]
    for name, value, error in found.beside:
        lines.append(f"  Fitted with it: {name} {value:.4g} ± {error:.2g}")
    lines.append(f"  Readings miss the model by {found.misfit:.1f} times their rounding error (1 is a good fit).")
    if found.left_out:
        when = ", ".join(f"{at_s} s" for at_s in found.left_out)
        lines += wrapped(f"Left out, far from their neighbours: the readings at {when}.", "  ")
    if left_out:
        lines += wrapped(f"{left_out[0].upper()}{left_out[1:]}.", "  ")
    lines += ["Cannot be told apart from voltage alone:", *(f"  - {text}" for text in found.not_told_apart)]
    paste = suggestion(found, loaded.dive)
    if not paste:
        why = "the model does not explain the readings" if found.misfit > MISFIT_MOST else "it would leave its bounds"
        return [*lines, f"Nothing is suggested: {why}."]
    lines += ["", "To paste into the dive file, if you believe it; then check again:", *(f"  {text}" for text in paste)]
    return lines


def left_lines(left: Left | str, saved: str | None) -> list[str]:
    """What is left in the pack, or why that is not known (a text), and how the next dive file says so."""
    if isinstance(left, str):
        text = f"What is left in the pack is not known: {left}. For another dive without charging, let the pack rest "
        return ["", *wrapped(text + "for 1 h or more and write charge: {rest_voltage, rested, temperature}.", "")]
    when = left.ended.isoformat().replace("+00:00", "Z")
    after = "{after: " + (saved or "FILE") + "}"
    how = f"charge: {after}" + ("" if saved else ", with FILE from --save FILE")
    text = (
        f"with about 95 % confidence if the cells follow their table, when the board last journalled ({when} if it "
        f"started as planned). What it drew after that until it was disconnected is not counted. For another dive "
        f"without charging: {how}"
    )
    return ["", f"Left in the pack: {left.charge.low * 100:.1f} to {left.charge.high * 100:.1f} % of label x health",
            *wrapped(text, "  ")]  # fmt: skip


def debrief_record(
    told: Journal, lines: Sequence[Happened], found: Fit | None, trouble: str, loaded: LoadedDive, left: Left | str
) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "code": told.code,
        "board": told.board,
        "name": told.name or None,
        "happened": [
            {"what": one.what, "planned": one.planned, "happened": one.happened, "as_planned": one.as_planned}
            for one in lines
        ],
        "readings": [{"at_s": one.at_s, "volts": one.volts} for one in told.readings],
        "fit": None
        if found is None
        else {
            "sought": found.sought,
            "value": found.value,
            "half_width": found.half_width,
            "from_readings": found.from_readings,
            "from_held": found.from_held,
            "held": found.held,
            "beside": [{"name": name, "value": value, "half_width": error} for name, value, error in found.beside],
            "readings": found.used,
            "misfit": found.misfit,
            "not_told_apart": list(found.not_told_apart),
            "paste": suggestion(found, loaded.dive),
        },
        "not_fitted": trouble or None,
        "left": None
        if isinstance(left, str)
        else {"low": left.charge.low, "high": left.charge.high, "ended": left.ended.isoformat()},
        "left_not_known": left if isinstance(left, str) else None,
    }
