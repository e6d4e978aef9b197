"""Rules about when the release may, must and must not act, and what stands behind it."""

from __future__ import annotations

import math
from collections.abc import Iterator

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Outcome, Subject
from schedgen.judge.when import later, moved
from schedgen.judge.words import elapsed, listed, span, span_up

CLEAR_OF_PEOPLE_S = 1800
"""Nobody may be near before `not_before`: the late splash and half an hour to draw off (the dive file's rule)."""


@decides("release-before-bottom")
def release_before_bottom(subject: Subject) -> Iterator[Outcome]:
    """No actuator may part the ballast before the latest touch-down, in any permitted shift."""
    plan, release = subject.plan, subject.dive.release
    bottom = plan.events["bottom"].late
    if plan.primary is not None and release.primary.at is not None:
        first_shift = min(subject.shifts_s)
        short = bottom - (plan.primary.at_s + first_shift)
        if short > 0:
            shift = f" with the field change {span(first_shift)} earlier" if first_shift < 0 else ""
            yield subject.finding(
                "release-before-bottom",
                ("release.primary.at", "release.primary"),
                f"the release fires {elapsed(plan.primary.at_s + first_shift)}{shift}, but it may touch down as late"
                f" as {elapsed(bottom)}: {span(short)} too early",
                f"write at: {later(release.primary.at, plan.primary.at_s, short)}, or later",
                weight=weights.weigh(weights.LIFE, short / max(bottom, 1)),
            )
    for which, actuator in (("primary", release.primary), ("backup", release.backup)):
        if actuator is None or actuator.parts_after is None:
            continue
        parts = _parts_early_s(subject, actuator.parts_after.low)
        true_bottom = plan.true_events["bottom"].late
        if parts < true_bottom:
            yield subject.finding(
                "release-before-bottom",
                (f"release.{which}.parts_after", f"release.{which}"),
                f"the dissolving link may part {span(parts)} after start, but it may touch down as late as"
                f" {span(true_bottom)} after start",
                f"take a link that holds at least {span_up(true_bottom - plan.true_events['splash'].early)} in this"
                f" water",
                weight=weights.weigh(weights.LIFE, (true_bottom - parts) / max(true_bottom, 1)),
            )


def _parts_early_s(subject: Subject, parts_after_low_s: float) -> float:
    """The earliest true second after start at which a dissolving link parts: it counts from splash."""
    return subject.plan.true_events["splash"].early + parts_after_low_s


@decides("release-too-late")
def release_too_late(subject: Subject) -> Iterator[Outcome]:
    """All tries of every permitted shift must be over by `latest`."""
    plan, release = subject.plan, subject.dive.release
    if plan.primary is None:
        return
    latest = plan.interlocks.latest_s
    plain_end = plan.primary.last_end_s
    last_shift = max(subject.written_shifts_s)
    over = plain_end + last_shift - latest
    if over <= 0:
        return
    change = next((i for i, c in enumerate(subject.dive.field_changes) if c.shift is not None), None)
    if plain_end <= latest and change is not None and subject.shift is not None:
        allowed = max(0, math.floor((latest - plain_end) / subject.shift.step_s))
        where: tuple[str, ...] = (f"field_changes.{change}.to", f"field_changes.{change}")
        what = f"with the release moved {span(last_shift)} later the last try ends {elapsed(plain_end + last_shift)}"
        fix = f"write to: {allowed}, or latest: {moved(release.latest, over)}"
    else:
        where = ("release.latest",)
        what = f"the last try ends {elapsed(plain_end + last_shift)}"
        fix = f"write latest: {later(release.latest, latest, over)}, or move release.primary.at {span_up(over)} earlier"
    yield subject.finding(
        "release-too-late",
        where,
        f"{what}, {span(over)} after latest ({elapsed(latest)})",
        fix,
        weight=weights.weigh(weights.RETURN, over / max(latest, 1)),
    )


