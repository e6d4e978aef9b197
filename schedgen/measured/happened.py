"""What was planned against what happened: the release, its tries, resets, the end, the lowest voltage. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.errors import Differs
from schedgen.measured.journal import Journal
from schedgen.plan.changes import apply_changes, combinations
from schedgen.plan.model import ShiftRelease
from schedgen.settings.schedule import duration

if TYPE_CHECKING:
    from schedgen.plan.model import Plan
    from schedgen.simulate.results import Results

MINUTE_S = 60
"""A firing command that came earlier than planned is journalled in whole minutes."""


@dataclass(frozen=True, slots=True)
class Happened:
    """One line: what, as planned, as it happened, and whether that is as planned (None: for information)."""

    what: str
    planned: str
    happened: str
    as_planned: bool | None = None


def flown_plan(plan: Plan, journal: Journal) -> Plan:
    """The Plan with the field changes that were chosen on deck. Raises `Differs` for a choice that the dive lacks."""
    if journal.choice is None:
        return plan
    choices = combinations(plan)
    if journal.choice >= len(choices):
        raise Differs(
            f"The journal says that combination {journal.choice} of the field changes was chosen; the dive has "
            f"{len(choices)}.",
            "Give the dive file that was on the board.",
        )
    return apply_changes(plan, choices[journal.choice])


def happened(plan: Plan, results: Results, journal: Journal, unchanged: Plan) -> tuple[Happened, ...]:
    """Line by line. `plan` is the one flown, `unchanged` the one without field changes, `results` of the latter."""
    lines = [
        Happened("state", "over", journal.state, journal.state == "over" if journal.elapsed_s >= plan.end_s else None),
        Happened("clock ran", f"to {duration(plan.end_s)}", f"to {duration(journal.elapsed_s)}", None),
    ]
    if unchanged.field_changes:
        lines.append(Happened("field changes", "as written", _chosen(unchanged, journal.choice), None))
    lines += _release(plan, journal)
    lines.append(Happened("resets", "0", str(journal.resets), journal.resets == 0))
    worst, nominal = results.worst.lowest_voltage_v, results.nominal.lowest_voltage_v
    if journal.lowest_v is not None:
        told = f"{journal.lowest_v:.2f} V"
        lines.append(Happened("lowest voltage", f"{worst:.2f} to {nominal:.2f} V", told, journal.lowest_v >= worst))
    lines.append(Happened("faults", "none", ", ".join(journal.faults) or "none", not journal.faults))
    return tuple(lines)


def _chosen(unchanged: Plan, choice: int | None) -> str:
    """What was chosen with the buttons on deck, in words."""
    if choice is None:
        return "as written"
    said = []
    for change, value in zip(unchanged.field_changes, combinations(unchanged)[choice], strict=True):
        if isinstance(change, ShiftRelease):
            moved = duration(abs(value) * change.step_s)
            said += [f"release {moved} {'later' if value > 0 else 'earlier'}"] if value else []
        elif value != change.values[0]:
            said.append(f"{change.output} at {value} %")
    return ", ".join(said) or "as written"


def _release(plan: Plan, journal: Journal) -> list[Happened]:
    """The first firing command, and the tries begun by the time of the journal's end."""
    planned = plan.first_firing_s
    if planned is None:
        return [Happened("release", "not fired by the board", f"{journal.tries} tries", journal.tries == 0)]
    fired = journal.first_firing_s
    early = fired is not None and planned - fired > MINUTE_S
    late = fired is not None and fired - planned > MINUTE_S
    said = "not known" if fired is None else duration(fired)
    if early:
        said += f", {duration(planned - (fired or 0))} early"
    if late:
        said += f", {duration((fired or 0) - planned)} late"
    firings = [firing for firing in (plan.primary, plan.backup) if firing is not None]
    due = sum(start < journal.elapsed_s for firing in firings for start, _ in firing.all_tries(plan.end_s))
    own = plan.primary.tries if plan.primary is not None else 0
    return [
        Happened("first firing", duration(planned), said, None if fired is None else not early and not late),
        Happened(
            "release tries",
            f"{own} by the primary, {due} with all later ones",
            str(journal.tries),
            journal.tries >= own,
        ),
    ]


def readings_to_fit(plan: Plan, journal: Journal) -> tuple[Journal, str]:
    """The journal with the readings that the Plan explains, and why some are left out, or "".

    After a firing that came at another time than planned, and after everything but beacon and release was shed, the
    loads were not those of the Plan.
    """
    from dataclasses import replace

    planned, fired = plan.first_firing_s, journal.first_firing_s
    until, why = journal.elapsed_s, ""
    if planned is not None and fired is not None and abs(planned - fired) > MINUTE_S:
        until = min(planned, fired)
        why = "readings after the first firing are left out: it came at another time than planned"
    if journal.state == "surface only":
        return replace(journal, readings=()), "everything but beacon and release was shed: nothing can be fitted"
    kept = tuple(one for one in journal.readings if one.at_s <= until)
    return replace(journal, readings=kept), why if len(kept) < len(journal.readings) else ""
