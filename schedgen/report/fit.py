"""What `fit` found, as lines and as plain values."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING, Any

from schedgen.report.check import wrapped

if TYPE_CHECKING:
    from schedgen.fit.fit import Answer, Fit


def fit_lines(found: Fit, paint: Callable[..., str], out: str | None = None) -> list[str]:
    """Each wish with its answer and proof, then the patch."""
    lines: list[str] = []
    for answer in found.answers:
        lines += _answer(answer, paint)
    lines.append(
        f"{found.tried} candidates judged by every rule in the worst case; whole check: {found.verdict.upper()}"
    )
    if not found.met:
        return [*lines, "Nothing was changed."]
    if not found.proven:
        lines.append("NOT PROVEN: a step beyond passes too. Try it, and tell the authors.")
    now, before, count = found.offered
    if now < before:
        lines += wrapped(
            f"Field changes: only {now} of {count} combinations can still be chosen on deck, as written {before};"
            " what is best as written leaves no room for them.",
            "",
            "  ",
        )
    if not found.patch:
        return [*lines, "The file is already the best that passes."]
    lines += ["", *found.patch.splitlines(), ""]
    return [*lines, f"Wrote {out}." if out else "Nothing was written; --out FILE writes the changed dive file."]


def _answer(answer: Answer, paint: Callable[..., str]) -> list[str]:
    title = paint(answer.wish, "bold")
    if not answer.met:
        lines = [f"{title}: cannot be met, no value passes. What binds:"]
        return [*lines, *(line for stop in answer.binds for line in wrapped(stop, "  ", "    "))]
    same = answer.after == answer.before
    lines = wrapped(
        f"{title}: {answer.after}" + (", as written" if same else f"; as written {answer.before}"), "", "  "
    )
    for path, text in answer.values:
        lines.append(f"  {path}: {text}")
    for step in answer.beyond:
        stops = step.stops[0] if step.stops else "nothing stops it"
        lines += wrapped(f"one step further, {step.path}: {step.text}, is stopped by {stops}", "  ", "    ")
        if len(step.stops) > 1:
            lines += wrapped("and by " + ", ".join(stop.partition(":")[0] for stop in step.stops[1:]), "    ")
    lines += [f"  {path} is at the end of its range" for path in answer.at_its_end]
    return [*lines, *wrapped(answer.remark, "  ")]


def fit_record(found: Fit) -> dict[str, Any]:
    """The same as plain values for JSON."""
    return {
        "met": found.met,
        "proven": found.proven,
        "verdict": found.verdict,
        "wishes": [
            {
                "wish": answer.wish,
                "met": answer.met,
                "before": answer.before,
                "after": answer.after,
                "changes": dict(answer.values),
                "beyond": [{"path": s.path, "value": s.text, "stops": list(s.stops)} for s in answer.beyond],
                "at_its_end": list(answer.at_its_end),
                "binds": list(answer.binds),
            }
            for answer in found.answers
        ],
        "field_changes": dict(zip(("offered", "as_written", "combinations"), found.offered, strict=True)),
        "patch": found.patch,
        "tried": found.tried,
    }
