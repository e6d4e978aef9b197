"""Rules about what the cameras record: whole files, enough of them, with light, cool, and on a card that holds it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

from schedgen.judge import storage, weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import FOREVER, Missing, Outcome, Span, Subject, outside, within
from schedgen.judge.words import elapsed, many, number, share, span, span_up

if TYPE_CHECKING:
    from schedgen.dive.model import Load

DAYLIGHT_REACHES_M = 200.0
"""Below it a camera sees nothing by daylight: the lower edge of the sunlit zone as usually defined, from memory."""


def settle_s(load: Load) -> float:
    """The longest time from power until it records [s]."""
    return load.ready_after.high if load.ready_after is not None else 0.0


def close_s(load: Load) -> float:
    """The longest time from the stop of recording until power may go [s]."""
    return load.close_before_off.high if load.close_before_off is not None else 0.0


def recorded(load: Load, span_on: Span) -> Span:
    """What a camera records of the time it is on, at least: the wait for it to be ready and to close taken off."""
    stop = span_on.stop_s
    rule = load.stop
    if rule is not None and rule.kind == "output":
        stop -= close_s(load) + 1
    elif rule is not None and rule.kind == "after" and rule.after_s is not None:
        stop = min(stop, span_on.start_s + settle_s(load) + rule.after_s)
    elif rule is None or rule.kind != "power-loss":
        stop -= close_s(load)
    return Span(span_on.start_s + settle_s(load), stop, span_on.line)


@decides("camera-cut-while-recording")
def camera_cut(subject: Subject) -> Iterator[Outcome]:
    """Recording ends, and the file is closed, before power goes."""
    for name, load in subject.loads_of("camera"):
        spans = subject.spans(name)
        if not spans:
            continue
        if load.stop is None:
            yield subject.finding(
                "camera-cut-while-recording",
                (f"loads.{name}.stop", f"loads.{name}"),
                f"how {name} stops recording is not known: a file may be lost each time power goes"
                f" ({many(len(spans), 'time')})",
                "say stop: an output (OUT3), after 15 min, or on power loss when it closes its file by itself",
                load=name,
                weight=weights.weigh(weights.WORK, 1.0),
            )
            continue
        need, how = _least_on_s(load)
        short = [s for s in spans if s.length_s < need]
        if short:
            yield subject.finding(
                "camera-cut-while-recording",
                subject.line_place(short[0].line, name, "until"),
                f"{name} is on for {span(short[0].length_s)} from {elapsed(short[0].start_s)}, and needs {span(need)}"
                f" ({how}); {len(short)} of {len(spans)} times power goes too soon",
                f"keep it on for at least {span_up(need)} each time, or let it record for less",
                load=name,
                weight=weights.weigh(weights.WORK, 1 - short[0].length_s / need),
            )


def _least_on_s(load: Load) -> tuple[float, str]:
    """How long a camera must be on so that no file is cut [s], and what that is made of; 0 where it never is."""
    rule = load.stop
    if rule is not None and rule.kind == "output":
        return 1 + close_s(load), "the stop pulse of 1 s and close_before_off"
    if rule is not None and rule.kind == "after" and rule.after_s is not None:
        return settle_s(load) + rule.after_s + close_s(load), "ready_after, the recording and close_before_off"
    return 0.0, ""


@decides("camera-window-too-short")
def camera_window_too_short(subject: Subject) -> Iterator[Outcome]:
    """Each time a camera is on, it records something."""
    for name, load in subject.loads_of("camera"):
        spans = subject.spans(name)
        empty = [s for s in spans if recorded(load, s).length_s <= 0]
        if not empty:
            continue
        first, pulse = empty[0], 1 if load.stop is not None and load.stop.kind == "output" else 0
        need = settle_s(load) + close_s(load) + pulse
        yield subject.finding(
            "camera-window-too-short",
            subject.line_place(first.line, name, "for"),
            f"{name} is on for {span(first.length_s)} from {elapsed(first.start_s)}, but takes {span(need)} to get"
            f" ready and to close: nothing is recorded, {len(empty)} of {len(spans)} times",
            f"keep it on for more than {span_up(need)} each time; a minute of recording takes {span_up(need + 60)}",
            load=name,
            weight=weights.weigh(weights.WORK, 1 - first.length_s / max(need, 1)),
        )


@decides("camera-in-the-dark")
def camera_in_the_dark(subject: Subject) -> Iterator[Outcome]:
    """Deeper than daylight reaches, a camera records only what the lights show."""
    depth = subject.dive.site.depth.nominal
    if depth <= DAYLIGHT_REACHES_M:
        return
    events = subject.plan.events
    reach = DAYLIGHT_REACHES_M / depth
    splash, bottom, release, surface = (events[e].nominal for e in ("splash", "bottom", "release", "surface"))
    dark_from = splash + reach * (bottom - splash)
    dark_to = release + (1 - reach) * (surface - release)
    lights = [s for light, _ in subject.loads_of("light") for s in subject.spans(light)]
    for name, load in subject.loads_of("camera"):
        recording = [recorded(load, s) for s in subject.spans(name)]
        dark = outside(within(recording, dark_from, dark_to), lights)
        if not dark:
            continue
        seconds = sum(s.length_s for s in dark)
        yield subject.finding(
            "camera-in-the-dark",
            subject.line_place(dark[0].line, name),
            f"{name} records {span(seconds)} deeper than {DAYLIGHT_REACHES_M:.0f} m with no lights on,"
            f" first {elapsed(dark[0].start_s)}",
            f"add a line {{load: {_a_light(subject)}, with: {name}, only: splash .. surface}}",
            load=name,
            weight=weights.weigh(weights.WORK, 0.5),
        )


def _a_light(subject: Subject) -> str:
    return next((name for name, _ in subject.loads_of("light")), "lights")


@decides("fan-missing")
def fan_missing(subject: Subject) -> Iterator[Outcome]:
    """Where there is a fan, it runs whenever a camera does."""
    fans = [name for name, _ in subject.loads_of("fan")]
    if not fans:
        return
    cooled = [s for fan in fans for s in subject.spans(fan)]
    for name, _ in subject.loads_of("camera"):
        warm = outside(subject.spans(name), cooled)
        if warm:
            seconds = sum(s.length_s for s in warm)
            yield subject.finding(
                "fan-missing",
                subject.line_place(warm[0].line, name),
                f"{name} runs {span(seconds) if seconds < FOREVER else 'on'} without a fan,"
                f" first {elapsed(warm[0].start_s)}",
                f"add a line {{load: {fans[0]}, with: {name}, trail: 4 min}}",
                load=name,
                weight=weights.weigh(weights.WORK),
            )


@decides("card-full")
def card_full(subject: Subject) -> Iterator[Outcome]:
    """What is recorded fits the card, and the card is fast enough."""
    for name, load in subject.loads_of("camera"):
        if not subject.spans(name):
            continue
        use = storage.use(subject, name)
        if use is None or load.card is None:
            missing = "bitrate" if load.bitrate is None else "card"
            yield Missing("card-full", f"loads.{name}.{missing} is not given", name)
        else:
            yield from _filled(subject, name, load, use)
        yield from _too_slow(subject, name, load)
        if use is not None and use.segments > 1:
            yield subject.finding(
                "card-full",
                f"loads.{name}.bitrate",
                f"{name} writes up to {number(use.longest_file_byte / 1e9, 'GB')} without a break: on a card that"
                f" splits files at 4 GiB that is {use.segments} pieces",
                "see that the camera goes on by itself after 4 GiB",
                load=name,
                severity="note",
                weight=weights.weigh(weights.COMFORT),
            )


def _filled(subject: Subject, name: str, load: Load, use: storage.Use) -> Iterator[Outcome]:
    """The finding about a card that is full, or nearly."""
    from schedgen.physics.storage import FILL_LIMIT, full_share

    if load.card is None or load.bitrate is None:
        return
    filled = full_share(use.most_byte, load.card.low)
    if filled <= FILL_LIMIT:
        return
    yield subject.finding(
        "card-full",
        f"loads.{name}.card",
        f"{name} writes up to {number(use.written_gb, 'GB')} in {span(use.recorded_s)};"
        f" the card holds {number(load.card.low / 1e9, 'GB')} ({share(filled)} of it)",
        f"take a card of {number(math.ceil(use.written_gb / FILL_LIMIT), 'GB')} or more, or record at"
        f" {number(math.floor(load.bitrate.low * FILL_LIMIT / filled / 1e6), 'Mbit/s')} or less",
        load=name,
        severity="stop" if filled > 1 else "caution",
        weight=weights.weigh(weights.WORK, filled - 1),
    )


def _too_slow(subject: Subject, name: str, load: Load) -> Iterator[Outcome]:
    """The finding about a card that does not take what the camera writes; a caution where only bursts are too much."""
    from schedgen.physics.storage import card_keeps_up

    if load.card_speed is None or load.bitrate is None or card_keeps_up(load.bitrate.high, load.card_speed.low):
        return
    needed = load.bitrate.high / 8
    yield subject.finding(
        "card-full",
        f"loads.{name}.card_speed",
        f"{name} writes {number(needed / 1e6, 'MB/s')} and more in bursts; the card takes"
        f" {number(load.card_speed.low / 1e6, 'MB/s')}",
        f"take a card that takes {number(1.5 * needed / 1e6, 'MB/s')} or more, or lower the bitrate",
        load=name,
        severity="stop" if needed > load.card_speed.low else "caution",
        weight=weights.weigh(weights.WORK, needed / load.card_speed.low - 1),
    )
