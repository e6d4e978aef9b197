"""What an output does in one second, straight from the windows: the reference for the firmware.

Everything here is whole-number arithmetic in closed form, second by second, as a small controller does it: no list of
edges, no sorting, no loop over bursts. `schedgen.plan.edges` computes the same by intervals; a test holds them
together. Signed numbers of more than 24 bits are needed on the way.

Rules, all at elapsed second t:
- nothing is on before `first_edge_s`; from `end` on only windows without a stop are on (`end` moves with the release);
- edges that move are planned + (first firing - planned release), never later than planned, once the command came;
- once the command came at c, a window is off from c on when its stop does not move, it has one, and it was planned to
  begin before the release (or, its start not moving, before c); before the command the planned one is expected,
  after the planned one has passed without it, none is;
- a follower is on when its leader is on anywhere between t - trail and t + lead, taken window by window, and t lies
  in its clip; a leader that is cut takes lead and trail with it, and what begins at `end` or later has no followers;
- a stop pulse is on in the second that comes lead + 1 before its leader goes off, if the leader has been on since;
- the highest level of all that are on counts. A flash window counts as on for its whole span.
"""

from __future__ import annotations

from dataclasses import dataclass

from schedgen.plan.model import FURTHER_TRY_S, Plan, Window

FOREVER = 1 << 30


@dataclass(frozen=True, slots=True)
class Clockface:
    """What the controller knows at a second: how far edges have moved, where it cuts, when the dive ends."""

    first_edge: int
    release: int
    shift: int
    cut: int
    end: int


def clockface(plan: Plan, t: int, first_firing: int | None = None) -> Clockface:
    """What is known at second `t` when the first firing command comes at `first_firing` (None: as planned)."""
    planned = plan.first_firing_s
    fired = planned if first_firing is None else first_firing
    release, end = plan.release_s, plan.end_s
    if planned is None or fired is None:
        return Clockface(plan.first_edge_s, release, 0, FOREVER, end)
    if t >= fired:
        shift = min(0, fired - release)
        return Clockface(plan.first_edge_s, release, shift, fired, end + shift)
    return Clockface(plan.first_edge_s, release, 0, planned if t < planned else FOREVER, end)


def _cut(window: Window, face: Clockface) -> int:
    """The second from which the firing command keeps the window off."""
    if window.stop_s is None or window.stop_moves:
        return FOREVER
    start = window.start_s or 0
    if start < face.release or (not window.start_moves and start < face.cut):
        return face.cut
    return FOREVER


def _covers(window: Window, t: int, lead: int, trail: int, face: Clockface) -> bool:
    """Whether a window that is no follower, made longer by lead and trail, is on at second t."""
    start = (window.start_s or 0) + (face.shift if window.start_moves else 0)
    stop = FOREVER if window.stop_s is None else window.stop_s + (face.shift if window.stop_moves else 0)
    cut = _cut(window, face)
    last = min(cut, face.end if lead or trail else FOREVER) - 1  # a window or burst that begins later is none
    since = t - start + lead
    if since < 0 or t >= cut or stop <= start or start > last:
        return False
    if window.burst is None:
        return t - trail < stop
    every, on, count = window.burst.every_s, window.burst.on_s, window.burst.count
    k = min(since // every, (last - start) // every)
    if stop < FOREVER:
        k = min(k, count - 1, (stop - on - start) // every)
    return k >= 0 and t - trail < start + k * every + on


def _in_clip(window: Window, t: int, face: Clockface) -> bool:
    if window.clip is None:
        return True
    start = window.clip.start_s + (face.shift if window.clip.start_moves else 0)
    stop = window.clip.stop_s + (face.shift if window.clip.stop_moves else 0)
    return start <= t < stop


def _leader_on(plan: Plan, output: str, t: int, face: Clockface) -> bool:
    """Whether any window of `output` that follows nothing is on at second t, `end` at the latest."""
    if not face.first_edge <= t < face.end:
        return False
    return any(window.follow is None and _covers(window, t, 0, 0, face) for window in plan.outputs[output].windows)


def window_on(plan: Plan, window: Window, t: int, face: Clockface) -> bool:
    """Whether a window is on at second `t`."""
    if t < face.first_edge:
        return False
    follow = window.follow
    if follow is None:
        return (t < face.end or window.stop_s is None) and _covers(window, t, 0, 0, face)
    if t >= face.end or follow.leader not in plan.outputs:
        return False
    if follow.mode == "stop":
        last = t + follow.lead_s
        if _leader_on(plan, follow.leader, last + 1, face):
            return False
        return all(_leader_on(plan, follow.leader, second, face) for second in range(last, t - 1, -1))
    if not _in_clip(window, t, face):
        return False
    return any(
        leader.follow is None and _covers(leader, t, follow.lead_s, follow.trail_s, face)
        for leader in plan.outputs[follow.leader].windows
    )


def _firing(plan: Plan, output: str, t: int, first_firing: int | None) -> bool:
    """Whether a release output is on: its tries, then one every 6 h, until `end`."""
    face = clockface(plan, t, first_firing)
    if t >= face.end:
        return False
    for firing in (plan.primary, plan.backup):
        if firing is None or firing.output != output:
            continue
        at = firing.at_s if first_firing is None or firing is not (plan.primary or plan.backup) else first_firing
        since = t - at
        if since < 0:
            return False
        pace = firing.fire_s + firing.pause_s
        k = min(since // pace, firing.tries - 1)
        if since - k * pace < firing.fire_s:
            return True
        after = since - (firing.tries * firing.fire_s + (firing.tries - 1) * firing.pause_s)
        further = after // FURTHER_TRY_S
        rest = after - further * FURTHER_TRY_S
        return further >= 1 and rest < firing.fire_s
    return False


def level_at(plan: Plan, output: str, t: int, first_firing: int | None = None) -> int:
    """Level of an output in the elapsed second `t`, percent; 0 is off. A flash pattern counts with its peak.

    `first_firing`: second of the first firing command where it is not the planned one. Knows no shedding.
    """
    one = plan.outputs.get(output)
    if one is None:
        return 0
    if one.kind == "release":
        return 100 if _firing(plan, output, t, first_firing) else 0
    face = clockface(plan, t, first_firing)
    level = 0
    for window in one.windows:
        wanted = 100 if window.level is None else window.level
        if wanted > level and window_on(plan, window, t, face):
            level = wanted
    return level


def outputs_at(plan: Plan, t: int, first_firing: int | None = None) -> dict[str, int]:
    """Level of every used output in the elapsed second `t`, percent."""
    return {output: level_at(plan, output, t, first_firing) for output in plan.outputs}
