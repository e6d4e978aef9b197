"""Rules about lamps: they are cooled by the water, and one kind of flash means distress."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import FOREVER, Outcome, Span, Subject
from schedgen.judge.when import moved
from schedgen.judge.words import elapsed, number
from schedgen.plan.model import FLASH_STEPS

DISTRESS_A_MINUTE = (50.0, 70.0)
"""COLREG 1972, annex IV and the usual rules for life-jacket lights: 50 to 70 white flashes a minute; from memory."""


@decides("lights-in-air")
def lights_in_air(subject: Subject) -> Iterator[Outcome]:
    """Lights burn only between the late splash and the early surfacing."""
    for name, _ in subject.loads_of("light"):
        for span_on in subject.spans(name):
            early = _too_early(subject, name, span_on)
            late = _too_late(subject, name, span_on)
            yield from (finding for finding in (early, late) if finding is not None)
            if early is not None or late is not None:
                break


def _too_early(subject: Subject, name: str, span_on: Span) -> Outcome | None:
    """The finding about a start before the late splash; the fix names the first good time."""
    splash = subject.plan.events["splash"].late
    good = max(splash, subject.plan.first_edge_s)
    if span_on.start_s >= splash:
        return None
    line = subject.dive.schedule[span_on.line] if span_on.line >= 0 else None
    if line is not None and line.from_ is not None:
        fix = f"write from: {moved(line.from_, good - span_on.start_s)}; the first good time is {elapsed(good)}"
    else:
        fix = f"write only: splash .. surface; the first good time is {elapsed(good)}"
    return subject.finding(
        "lights-in-air",
        subject.line_place(span_on.line, name),
        f"{name} may burn in air: on {elapsed(span_on.start_s)}, but splash may be as late as {elapsed(splash)}",
        fix,
        load=name,
        weight=weights.weigh(weights.WORK, 1.0),
    )


def _too_late(subject: Subject, name: str, span_on: Span) -> Outcome | None:
    """The finding about an end after the early surfacing."""
    surface = subject.plan.events["surface"].early
    if span_on.stop_s <= surface:
        return None
    line = subject.dive.schedule[span_on.line] if span_on.line >= 0 else None
    if line is not None and line.until is not None and span_on.stop_s < FOREVER:
        fix = f"write until: {moved(line.until, surface - span_on.stop_s)}, or until: release"
    else:
        fix = "write only: splash .. surface"
    end = "goes on until the pack is empty" if span_on.stop_s == FOREVER else f"goes off {elapsed(span_on.stop_s)}"
    return subject.finding(
        "lights-in-air",
        subject.line_place(span_on.line, name, "until"),
        f"{name} may burn in air: it {end}, but it may surface as early as {elapsed(surface)}",
        f"{fix}; the last good time is {elapsed(surface)}",
        load=name,
        weight=weights.weigh(weights.WORK, 0.5),
    )


@decides("flash-like-distress")
def flash_like_distress(subject: Subject) -> Iterator[Outcome]:
    """A white light that flashes 50 to 70 times a minute may be taken for somebody in the water."""
    slow, fast = DISTRESS_A_MINUTE
    for name, load in subject.dive.loads.items():
        if subject.roles[name] not in ("beacon", "light") or (load.colour or "white").strip().lower() != "white":
            continue
        for on in subject.on_times(name):
            if on.flash is None:
                continue
            rate = 60.0 * FLASH_STEPS / on.flash.every_64
            if slow <= rate <= fast:
                yield subject.finding(
                    "flash-like-distress",
                    subject.line_place(on.line, name, "every"),
                    f"{name} flashes white {number(rate, 'times a minute', 2)}: {slow:.0f} to {fast:.0f} a minute is"
                    f" how lights of people in distress flash",
                    "write every: 2 s (30 a minute) or slower, or say its colour if it is not white",
                    load=name,
                    weight=weights.weigh(weights.FINDING),
                )
                break
