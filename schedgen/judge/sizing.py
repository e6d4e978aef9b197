"""How large the pack has to be, and whether that many cells fit their bore."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from schedgen.judge.subject import Subject
    from schedgen.simulate.results import Account

MOST_STRINGS = 40
"""Counts above are not tried."""


@dataclass(frozen=True, slots=True)
class Room:
    """Cells in one layer of a bore: how many there are, how many fit, and the bore that these need [m]."""

    cells: int
    most: int
    bore_needed_m: float

    @property
    def fits(self) -> bool:
        """Whether all cells stand in one layer."""
        return self.cells <= self.most


def strongest_cell_a(subject: Subject, account: Account, parallel: int | None = None) -> float:
    """The largest current of a single cell [A]: the one whose resistance is least takes more than its share.

    `parallel` is the count that the account was made with, the dive's own where left out.
    """
    from schedgen.physics.pack import largest_current_share
    from schedgen.simulate.corners import spread_of

    strings = subject.dive.pack.parallel if parallel is None else parallel
    return account.peak_cell_current_a * strings * largest_current_share(strings, spread_of(subject.cell))


def passes(subject: Subject, account: Account, parallel: int) -> bool:
    """Whether a pack of `parallel` strings does in its worst case all that is asked of a pack.

    It leaves the reserve at `end` (and so feeds the beacon for `recovery.wait`), sheds nothing and asks for no
    release before the release, holds its voltage above the protection's cut and what the board takes, and asks no
    cell for more than its rated current.
    """
    from schedgen.judge.volts import cut_v

    plan, bank = subject.plan, subject.dive.pack.supplies
    at = plan.primary.at_s if plan.primary is not None else plan.events["release"].early
    limits = (account.shed_at_s, account.release_below_at_s)
    least = cut_v(subject)[0] if bank is None else 0.0
    if bank is None:
        least = max(least, subject.board.supply.voltage.low)
    return (
        account.margin_wh >= 0
        and account.empty_at_s is None
        and all(when is None or when >= at for when in limits)
        and account.lowest_voltage_v >= least
        and strongest_cell_a(subject, account, parallel) <= subject.cell.rated_current_at(account.peak_cell_current_c)
    )


def least_strings(subject: Subject) -> int | None:
    """The least count of parallel strings that passes; None when none up to twice the dive's own (40 at most) does."""
    from schedgen.physics.packing import least_parallel
    from schedgen.simulate.sizing import with_strings

    parts = subject.parts
    most = min(MOST_STRINGS, max(8, 2 * subject.dive.pack.parallel))
    accounts = with_strings(parts.dive, parts.board, parts.cell, subject.plan, range(1, most + 1))
    return least_parallel(lambda count: passes(subject, accounts[count], count), most)


def room_for(subject: Subject, parallel: int) -> Room | None:
    """Whether `parallel` strings stand in one layer of the bore; None where `pack.layout` is not given."""
    from schedgen.physics.packing import MOST_CELLS, bore_needed, most_in_bore

    pack, cell = subject.dive.pack, subject.cell
    if pack.layout is None:
        return None
    bore, spacing, diameter = pack.layout.bore.low, pack.layout.spacing.high, cell.diameter.high
    cells = pack.series * parallel
    needed = bore_needed(min(cells, MOST_CELLS), diameter, spacing)
    return Room(cells, most_in_bore(diameter, spacing, bore), needed)