@decides("release-interlock")
def release_interlock(subject: Subject) -> Iterator[Outcome]:
    """`not_before` leaves people half an hour to draw off, and `latest` is after it and after the late bottom."""
    plan, release = subject.plan, subject.dive.release
    locks = plan.interlocks
    clear = math.ceil((plan.true_events["splash"].late + CLEAR_OF_PEOPLE_S) * (1 + plan.clock_tolerance))
    if locks.not_before_s < clear:
        short = clear - locks.not_before_s
        yield subject.finding(
            "release-interlock",
            "release.not_before",
            f"not_before is {elapsed(locks.not_before_s)}, but {_splash(subject)} and people need 30 min more to draw"
            f" off: at least {elapsed(clear)} is needed",
            f"write not_before: {later(release.not_before, locks.not_before_s, short)}, or later",
            weight=weights.weigh(weights.LIFE, short / clear),
        )
    floor = max(locks.not_before_s, plan.events["bottom"].late)
    if locks.latest_s < floor:
        name = "not_before" if floor == locks.not_before_s else "the late bottom"
        last = plan.primary.last_end_s + max(subject.written_shifts_s) if plan.primary is not None else 0
        yield subject.finding(
            "release-interlock",
            "release.latest",
            f"latest is {elapsed(locks.latest_s)}, before {name} ({elapsed(floor)})",
            f"write latest: {later(release.latest, locks.latest_s, max(floor, last) - locks.latest_s)}, or later",
            weight=weights.weigh(weights.LIFE, (floor - locks.latest_s) / max(floor, 1)),
        )
    if plan.primary is not None and release.primary.at is not None and plan.primary.at_s < locks.not_before_s:
        early = locks.not_before_s - plan.primary.at_s
        yield subject.finding(
            "release-interlock",
            ("release.primary.at", "release.primary"),
            f"the release is to fire {elapsed(plan.primary.at_s)}, before not_before ({elapsed(locks.not_before_s)}):"
            f" it would wait, and the plan would be wrong",
            f"write at: {later(release.primary.at, plan.primary.at_s, early)}, or later",
            weight=weights.weigh(weights.LIFE, early / max(locks.not_before_s, 1)),
        )


def _splash(subject: Subject) -> str:
    late = subject.plan.true_events["splash"].late
    return f"splash may be as late as {elapsed(late)}" if late > 0 else "splash is at the start"


@decides("postponed-drop")
def postponed_drop(subject: Subject) -> Iterator[Outcome]:
    """Without a contact that feels the water, the clock runs out on deck when the drop is put off."""
    contact = subject.board.water_contact
    if subject.plan.trigger == "water" or (contact is not None and not subject.dive.release.without_water):
        return
    at = subject.plan.primary.at_s + min(subject.shifts_s) if subject.plan.primary else subject.plan.interlocks.latest_s
    due = min(at, subject.plan.interlocks.latest_s)
    why = "the board has no water contact" if contact is None else "without_water lets it fire dry"
    yield subject.finding(
        "postponed-drop",
        ("release.without_water", "start.trigger"),
        f"{why}: if the drop is put off, the release fires on deck {elapsed(due)}",
        f"disarm when it is still on deck {elapsed(max(0, due - CLEAR_OF_PEOPLE_S))}, and start again",
        weight=weights.LIFE,
    )


@decides("release-alone")
def release_alone(subject: Subject) -> Iterator[Outcome]:
    """A second way to part the ballast is common practice."""
    if subject.dive.release.backup is None:
        yield subject.finding(
            "release-alone",
            "release",
            f"nothing parts the ballast if the {subject.dive.release.primary.kind} fails",
            "add release.backup: "
            + (
                "a dissolving link that holds past the last try needs neither pack nor controller"
                if subject.dive.release.primary.wired_to is not None
                else "an actuator on an output of its own, fired at latest, does not share the link's fate"
            ),
            weight=weights.weigh(weights.RETURN),
        )


