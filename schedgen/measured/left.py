"""The charge that a dive left in its pack, from the fit to its voltage history; and its use in the next dive. Pure.

The fit's numbers give the charge by the model; their covariance and what was held give its uncertainty. To it comes
what no reading tells: that a cell's voltage depends on whether it was charged or discharged last (hysteresis).
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np

from schedgen.dive.times import Planned
from schedgen.errors import OutOfRange
from schedgen.files.quantity import Quantity
from schedgen.files.trouble import Trouble
from schedgen.measured.fit import SIGMAS, rows_of
from schedgen.measured.suggest import MISFIT_MOST
from schedgen.physics.pack import HYSTERESIS_V

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.dive.model import Dive
    from schedgen.measured.course import Model
    from schedgen.measured.fit import Fit
    from schedgen.measured.journal import Journal

WIDEST = 0.5
"""A charge that is known to no better than from empty to half is not told."""


@dataclass(frozen=True, slots=True)
class Left:
    """What a dive left: `charge` as an interval, a share of label x health, at `ended`; and of which pack."""

    code: str
    cell: str
    series: int
    parallel: int
    charge: Quantity
    ended: datetime


def charge_left(model: Model, fit: Fit, told: Journal) -> Left:
    """What was left when the board last journalled, about 95 % sure. Raises `OutOfRange` where it is not known."""
    planned, fired = model.plan.first_firing_s, told.first_firing_s
    if fit.misfit > MISFIT_MOST:
        raise OutOfRange("the model does not explain the readings")
    if planned is not None and fired is not None and abs(planned - fired) > 60 and told.elapsed_s > min(planned, fired):
        raise OutOfRange("the release fired at another time than planned, so that the loads were not those of the plan")
    solution = fit.solution
    steps = np.diag([one.step for one in solution.unknowns])
    rows = rows_of(model, fit.sought, solution.unknowns, np.vstack([solution.found, solution.found + steps]))
    more = rows_of(model, fit.sought, solution.unknowns, solution.found[None, :], solution.held_sigma)
    charges = model.charges(np.vstack([rows, more]), told.elapsed_s)
    nominal, slopes = float(charges[0]), (charges[1:-1] - charges[0]) / np.diag(steps)
    by_held = float(charges[-1] - charges[0] + slopes @ solution.held_shift)
    half = SIGMAS * float(np.sqrt(slopes @ solution.covariance @ slopes + by_held**2))
    low, high = _felt(model, nominal - half, -1), _felt(model, nominal + half, 1)
    if not 0.0 < nominal <= 1.0 or high - low > WIDEST:
        raise OutOfRange(f"the readings bound it only to {low * 100:.0f} to {high * 100:.0f} %")
    return Left(
        told.code,
        str(model.cell.cell),
        int(model.dive.pack.series),
        int(model.dive.pack.parallel),
        share(low, high),
        (model.plan.planned + timedelta(seconds=told.elapsed_s)).astimezone(UTC).replace(microsecond=0),
    )


def share(low: float, high: float) -> Quantity:
    """An interval of charge as the language writes it; its nominal is the middle, as for every range."""
    low, high = round(low, 4), round(high, 4)
    return Quantity(low, (low + high) / 2, high, "range", f"{low * 100:.2f} % .. {high * 100:.2f} %", "%")


def with_left(dive: Dive, left: Left) -> Dive:
    """The dive whose pack begins with what is left, self-discharge counted from then on."""
    charged = Planned(left.ended, 0.0, left.ended.isoformat())
    return dive.model_copy(update={"pack": dive.pack.model_copy(update={"charge": left.charge, "charged": charged})})


def left_troubles(dive: Dive, cell: Cell, left: Left, file: str) -> list[Trouble]:
    """Why what is left cannot be the beginning of this dive: another pack, or charged or planned at other times."""
    after, pack = ("pack", "charge", "after"), dive.pack
    troubles = []
    own = f"{pack.series} in series x {pack.parallel} of {cell.cell}"
    told = f"{left.series} in series x {left.parallel} of {left.cell}"
    if own != told:
        step = "Name the record of this pack's own last dive, or write the charge as a share."
        troubles.append(Trouble(f"{file} tells of another pack: {told}.", own, "", step, after))
    when = left.ended.isoformat().replace("+00:00", "Z")
    planned = dive.start.planned
    if planned.instant.timestamp() + planned.plus_minus_s < left.ended.timestamp():
        message = f"In {file} dive {left.code} ends at {when}, after this dive's planned start ({planned.text})."
        step = f"Correct start.planned here, or ended in {file}."
        troubles.append(Trouble(message, "the record of a dive before this one", "", step, after))
    charged = pack.charged
    if charged is not None and charged.instant.timestamp() - charged.plus_minus_s > left.ended.timestamp():
        message = (
            f"The pack was charged ({charged.text}) after dive {left.code} ended ({when}): the record no longer holds."
        )
        step = "Write the charge as a share, or delete charged."
        troubles.append(Trouble(message, f"an instant before {when}", "", step, ("pack", "charged")))
    return troubles


def _felt(model: Model, charge: float, way: int) -> float:
    """A bound of the charge, moved outwards by the hysteresis of the cell's voltage; from empty to full at the most."""
    inside = min(max(charge, 0.0), 1.0)
    volts = float(model.tables.open_circuit(inside)) + way * HYSTERESIS_V[model.cell.chemistry]
    empty_v, full_v = float(model.tables.open_circuit(0.0)), float(model.tables.open_circuit(1.0))
    return float(model.tables.charge_at(min(max(volts, empty_v), full_v)))
