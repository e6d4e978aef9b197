"""Which inputs are guesses, and what each of them may cost in energy: a first-order estimate that ranks them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from schedgen.files.quantity import Quantity

if TYPE_CHECKING:
    from schedgen.judge.subject import Subject
    from schedgen.simulate.results import Account


@dataclass(frozen=True, slots=True)
class Guess:
    """A guessed input: its dotted path and what the width of its interval is worth in Wh (0 where it costs none)."""

    path: str
    effect_wh: float


def guessed_inputs(subject: Subject) -> tuple[Guess, ...]:
    """All guessed inputs of the dive, the one with the largest effect first, then by path."""
    account = subject.results.nominal if subject.results is not None else None
    guesses = (
        Guess(path, effect_wh(subject, path, account) if account is not None else 0.0) for path in subject.guessed
    )
    return tuple(sorted(guesses, key=lambda guess: (-guess.effect_wh, guess.path)))


def value_at(dive: object, path: str) -> Any:
    """What stands at a dotted path of the dive, None where nothing does."""
    here: Any = dive
    for key in path.split("."):
        if isinstance(here, dict):
            here = here.get(key)
        elif isinstance(here, list | tuple):
            here = here[int(key)] if key.isdigit() and int(key) < len(here) else None
        else:
            here = getattr(here, f"{key}_" if key in ("for", "from", "with") else key, None)
        if here is None:
            return None
    return here


def _half_width(value: object, default: tuple[float, float, float]) -> float:
    """Half the interval as a share of its nominal value; of `default` where nothing is written."""
    low, nominal, high = default
    if isinstance(value, Quantity):
        low, nominal, high = value.low, value.nominal, value.high
    return (high - low) / 2 / abs(nominal) if nominal else 0.0


def effect_wh(subject: Subject, path: str, account: Account) -> float:
    """Half the interval's width times the energy that hangs on the input [Wh]: a straight-line estimate."""
    from schedgen.plan.fall import DRAG_GUESS
    from schedgen.simulate.corners import DEFAULT_HEALTH
    from schedgen.simulate.results import BACKUP, PRIMARY

    value, parts = value_at(subject.dive, path), path.split(".")
    if path.startswith(("pack.health", "pack.charge", "pack.supplies.efficiency")):
        default = (DEFAULT_HEALTH.low, DEFAULT_HEALTH.nominal, DEFAULT_HEALTH.high)
        return _half_width(value, default) * (account.usable_wh + account.reserve_wh)
    if parts[0] == "loads" and parts[2:3] == ["power"]:
        return _half_width(value, (0.7, 1.0, 1.3)) * account.by_load_wh.get(parts[1], 0.0)
    if path.startswith(("release.primary.power", "release.backup.power")):
        key = PRIMARY if parts[1] == "primary" else BACKUP
        return _half_width(value, (0.7, 1.0, 1.3)) * account.by_load_wh.get(key, 0.0)
    if path.startswith("vehicle.drag_coefficient"):
        # a time goes with the root of the drag, so half its relative width
        phases = (
            ("descent", "ascent")
            if parts[-1] == "drag_coefficient"
            else (("descent",) if "down" in path else ("ascent",))
        )
        width = _half_width(value, DRAG_GUESS) / 2
        return sum(width * account.by_phase_wh.get(phase, 0.0) for phase in phases)
    if path.startswith("site.depth"):
        return _half_width(value, (0.7, 1.0, 1.3)) * (
            account.by_phase_wh.get("descent", 0.0) + account.by_phase_wh.get("ascent", 0.0)
        )
    if path.startswith("recovery.wait"):
        return _half_width(value, (0.7, 1.0, 1.3)) * account.by_phase_wh.get("surface", 0.0)
    return 0.0