@decides("backup-before-primary")
def backup_before_primary(subject: Subject) -> Iterator[Outcome]:
    """The backup waits for the primary's last try, of the latest permitted shift."""
    plan, backup = subject.plan, subject.dive.release.backup
    if backup is None or plan.primary is None:
        return
    end = plan.primary.last_end_s + max(subject.shifts_s)
    shifted = f" (moved {span(max(subject.shifts_s))} later)" if max(subject.shifts_s) else ""
    if backup.parts_after is not None:
        true_end = end / (1 - plan.clock_tolerance)
        parts = _parts_early_s(subject, backup.parts_after.low)
        if parts < true_end:
            least = true_end - plan.true_events["splash"].early
            yield subject.finding(
                "backup-before-primary",
                ("release.backup.parts_after", "release.backup"),
                f"the dissolving link may part {span(parts)} after start; the primary's last try{shifted} ends as late"
                f" as {span(true_end)} after start",
                f"take a link that holds at least {span_up(least)}, or release {span_up(true_end - parts)} earlier",
                weight=weights.weigh(weights.RETURN, (true_end - parts) / true_end),
            )
    if plan.backup is not None and plan.backup.at_s < end:
        over = end - plan.backup.at_s
        yield subject.finding(
            "backup-before-primary",
            ("release.latest", "release.backup"),
            f"the backup fires {elapsed(plan.backup.at_s)}; the primary's last try{shifted} ends {elapsed(end)}",
            f"write latest: {moved(subject.dive.release.latest, over)}, or later",
            weight=weights.weigh(weights.RETURN, over / end),
        )


@decides("release-shares")
def release_shares(subject: Subject) -> Iterator[Outcome]:
    """What one fault would take from primary and backup alike."""
    primary, backup = subject.dive.release.primary, subject.dive.release.backup
    if backup is None:
        return
    shared = []
    fix = "a dissolving link as backup needs neither pack nor controller"
    if backup.kind == primary.kind == "dissolving link":
        fix = "as one of the two take an actuator that the controller fires, or a link of another make and material"
    if backup.kind != "dissolving link" and primary.kind != "dissolving link":
        shared += ["the pack", "the controller"]
    if backup.kind == primary.kind:
        shared.append(
            "the kind of link" if backup.kind == "dissolving link" else f"the kind of actuator ({backup.kind})"
        )
    if backup.wired_to is not None and backup.wired_to == primary.wired_to:
        shared.append(f"the output {backup.wired_to}")
    if shared:
        yield subject.finding(
            "release-shares",
            ("release.backup.kind", "release.backup"),
            f"primary and backup share {listed(shared)}: one fault can take both",
            fix,
            weight=weights.weigh(weights.RETURN, len(shared) / 4),
        )


@decides("release-output-floats")
def release_output_floats(subject: Subject) -> Iterator[Outcome]:
    """A release output is held off by a resistor while the controller's pins are not yet outputs."""
    for which, actuator in (("primary", subject.dive.release.primary), ("backup", subject.dive.release.backup)):
        if actuator is None or actuator.wired_to is None:
            continue
        output = subject.board.outputs.get(actuator.wired_to)
        if output is None:
            continue
        off = "down" if output.active == "high" else "up"
        if output.pull != off:
            yield subject.finding(
                "release-output-floats",
                (f"release.{which}.wired_to", f"release.{which}"),
                f"{actuator.wired_to} is active {output.active} and has pull '{output.pull}': it may fire while the"
                f" board starts or resets",
                f"fit a resistor that pulls {actuator.wired_to} {off}, and write pull: {off} in the board file",
                weight=weights.LIFE,
            )


@decides("deck-time-unknown")
def deck_time_unknown(subject: Subject) -> Iterator[Outcome]:
    """A deck time wider than the shortest margin of the release."""
    deck = subject.dive.start.deck_time
    plan = subject.plan
    if plan.trigger == "water" or deck is None:
        return
    margins = {"from not_before to latest": float(plan.interlocks.latest_s - plan.interlocks.not_before_s)}
    if plan.primary is not None:
        margins["from the late bottom to the release"] = plan.primary.at_s - plan.events["bottom"].late
        margins["from the last try to latest"] = plan.interlocks.latest_s - plan.primary.last_end_s
    what, least = min(margins.items(), key=lambda item: item[1])
    width = deck.high - deck.low
    if width > max(0.0, least):
        yield subject.finding(
            "deck-time-unknown",
            ("start.deck_time", "start.trigger"),
            f"the deck time is uncertain by {span(width)}; the shortest margin, {what}, is {span(max(0.0, least))}",
            "narrow deck_time, or use trigger: water, which starts the clock at splash",
            weight=weights.weigh(weights.RETURN, width / max(least, 60.0) - 1),
        )
