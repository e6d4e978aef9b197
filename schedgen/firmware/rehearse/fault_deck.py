"""Faults on deck, before the start and before the splash: buttons, bench lead, serial noise, resets. Pure."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from random import Random

from schedgen.firmware.rehearse import speech
from schedgen.firmware.rehearse.fault_resets import AS_POWER, lag_of, reset_action, resets_of
from schedgen.firmware.rehearse.rig import HOLD_S, JOURNAL_S, Case, Rig, case
from schedgen.firmware.rehearse.scenario import Action
from schedgen.firmware.rehearse.verdict import TICK_S, Allowed
from schedgen.plan.changes import Choice, apply_changes, choices_of, unchanged

DECK_S = 70.0
"""Time on deck before the start."""
WET_S = 60.0
_PRESS_S, _NEXT_S = 0.3, 0.9
_NO_MATTER_S = (1.8, 4.5)
"""How long both buttons may be held without anything coming of it: longer than a press, shorter than a stand-down."""
_STAND_DOWN_S = 6.0


def press(rig: Rig, buttons: str, at: float, long: float, random: Random | None = None) -> list[Action]:
    """Buttons ("a", "b" or "ab") pressed at `at`; with `random` their contacts bounce."""
    actions: list[Action] = []
    for which in buttons:
        down, up = rig.hands.button(which, True), rig.hands.button(which, False)
        if random is not None:
            for _ in range(random.randint(0, 4)):
                bounce = at + random.uniform(0.001, 0.012)
                actions += [(bounce, "pin", *up), (bounce + 0.0015, "pin", *down)]
        actions += [(at, "pin", *down), (at + long, "pin", *up)]
    return actions


def splash_s(rig: Rig) -> float:
    """Until when the firmware cannot know that it is in the water, true s since the start."""
    if rig.plan.trigger == "water":
        return 0.0
    if rig.has_water and not rig.plan.interlocks.without_water:
        return float(rig.plan.true_events["splash"].nominal)
    return float(rig.plan.events["bottom"].late) - TICK_S


def deck_buttons(rig: Rig, random: Random) -> Iterator[Case]:
    """Presses before the start and before the splash of which nothing may come: nothing confirmed, nothing held."""
    while True:
        actions: list[Action] = []
        at = random.uniform(-DECK_S + 3, -20)
        last = splash_s(rig) - 10.0
        about = []
        for _ in range(random.randint(2, 9)):
            which, long = random.choice(("a", "b", "a", "ab")), random.choice((0.05, 0.3, 1.2, 6.0))
            if which == "ab":
                long = random.uniform(*_NO_MATTER_S)
            elif which == "b" and rig.plan.trigger == "button":
                long = min(long, 1.2)  # longer, it starts the dive
            if (at + long > -8 and at < 5) or at > max(last, -9):
                at = 6.0
                if at > last:
                    break
            actions += press(rig, which, at, long, random)
            about.append(f"{which} {long:.1f} s at {at:.0f} s")
            at += long + random.uniform(1.0, 12.0)
        yield case(
            rig, "buttons on deck", ", ".join(about), actions, replace(rig.limits(), exact=True),
            start_s=DECK_S, seed=random.randrange(1 << 30),
        )  # fmt: skip


def stand_down(rig: Rig, random: Random) -> Iterator[Case]:
    """Both buttons held before the start, before the splash or at the surface: nothing is on any more, for good."""
    surfaced = float(rig.plan.events["surface"].late) + 20.0
    while True:
        places = [random.uniform(-DECK_S + 3, -10), random.uniform(surfaced, rig.plan.end_s - 60)]
        places.append(random.uniform(5, 40) if rig.plan.trigger == "water" else random.uniform(5, splash_s(rig) - 20))
        at = random.choice(places)
        actions = press(rig, "ab", at, random.uniform(_STAND_DOWN_S, 9.0), random)
        if random.random() < 0.5:  # and it stays stood down
            kind = random.choice(resets_of(rig))
            actions.append(reset_action(kind, at + random.uniform(15, 600)))
        before = at < surfaced
        allowed = replace(rig.limits(), fires=not before, beacon_at_s=(), dark_after_s=at + _STAND_DOWN_S + 1.0)
        yield case(
            rig, "stand-down", f"at {at:.0f} s", actions, allowed, start_s=DECK_S, seed=random.randrange(1 << 30)
        )


def deck_lead(rig: Rig, random: Random) -> Iterator[Case]:
    """The bench lead in and out on deck, left in over the start, or its plug flooded from then on."""
    while rig.plan.trigger != "command":  # which itself comes over the bench lead
        actions: list[Action] = []
        at = random.uniform(-DECK_S + 3, -40)
        for _ in range(random.randint(0, 3)):
            out = at + random.uniform(0.2, 9)
            actions += [(at, "pin", *rig.hands.lead(True)), (out, "pin", *rig.hands.lead(False))]
            at = out + random.uniform(1, 5)
        actions.append((random.uniform(-10, -1), "pin", *rig.hands.lead(True)))
        about = "flooded from before the start on"
        if random.random() < 0.6:
            out = random.uniform(-0.5, rig.at_s - HOLD_S - 60)
            actions.append((out, "pin", *rig.hands.lead(False)))
            about = f"out at {out:.0f} s"
        yield case(
            rig, "bench lead on deck", about, actions, replace(rig.limits(), exact=True), start_s=DECK_S,
            seed=random.randrange(1 << 30),
        )  # fmt: skip


def talking_lead(rig: Rig, random: Random) -> Iterator[Case]:
    """A laptop talks over the bench lead when the release is due: held, and 15 min longer."""
    while True:
        begin = random.uniform(rig.at_s - 900, rig.at_s - 80)
        out = random.uniform(rig.at_s - 600, rig.at_s + 1200)
        begin = min(begin, out - 70)
        actions: list[Action] = [(begin, "pin", *rig.hands.lead(True)), (out, "pin", *rig.hands.lead(False))]
        at = begin + 1.0
        while at < out:
            # The first byte wakes an ATmega328P, which hears nothing of it: it is said twice.
            actions += [(at, "say", speech.identify().hex()), (at + 0.3, "say", speech.identify().hex())]
            at += random.uniform(10, 50)
        held = max(rig.at_s, out + HOLD_S)
        allowed = replace(rig.limits(0.0, held), not_before_s=held - TICK_S)
        if held > rig.at_s:
            allowed = replace(allowed, forbidden=((begin, held - TICK_S),))
        yield case(
            rig, "laptop at the release", f"from {begin:.0f} s to {out:.0f} s", actions, allowed,
            seed=random.randrange(1 << 30),
        )  # fmt: skip


def deck_noise(rig: Rig, random: Random) -> Iterator[Case]:
    """Noise on the serial line before the start and before the splash: nothing may come of it."""
    while True:
        actions: list[Action] = []
        for _ in range(random.randint(3, 20)):
            at = random.uniform(-DECK_S + 3, max(splash_s(rig), WET_S))
            actions.append((at, "say", junk(random).hex()))
        yield case(
            rig, "serial noise on deck", f"{len(actions)} times", actions, replace(rig.limits(), exact=True),
            start_s=DECK_S, seed=random.randrange(1 << 30),
        )  # fmt: skip


def junk(random: Random) -> bytes:
    """Noise: any bytes, the beginning of a damaged frame, or the one question that harms nothing."""
    if random.random() < 0.2:
        return b"?\r\n"
    if random.random() < 0.4:
        whole = speech.identify() if random.random() < 0.5 else speech.ask("disarm", random.randint(1, 255), {})
        frame = bytearray(whole)
        frame[random.randrange(1, len(frame) - 1)] ^= 1 << random.randrange(8)
        return bytes(frame[: random.randint(1, len(frame))])
    return random.randbytes(random.randint(1, 80))


def deck_resets(rig: Rig, random: Random) -> Iterator[Case]:
    """A reset while it is armed and not started, or in the minute that starts it: it starts all the same."""
    while True:
        kind = random.choice(resets_of(rig))
        at = random.uniform(-DECK_S + 3, -15)
        limits = replace(rig.limits(), exact=True)
        if rig.plan.trigger == "water" and random.random() < 0.5:
            at = random.uniform(1, WET_S - 1)
            limits = rig.limits(at + lag_of([kind]) - JOURNAL_S + 3.0)
        yield case(
            rig, "reset on deck", f"{kind} at {at:.1f} s", [reset_action(kind, at)], limits, start_s=DECK_S,
            seed=random.randrange(1 << 30),
        )  # fmt: skip


def choose(rig: Rig, random: Random) -> tuple[Choice, bool, str]:
    """A combination of field changes, whether it is offered, and the presses that choose it, one letter each."""
    values = [choices_of(change) for change in rig.plan.field_changes]
    places = [found.index(now) for found, now in zip(values, unchanged(rig.plan), strict=True)]
    turns = [random.randrange(len(found)) for found in values]
    keys = "a" * turns[0]
    if len(values) > 1:
        keys += "b" * turns[1]
    elif random.random() < 0.5:  # one change: B goes back
        keys, turns = "b" * turns[0], [-turns[0]]
    chosen = [(place + turn) % len(found) for place, turn, found in zip(places, turns, values, strict=True)]
    index = 0
    for place, found in zip(chosen, values, strict=True):
        index = index * len(found) + place
    choice = tuple(found[place] for place, found in zip(chosen, values, strict=True))
    return choice, rig.plan.allowed_changes[index], keys


def field_changes(rig: Rig, random: Random) -> Iterator[Case]:
    """A combination chosen and confirmed is flown, also after a reset; one that is not offered changes nothing."""
    while rig.plan.field_changes:
        choice, offered, keys = choose(rig, random)
        at = random.uniform(-DECK_S + 3, -DECK_S + 25)
        if rig.plan.trigger == "button" and random.random() < 0.5:
            at = random.uniform(2, 20)
        actions: list[Action] = []
        for key in keys:
            actions += press(rig, key, at, _PRESS_S, random)
            at += _NEXT_S
        actions += press(rig, "ab", at, 0.6, random)
        flown = replace(rig, plan=apply_changes(rig.plan, choice if offered else unchanged(rig.plan)))
        allowed = replace(flown.limits(), exact=True)
        about = f"{', '.join(map(str, choice))}{'' if offered else ' (not offered)'}"
        kind = random.choice((*resets_of(rig), None))
        if kind is not None:
            when, allowed = _reset_after(flown, kind, at, random)
            actions.append(reset_action(kind, when))
            about += f", {kind} at {when:.0f} s"
        one = case(flown, "field change", about, actions, allowed, start_s=DECK_S, seed=random.randrange(1 << 30))
        yield replace(one, plan=flown.plan)


def _reset_after(rig: Rig, kind: str, confirmed: float, random: Random) -> tuple[float, Allowed]:
    """When a reset comes after a field change, and what still holds then."""
    first = 62.0 if rig.plan.trigger == "water" else 2.0
    if confirmed + 10 < -15 and random.random() < 0.4:
        return random.uniform(confirmed + 2, -15), replace(rig.limits(), exact=True)
    when = random.uniform(max(first, confirmed + 2), rig.at_s - 30)
    held = when + 5.0 + HOLD_S if kind in AS_POWER else 0.0
    allowed = rig.limits(lag_of([kind]), held)
    return when, replace(allowed, not_before_s=rig.at_s - TICK_S - (2.0 if kind == "watchdog" else 0.0))
