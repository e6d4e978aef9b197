"""What a settings block means: a `DecodedDive`, and the rules between its fields.

The decoder makes one from bytes and `meaning_of` makes one from a Plan; the encoder packs it. Two blocks mean the same
exactly when their `DecodedDive`s are equal. What a Plan holds and a block does not (loads, places, physical events) is
not in it.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import product

from schedgen.errors import BlockError
from schedgen.files.place import Place
from schedgen.plan.model import (
    Burst,
    ChooseLevel,
    Clip,
    FieldChange,
    Firing,
    Interlocks,
    Plan,
    ShiftRelease,
    Trigger,
    Window,
)
from schedgen.settings.fields import COMBINATIONS_MOST, LAYOUT_VERSION, by_name

OUTPUTS_MOST = 8
"""Outputs that a board of format 1 can have: three bits."""

ELAPSED_MOST = by_name("header", "end").high
"""The last second that an elapsed time can say."""

NO_NAMES = tuple(f"output {number}" for number in range(1, OUTPUTS_MOST + 1))
"""Names of the outputs where the board is not known."""


@dataclass(frozen=True, slots=True)
class DecodedDive:
    """Everything that a settings block says. Times in whole seconds elapsed; voltages per cell in steps of 10 mV.

    `outputs` are the names of the board's outputs in its order; the windows, firings and changes use them. Windows that
    follow another output come last. A repeating window's `stop_s` is the end of its last burst.
    """

    version: int
    board_type: int
    trigger: Trigger
    at_s: int
    end_s: int
    interlocks: Interlocks
    primary: Firing | None
    backup: Firing | None
    windows: tuple[Window, ...]
    field_changes: tuple[FieldChange, ...]
    allowed_changes: tuple[bool, ...]
    outputs: tuple[str, ...] = NO_NAMES
    bottom_s: int | None = None
    """On the bottom by then, a whole minute rounded up; None where it is not known or does not fit."""
    rise_s: int | None = None
    """From the end of the last try (without a primary: from `at_s`) to the late surface, a whole minute rounded up."""
    code: str = field(default="", compare=False)
    """Dive code of the block it was decoded from; empty when it comes from a Plan."""
    bytes_used: int = field(default=0, compare=False)

    @property
    def clips(self) -> tuple[Clip, ...]:
        """The different clips of the followers, in the order of their first use."""
        return tuple(dict.fromkeys(window.clip for window in self.windows if window.clip is not None))

    def combinations(self) -> Iterator[tuple[tuple[int, ...], bool]]:
        """Each combination of field changes (steps of a shift, or the percent of a level) and whether it is allowed."""
        if self.field_changes:
            yield from zip(combinations(self.field_changes), self.allowed_changes, strict=True)


def combinations(changes: Sequence[FieldChange]) -> list[tuple[int, ...]]:
    """All combinations of field changes, the first change slowest: steps of a shift (signed), or percent of a level.

    None at all without changes.
    """
    if not changes:
        return []
    return list(product(*(choices_of(change) for change in changes)))


def choices_of(change: FieldChange) -> tuple[int, ...]:
    """What can be chosen for one change: steps of a shift from the earliest on, or the percents of a level."""
    if isinstance(change, ShiftRelease):
        return tuple(range(change.first, change.last + 1))
    return change.values


def burst_stop(start_s: int, burst: Burst) -> int:
    """End of the last burst of a repeating window, in seconds elapsed."""
    return start_s + (burst.count - 1) * burst.every_s + burst.on_s


def bursts_without_end(start_s: int, every_s: int) -> int:
    """How many bursts of a window without stop begin before the elapsed seconds run out."""
    return (ELAPSED_MOST - start_s) // every_s + 1


def meaning_of(plan: Plan, outputs: Sequence[str]) -> DecodedDive:
    """What a block for this plan says. `outputs`: names of all outputs of the board, in its order.

    Raises BlockError when the plan has something that no block can say.
    """
    limits = plan.interlocks
    followers = [window for window in plan.windows if window.follow is not None]
    leaders = [window for window in plan.windows if window.follow is None]
    return DecodedDive(
        version=LAYOUT_VERSION,
        board_type=plan.board_type,
        trigger=plan.trigger,
        at_s=plan.release_s,
        end_s=plan.end_s,
        interlocks=replace(
            limits,
            shed_v=round_up_volts(limits.shed_v),
            release_below_v=round_up_volts(limits.release_below_v),
            keep=tuple(name for name in outputs if name in limits.keep),
        ),
        primary=plan.primary,
        backup=plan.backup,
        windows=tuple(_bare(window) for window in (*leaders, *followers)),
        field_changes=plan.field_changes,
        allowed_changes=plan.allowed_changes,
        outputs=tuple(outputs),
        bottom_s=_whole_minute("bottom", _late(plan, "bottom"), 0),
        rise_s=_whole_minute(
            "rise", _late(plan, "surface"), plan.primary.last_end_s if plan.primary else plan.release_s
        ),
    )


def _late(plan: Plan, event: str) -> int | None:
    return plan.events[event].late if event in plan.events else None


def _whole_minute(name: str, late_s: int | None, since_s: int) -> int | None:
    """Seconds from `since_s` to `late_s` rounded up to the field's step; None where it reaches the field's end."""
    one = by_name("header", name)
    if late_s is None or late_s < since_s:
        return None
    seconds = -(-(late_s - since_s) // one.scale) * one.scale
    return seconds if seconds < one.high else None


def round_up_volts(volts: float) -> float:
    """A cell voltage rounded up to the next 10 mV, so that the board never acts later than planned."""
    return -int(-round(volts * 100.0, 6) // 1) / 100.0


def _bare(window: Window) -> Window:
    """The window with what a block keeps of it."""
    bare = replace(window, load="", place=Place(""), line=-1)
    if window.stop_s is None:
        bare = replace(bare, stop_moves=False)
    if window.burst is None or window.start_s is None:
        return bare
    burst = replace(window.burst, surely_on_bottom=0)
    if window.stop_s is None:
        return replace(bare, burst=replace(burst, count=bursts_without_end(window.start_s, burst.every_s)))
    stop_s = burst_stop(window.start_s, burst)
    if stop_s != window.stop_s:
        raise BlockError(f"bursts on {window.output} end at {stop_s} s, but their window at {window.stop_s} s")
    return replace(bare, burst=burst)


def check(dive: DecodedDive, places: Sequence[Place] = ()) -> None:
    """Raises BlockError when fields that are each in range contradict each other.

    `places` says where each window stands, so that the error of a window has a place.
    """
    limits = dive.interlocks
    if len(dive.outputs) > OUTPUTS_MOST:
        raise BlockError(f"the board has {len(dive.outputs)} outputs, a settings block knows {OUTPUTS_MOST}")
    if limits.not_before_s > limits.latest_s:
        raise BlockError(f"not_before ({limits.not_before_s} s) is after latest ({limits.latest_s} s)")
    for name, at in (("the release", dive.at_s), ("not_before", limits.not_before_s)):
        if at > dive.end_s:
            raise BlockError(f"{name} ({at} s) is after the end ({dive.end_s} s)")
    _check_firings(dive)
    for index, window in enumerate(dive.windows):
        try:
            _check_window(window, dive.end_s)
            _check_wiring(window, dive)
        except BlockError as trouble:
            trouble.place = places[index] if places else None
            raise
    _check_changes(dive)


def _check_wiring(window: Window, dive: DecodedDive) -> None:
    release = {firing.output for firing in (dive.primary, dive.backup) if firing is not None}
    following = {other.output for other in dive.windows if other.follow is not None}
    if window.output in release:
        raise BlockError(f"a window drives {window.output}, which is a release output", RELEASE_STEP)
    if window.follow is not None and window.follow.leader in {window.output, *following, *release}:
        raise BlockError(f"{window.output} follows {window.follow.leader}, which follows another or is a release")


RELEASE_STEP = "Wire the load to another output; a release output is fired by the release only."


def _check_firings(dive: DecodedDive) -> None:
    primary, backup = dive.primary, dive.backup
    if primary is not None and primary.at_s != dive.at_s:
        raise BlockError(f"the primary release fires at {primary.at_s} s, not at {dive.at_s} s")
    if backup is not None and backup.at_s != dive.interlocks.latest_s:
        raise BlockError(f"the backup release fires at {backup.at_s} s, not at latest ({dive.interlocks.latest_s} s)")
    if primary is not None and backup is not None and primary.output == backup.output:
        raise BlockError(
            f"primary and backup release are both on {primary.output}", "Wire the backup to its own output."
        )
    for firing in (primary, backup):
        if firing is not None and firing.fire_s < 1:
            raise BlockError(f"{firing.output} would fire for no time at all")


def _check_window(window: Window, end_s: int) -> None:
    where = f"a window of {window.output}"
    if sum(part is not None for part in (window.burst, window.flash, window.follow)) > 1:
        raise BlockError(f"{where} is more than one of repeating, flashing and following")
    if window.follow is not None:
        if window.follow.mode == "stop" and window.follow.trail_s:
            raise BlockError(f"{where} is a stop pulse with a trail")
        if window.clip is not None:
            _check_span(f"the clip of {where}", window.clip.start_s, window.clip.stop_s, end_s)
        return
    if window.clip is not None:
        raise BlockError(f"{where} is cut by a clip, which only a following window can be")
    if window.start_s is None:
        raise BlockError(f"{where} has no start")
    if window.burst is not None and window.burst.on_s > window.burst.every_s:
        raise BlockError(
            f"{where} has bursts of {window.burst.on_s} s every {window.burst.every_s} s: longer than the gap"
        )
    if window.flash is not None and window.flash.on_64 > window.flash.every_64:
        raise BlockError(f"{where} is lit for {window.flash.on_64}/64 s of every {window.flash.every_64}/64 s")
    _check_span(where, window.start_s, window.stop_s, end_s)


def _check_span(where: str, start_s: int, stop_s: int | None, end_s: int) -> None:
    if stop_s is not None and stop_s <= start_s:
        raise BlockError(f"{where} stops at {stop_s} s, not after its start at {start_s} s")
    if (start_s if stop_s is None else stop_s) > end_s:
        raise BlockError(f"{where} ({start_s} to {stop_s} s) passes the end of the dive ({end_s} s)")


def _check_changes(dive: DecodedDive) -> None:
    changes = dive.field_changes
    shifts = [change for change in changes if isinstance(change, ShiftRelease)]
    levels = [change.output for change in changes if isinstance(change, ChooseLevel)]
    if len(shifts) > 1 or len(set(levels)) < len(levels):
        raise BlockError("two field changes change the same thing")
    for shift in shifts:
        if not shift.first <= 0 <= shift.last:
            raise BlockError(f"a shift of the release from {shift.first} to {shift.last} steps does not contain 0")
    chosen = combinations(changes)
    if len(chosen) > COMBINATIONS_MOST:
        raise BlockError(f"{len(chosen)} combinations of field changes, the block holds {COMBINATIONS_MOST}")
    if len(chosen) != len(dive.allowed_changes):
        raise BlockError(f"{len(chosen)} combinations of field changes, but {len(dive.allowed_changes)} are judged")
    for values, allowed in zip(chosen, dive.allowed_changes, strict=True):
        for change, value in zip(changes, values, strict=True):
            if not allowed or not isinstance(change, ShiftRelease):
                continue
            if not 0 <= dive.at_s + value * change.step_s <= ELAPSED_MOST:
                raise BlockError(f"{value} steps of a shift move the release before the start or out of the counter")
