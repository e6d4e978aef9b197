"""Faults of power and program: resets of each kind at every kind of moment, storms, a stopped crystal. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from random import Random

from schedgen.firmware.rehearse.rig import HOLD_S, JOURNAL_S, WATCHDOG_S, Case, Rig, case
from schedgen.firmware.rehearse.scenario import Action

RESETS = ("brown-out", "watchdog", "power", "external", "software")
_BOOT_S = 3.0
_BURSTS = 5
STORM, STORM_S = 50, 600.0
INTERNAL_ERROR = 0.10
"""Tolerance of the internal oscillator over 0 to 70 degC, both families: data sheets, from memory."""
_CRYSTAL_LAG_S = JOURNAL_S + WATCHDOG_S + 12.0
"""Behind by a journal interval, the watchdog's time, and two starts of the clock."""
AS_POWER = ("power", "external")
"""Resets after which the release is held: nobody can tell the reset pin's from a new supply."""


def resets_of(rig: Rig) -> tuple[str, ...]:
    """The kinds of reset that the board's part has: the ATmega328P knows none by software."""
    return RESETS[:-1] if rig.board.part.lower() == "atmega328p" else RESETS


def reset_action(kind: str, at: float, off_s: float = 2.0) -> Action:
    """One reset at `at` s since the start."""
    if kind == "power":
        return (at, "power", off_s)
    return (at, "hang") if kind == "watchdog" else (at, "reset", kind)


def lag_of(kinds: list[str]) -> float:
    """How far behind the clock may be after these resets, boot and waiting for the watchdog included, s."""
    return sum(JOURNAL_S + _BOOT_S + (WATCHDOG_S * 0.5 if kind == "watchdog" else 2.0) for kind in kinds)


def resets_case(rig: Rig, kind: str, about: str, resets: list[tuple[float, str]], seed: int) -> Case:
    """A run with these (time, kind) resets."""
    actions = [reset_action(name, at) for at, name in resets]
    kinds = [name for _, name in resets]
    before_release = [at for at, name in resets if name in AS_POWER and at < rig.at_s + lag_of(kinds)]
    held = max((at + 2.0 + _BOOT_S + HOLD_S for at in before_release), default=0.0)
    allowed = rig.limits(lag_of(kinds), held)
    if "watchdog" in kinds:  # each adds its nominal period; the real one may be shorter
        early = allowed.not_before_s - 2.0 * kinds.count("watchdog")
        allowed = replace(allowed, not_before_s=early, overrun_s=WATCHDOG_S + 1.0)
    firing = rig.plan.primary or rig.plan.backup
    during = [at for at, _ in resets if firing and at >= firing.at_s - 1]
    spoilt = firing is not None and len(during) >= firing.tries
    return case(rig, kind, about, actions, replace(allowed, whole_try=not spoilt), seed=seed)


def _only_after_wet(rig: Rig, at: float) -> float:
    """A water start needs its wet minute: resets come after it."""
    return max(at, 62.0) if rig.plan.trigger == "water" else max(at, 2.0)


def random_resets(rig: Rig, random: Random) -> Iterator[Case]:
    """One to three resets of any kind at random."""
    while True:
        resets = sorted(
            (round(_only_after_wet(rig, random.uniform(0, rig.plan.end_s - 300)), 3), random.choice(resets_of(rig)))
            for _ in range(random.randint(1, 3))
        )
        about = ", ".join(f"{name} at {at:.1f} s" for at, name in resets)
        yield resets_case(rig, "random resets", about, resets, random.randrange(1 << 30))


