"""What `find` and `readback --all` print: ports, the boards behind them, and why none is found."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import TYPE_CHECKING, Any

from schedgen.report.board import identity_record
from schedgen.report.tables import table

if TYPE_CHECKING:
    from schedgen.link.search import Asked, Candidate
    from schedgen.link.why import Cause

Paint = Callable[..., str]


def found_lines(found: Sequence[Candidate], asked: Mapping[str, Asked]) -> list[str]:
    """Every port with its adapter and, where it was asked, who answered; then what to do next."""
    if not found:
        return ["This computer lists no serial port.", "To see the usual causes: schedgen find --why"]
    rows = [["port", "USB ids", "adapter", "board"]]
    troubles = []
    for each in found:
        one = asked.get(each.port)
        rows.append([each.port, each.usb, each.description or "-", _answer(each, one)])
        if one is not None and one.trouble is not None:
            troubles += [f"{each.port}: {one.trouble.message}", f"  Next: {one.trouble.next_step}"]
    lines = [*table(rows), *troubles]
    if not any(one.identity for one in asked.values()):
        lines.append("To see the usual causes: schedgen find --why")
    return lines


def _answer(each: Candidate, asked: Asked | None) -> str:
    if asked is None:
        return "not asked" if each.known else "not asked: no known adapter; name it with --port to ask"
    if asked.identity is None:
        return "no board answers"
    who = asked.identity
    return f"{who.called}, dive {who.code or 'none'}, {who.state}"


def boards_lines(asked: Sequence[Asked]) -> list[str]:
    """One table of boards: which dive is on which."""
    rows = [["port", "board", "name", "dive", "state", "pack", "resets", "faults"]]
    troubles = []
    for one in asked:
        who = one.identity
        if who is None:
            rows.append([one.candidate.port, "no board answers", "", "", "", "", "", ""])
            if one.trouble is not None:
                troubles += [f"{one.candidate.port}: {one.trouble.message}", f"  Next: {one.trouble.next_step}"]
            continue
        faults = ", ".join(who.faults) or "none"
        volts = f"{who.pack_v:.2f} V"
        name = who.given_name or "-"
        rows.append(
            [one.candidate.port, who.board, name, who.code or "none", who.state, volts, str(who.resets), faults]
        )
    codes = [one.identity.code for one in asked if one.identity is not None and one.identity.code is not None]
    twice = sorted({code for code in codes if codes.count(code) > 1})
    lines = [*table(rows), *troubles]
    if twice:
        lines.append(f"The same dive is on more than one board: {', '.join(twice)}.")
    return lines


def asked_record(asked: Asked | None, candidate: Candidate | None = None) -> dict[str, Any]:
    """A port as plain values for JSON; `board` is None where none answered or none was asked."""
    each = candidate if candidate is not None else asked.candidate if asked is not None else None
    assert each is not None
    who = asked.identity if asked is not None else None
    trouble = asked.trouble.message if asked is not None and asked.trouble is not None else None
    return {
        "port": each.port,
        "usb": None if each.vid is None else each.usb,
        "description": each.description,
        "known_adapter": each.known,
        "asked": asked is not None,
        "board": None if who is None else identity_record(who),
        "trouble": trouble,
    }


def why_lines(causes: Sequence[Cause], paint: Paint) -> list[str]:
    """The usual causes, what was seen here first."""
    lines = ["Why is no board found? Without asking any port:", ""]
    for number, cause in enumerate(causes, 1):
        mark = paint("seen here", "bold", "yellow") + ": " if cause.seen else ""
        lines += [f"{number}. {paint(cause.title, 'bold')}: {mark}{cause.text}", f"   Next: {cause.step}"]
    return lines


def why_record(causes: Sequence[Cause]) -> list[dict[str, Any]]:
    """The same as plain values for JSON."""
    return [{"title": c.title, "text": c.text, "next": c.step, "seen": c.seen} for c in causes]
