"""Faults from outside: pack, water contact, bench lead, serial noise, buttons, workshop, a postponed drop. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from random import Random

from schedgen.firmware.rehearse.fault_deck import junk
from schedgen.firmware.rehearse.rig import HOLD_S, LOW_FOR_S, START_S, Case, Rig, case
from schedgen.firmware.rehearse.scenario import Action
from schedgen.firmware.rehearse.verdict import TICK_S, Allowed

_SENSE_S = 20.0
"""Between two readings of the pack, and a margin."""


def flat_pack(rig: Rig, random: Random) -> Iterator[Case]:
    """The pack falls below both limits early, for good: shed, and the release asked for."""
    limits = rig.plan.interlocks
    while True:
        at = random.uniform(70, rig.at_s - 50)
        volts = limits.series * (limits.release_below_v - random.uniform(0.02, 0.3))
        asked = max(at + LOW_FOR_S + _longest_busy(rig), float(limits.not_before_s))
        allowed = replace(rig.limits(), no_later_s=min(rig.at_s, asked + 2 * _SENSE_S) + TICK_S)
        yield case(
            rig, "flat pack", f"{volts:.2f} V from {at:.0f} s on", [(at, "pin", *rig.hands.pack(volts))],
            allowed, seed=random.randrange(1 << 30),
        )  # fmt: skip


def _longest_busy(rig: Rig) -> float:
    """Longest stretch in which something outside the keep mask is on, so that the pack is not judged."""
    spans = sorted(
        (on.start_s, on.stop_s or rig.plan.end_s)
        for name, output in rig.plan.outputs.items()
        if name not in rig.plan.interlocks.keep
        for on in output.on_times
    )
    longest, until, begun = 0, -1, 0
    for start, stop in spans:
        if start > until + LOW_FOR_S:
            begun = start
        until = max(until, stop)
        longest = max(longest, until - begun)
    return float(longest) + LOW_FOR_S


def noisy_pack(rig: Rig, random: Random) -> Iterator[Case]:
    """Readings that jump about, never low for three minutes on end; nothing may come of them."""
    low = rig.plan.interlocks.series * (rig.plan.interlocks.release_below_v - 0.2)
    while True:
        actions: list[Action] = []
        at = 65.0
        while at < rig.plan.end_s:
            down = random.uniform(1, 100)
            actions += [(at, "pin", *rig.hands.pack(low)), (at + down, "pin", *rig.hands.pack(rig.pack_v))]
            at += down + random.uniform(45, 120)
        allowed = replace(rig.limits(), exact=True)
        yield case(rig, "noisy pack", f"{len(actions)} jumps", actions, allowed, seed=random.randrange(1 << 30))


def open_sense(rig: Rig, random: Random) -> Iterator[Case]:
    """The sense line opens: a reading under 1 V a cell is a broken sensor and fires nothing."""
    while True:
        at = random.uniform(0, rig.at_s)
        volts = random.choice((0.0, 0.3, 0.9)) * rig.plan.interlocks.series
        yield case(
            rig, "open sense line", f"{volts:.1f} V from {at:.0f} s on", [(at, "pin", *rig.hands.pack(volts))],
            replace(rig.limits(), exact=True), seed=random.randrange(1 << 30),
        )  # fmt: skip


def dry(rig: Rig, random: Random) -> Iterator[Case]:
    """The contact never wet, or never for a minute on end: nothing fires, ever."""
    while rig.has_water and not rig.plan.interlocks.without_water:
        bouncing = random.random() < 0.6
        wet, dry_again = rig.hands.water(True), rig.hands.water(False)
        assert wet is not None
        assert dry_again is not None
        actions: list[Action] = []
        at = 5.0
        while bouncing and at < rig.plan.end_s:
            up = random.uniform(0.1, 57.0)
            actions += [(at, "pin", *wet), (at + up, "pin", *dry_again)]
            at += up + random.uniform(1.1, 40.0)
        begun: list[Action] = []
        if rig.plan.trigger != "water":
            begun = [action for action in rig.begin()[0] if action[1] != "pin" or action[2] != wet[0]]
            begun = [(float(action[0]) - START_S, *action[1:]) for action in begun]
        about = "bouncing" if bouncing else "never wet"
        allowed = Allowed(fires=False)
        yield case(rig, "dry contact", about, begun + actions, allowed, begin=False, seed=random.randrange(1 << 30))


def dries_later(rig: Rig, random: Random) -> Iterator[Case]:
    """The contact goes dry or bounces after its wet minute: no matter any more."""
    while rig.has_water:
        wet, dry_again = rig.hands.water(True), rig.hands.water(False)
        assert wet is not None
        assert dry_again is not None
        from_s = 62.0 if rig.plan.trigger == "water" else rig.plan.true_events["splash"].nominal + 62.0
        actions: list[Action] = [(random.uniform(from_s, from_s + 300), "pin", *dry_again)]
        for _ in range(random.randint(0, 8)):
            at = random.uniform(from_s, rig.plan.end_s)
            actions += [(at, "pin", *wet), (at + random.uniform(0.05, 90), "pin", *dry_again)]
        yield case(
            rig, "contact dries", f"{len(actions)} changes", actions, replace(rig.limits(), exact=True),
            seed=random.randrange(1 << 30),
        )  # fmt: skip


def flooded_lead(rig: Rig, random: Random) -> Iterator[Case]:
    """Water in the plug says for ever that the bench lead is in."""
    while True:
        from_s = 61.0 if rig.plan.trigger == "water" else float(rig.plan.events["bottom"].late)
        at = random.uniform(from_s, rig.at_s)
        held = at + HOLD_S if at > rig.at_s - HOLD_S else 0.0
        yield case(
            rig, "flooded plug", f"from {at:.0f} s on", [(at, "pin", *rig.hands.lead(True))],
            rig.limits(0.0, held), seed=random.randrange(1 << 30),
        )  # fmt: skip


def noise(rig: Rig, random: Random) -> Iterator[Case]:
    """Noise on the serial line, also what begins like frames: nothing may come of it."""
    while True:
        actions: list[Action] = []
        for _ in range(random.randint(3, 25)):
            actions.append((random.uniform(61, rig.plan.end_s), "say", junk(random).hex()))
        yield case(
            rig, "serial noise", f"{len(actions)} times", actions, replace(rig.limits(), exact=True),
            seed=random.randrange(1 << 30),
        )  # fmt: skip


def buttons(rig: Rig, random: Random) -> Iterator[Case]:
    """Buttons pressed at random from splash to surfacing: they are ignored."""
    while True:
        first = 62.0 if rig.plan.trigger == "water" else float(rig.plan.events["bottom"].late) + 61.0
        last = float(rig.plan.events["surface"].late) - 20.0
        actions: list[Action] = []
        for _ in range(random.randint(1, 12)):
            at, long = random.uniform(first, last - 20), random.choice((0.05, 0.3, 1.0, 6.0, 15.0))
            for which in random.choice((("a",), ("b",), ("a", "b"))):
                actions += [
                    (at, "pin", *rig.hands.button(which, True)),
                    (at + long, "pin", *rig.hands.button(which, False)),
                ]
        yield case(
            rig, "buttons", f"{len(actions) // 2} presses", actions, replace(rig.limits(), exact=True),
            seed=random.randrange(1 << 30),
        )  # fmt: skip


def workshop(rig: Rig, random: Random) -> Iterator[Case]:
    """The pack plugged in again in the workshop after the dive, dry: nothing fires."""
    while True:
        early = random.random() < 0.5 and rig.has_water
        back = float(rig.plan.events["surface"].late + 120) if early else float(rig.plan.end_s + 60)
        dry_again = rig.hands.water(False)
        actions: list[Action] = [(back, "pin", *dry_again)] if dry_again else []
        times = sorted(back + 20 + random.uniform(0, 1500) for _ in range(random.randint(1, 4)))
        actions += [(at, "power", random.uniform(0.05, 30.0)) for at in times]
        end = times[-1] + HOLD_S + rig.plan.interlocks.latest_s + 600
        allowed = replace(
            rig.limits(), forbidden=((times[0], end),), beacon_at_s=(), lag_s=0.0,
            over_at_s=None if early else rig.limits().over_at_s,
        )  # fmt: skip
        about = f"{len(times)} times, {'before' if early else 'after'} the end of the dive"
        yield case(rig, "workshop", about, actions, allowed, end_s=end, seed=random.randrange(1 << 30))


def postponed(rig: Rig, random: Random) -> Iterator[Case]:
    """Armed, and left on deck for longer than the whole dive; then started, or, started, never dropped."""
    knows = rig.has_water and not rig.plan.interlocks.without_water
    while True:
        waits = rig.plan.interlocks.latest_s + random.uniform(100, 4000)
        if rig.plan.trigger == "water" or not knows or random.random() < 0.5:
            yield case(
                rig, "postponed drop", f"{waits:.0f} s on deck, then dropped", [], replace(rig.limits(), exact=True),
                start_s=waits, seed=random.randrange(1 << 30),
            )  # fmt: skip
            continue
        wet = rig.hands.water(True)
        assert wet is not None
        begun = [(float(a[0]) - START_S, *a[1:]) for a in rig.begin()[0] if a[1] != "pin" or a[2] != wet[0]]
        yield case(
            rig, "postponed drop", f"never dropped, {waits:.0f} s", begun, Allowed(fires=False), begin=False,
            end_s=waits, seed=random.randrange(1 << 30),
        )  # fmt: skip