def edges_of(rig: Rig) -> list[int]:
    """The seconds at which windows and tries begin and end; of many bursts the first, the last and one between."""
    moments: set[int] = set()
    for output in rig.plan.outputs.values():
        times = output.on_times
        bursts = len(times) > _BURSTS
        for on in (*times[:2], times[len(times) // 2], *times[-2:]) if bursts else times:
            moments |= {on.start_s} | ({on.stop_s} if on.stop_s is not None else set())
    return sorted(moments)


def edge_resets(rig: Rig, random: Random) -> Iterator[Case]:
    """A reset of each kind at every edge of every window and of the release, and a second before and after it."""
    kinds = resets_of(rig)
    for turn in range(3):
        places = [
            (edge, kind, (-1.0, 0.0, 1.0)[(number + turn) % 3])
            for number, (edge, kind) in enumerate((edge, kind) for edge in edges_of(rig) for kind in kinds)
        ]
        random.shuffle(places)
        for edge, kind, off in places:
            when = _only_after_wet(rig, edge + off)
            yield resets_case(
                rig, "reset at an edge", f"{kind} at {when:.1f} s, edge at {edge:.0f} s", [(when, kind)],
                random.randrange(1 << 30),
            )  # fmt: skip


def pattern_resets(rig: Rig, random: Random) -> Iterator[Case]:
    """A reset in each flash pattern, lead, trail and pause between tries, of each kind."""
    spans: list[tuple[str, float, float]] = []
    for name, output in rig.plan.outputs.items():
        for on in output.on_times:
            if on.flash is not None:
                spans.append((f"flash pattern of {name}", on.start_s, on.start_s + 300.0))
        for window in output.windows:
            leader = rig.plan.outputs.get(window.follow.leader) if window.follow else None
            if window.follow is None or leader is None or not leader.on_times:
                continue
            on = leader.on_times[0]
            if window.follow.lead_s:
                spans.append((f"lead of {name}", on.start_s - window.follow.lead_s, on.start_s))
            if window.follow.trail_s and on.stop_s is not None:
                spans.append((f"trail of {name}", on.stop_s, on.stop_s + window.follow.trail_s))
    for firing in (rig.plan.primary, rig.plan.backup):
        for number in range(firing.tries if firing else 0):
            assert firing is not None
            begin = firing.at_s + number * (firing.fire_s + firing.pause_s)
            spans.append((f"try {number + 1} on {firing.output}", begin, begin + firing.fire_s))
            if number + 1 < firing.tries and firing.pause_s:
                spans.append((f"pause {number + 1} of {firing.output}", begin + firing.fire_s,
                              begin + firing.fire_s + firing.pause_s))  # fmt: skip
    places = [(kind, span) for span in spans for kind in resets_of(rig)]
    random.shuffle(places)
    for kind, (what, first, last) in places:
        at = _only_after_wet(rig, random.uniform(first, last))
        yield resets_case(
            rig, "reset in a pattern", f"{kind} at {at:.2f} s, in the {what}", [(at, kind)], random.randrange(1 << 30)
        )


def bouncing_plug(rig: Rig, random: Random) -> Iterator[Case]:
    """The pack plugged in again shortly before the release is due, and brown-outs while its plug bounces: held."""
    while True:
        at, off = rig.at_s - random.uniform(30, 600), random.uniform(0.05, 5.0)
        bounces = [random.uniform(0.01, 0.3)]  # while the clock starts
        bounces += sorted(random.uniform(0.4, 2.5) for _ in range(random.randint(0, 3)))
        actions = [reset_action("power", at, off), *(reset_action("brown-out", at + off + late) for late in bounces)]
        back = at + off + bounces[-1]
        allowed = rig.limits(JOURNAL_S + back - at + _BOOT_S, back + _BOOT_S + HOLD_S)
        allowed = replace(allowed, forbidden=((at, back + HOLD_S - 20.0),))
        about = f"at {at:.1f} s for {off:.2f} s, brown-outs {', '.join(f'{late:.2f}' for late in bounces)} s later"
        yield case(rig, "bouncing plug", about, actions, allowed, seed=random.randrange(1 << 30))


def storms(rig: Rig, random: Random) -> Iterator[Case]:
    """Fifty resets in ten minutes: reduced programme, and the release all the same."""
    while True:
        begin = _only_after_wet(rig, random.uniform(100, rig.at_s + 200))
        times = sorted(begin + random.uniform(0, STORM_S) for _ in range(STORM))
        mixed = [kind for kind in resets_of(rig) if kind not in (*AS_POWER, "watchdog")]
        kinds = [random.choice(mixed) for _ in times]
        actions = [reset_action(kind, at) for at, kind in zip(times, kinds, strict=True)]
        allowed = replace(rig.limits(STORM_S + 2 * JOURNAL_S), whole_try=False)
        yield case(
            rig, "storm", f"{STORM} resets from {begin:.0f} s on", actions, allowed, seed=random.randrange(1 << 30)
        )


def crystal(rig: Rig, random: Random) -> Iterator[Case]:
    """The crystal never starts, or stops at random; the internal oscillator is fast or slow by up to its tolerance."""
    worst = 1 / (1 - INTERNAL_ERROR)
    early = replace(
        rig.limits(),
        no_later_s=rig.at_s + _CRYSTAL_LAG_S,
        beacon_at_s=tuple(at * worst + _CRYSTAL_LAG_S for at in rig.limits().beacon_at_s),
        over_at_s=rig.plan.end_s * worst + _CRYSTAL_LAG_S,
        lag_s=rig.plan.end_s * (worst - 1) + _CRYSTAL_LAG_S,
        tolerance=worst - 1,
        overrun_s=WATCHDOG_S + 1.0,
    )
    trimmed = rig.board.part.lower() == "atmega328p"
    never = True
    while True:
        error = random.choice((-1, 1)) * random.choice((INTERNAL_ERROR, random.uniform(0, INTERNAL_ERROR)))
        at = random.uniform(0, rig.at_s + 100)
        if trimmed and not never:
            error = 0.0  # by the crystal, while it ran
        when = "never starts" if never else f"stops at {at:.1f} s"
        actions: list[Action] = [] if never else [(at, "crystal", None)]
        yield case(
            rig, "crystal", f"{when}, internal oscillator off by {error:+.1%}", actions, early, crystal_stopped=never,
            internal_error=error, seed=random.randrange(1 << 30),
        )  # fmt: skip
        never = random.random() < 0.2


def clock_off(rig: Rig, random: Random) -> Iterator[Case]:
    """The clock fast and slow by its tolerance: every edge in its time."""
    tolerance = rig.plan.clock_tolerance
    signs = [1.0, -1.0]
    while True:
        for sign in signs:
            allowed = replace(
                rig.limits(rig.plan.end_s * tolerance), exact=True, not_before_s=rig.plan.interlocks.not_before_s - 2.0
            )
            yield case(
                rig, "clock off", f"by {sign * tolerance * 1e6:+.0f} ppm", [], allowed, ppm=sign * tolerance * 1e6,
                seed=random.randrange(1 << 30),
            )  # fmt: skip
        signs = [random.uniform(-1, 1), random.uniform(-1, 1)]
