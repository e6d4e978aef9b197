"""What the first screen says beside the findings: deck limit, daylight at the surface, card use, what was gone into."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

from schedgen.judge.subject import Parts, Subject

if TYPE_CHECKING:
    from schedgen.judge.finding import Judgement
    from schedgen.physics.daylight import DayLight
    from schedgen.plan.model import Plan
    from schedgen.simulate.results import Results

SUBJECTS: Mapping[str, tuple[str, ...]] = {
    "energy": ("reserve-short", "voltage-too-low", "early-release", "beacon-too-short", "backup-surfacing"),
    "pack and outputs": (
        "protection-trip",
        "cell-overcurrent",
        "cell-too-cold",
        "output-overloaded",
        "supply-mismatch",
        "pack-turns-itself-off",
    ),
    "release times": ("release-before-bottom", "release-too-late", "release-interlock", "backup-before-primary"),
    "release strength": ("release-too-weak", "wire-in-fresh-water", "release-output-floats"),
    "sinking and rising": ("sinks-after-release", "floats-with-ballast", "hard-landing"),
    "depth": ("depth-rating",),
    "cameras and cards": ("camera-cut-while-recording", "camera-window-too-short", "card-full"),
    "lights": ("lights-in-air", "flash-like-distress"),
    "heat": ("too-hot",),
    "being found": ("beacon-late", "antenna-awash", "surfacing-in-the-dark"),
    "clock": ("clock-too-coarse", "deck-time-unknown"),
    "schedule and settings": (
        "window-outside-dive",
        "window-overlap",
        "window-empty",
        "settings-too-big",
        "counter-range",
    ),
}
"""Subjects in plain words, each with the findings that would be a problem in it."""


@dataclass(frozen=True, slots=True)
class CardUse:
    """What one camera of a load writes. Decimal gigabytes; `card_gb` is None where the file names no card."""

    recorded_s: float
    written_gb: float
    card_gb: float | None


@dataclass(frozen=True, slots=True)
class Facts:
    """See the fields."""

    deck_limit: str
    """Until when it may stay on deck and then must be disarmed."""
    daylight: str
    """The surfacing window against the light: "in daylight", "in the dark", "dark until 05:12"."""
    storage: Mapping[str, CardUse]
    clean: tuple[str, ...]
    """Subjects in which every rule ran and none found a problem."""


def facts(parts: Parts, plan: Plan, results: Results, judgement: Judgement) -> Facts:
    """The facts of one dive; pure."""
    subject = Subject(parts, plan, results)
    return Facts(
        deck_limit=deck_limit(subject),
        daylight=daylight(subject),
        storage=dict(card_use(subject)),
        clean=clean_subjects(judgement),
    )


def _clock(instant: datetime, reference: datetime) -> str:
    if instant.date() == reference.date():
        return instant.strftime("%H:%M")
    return f"{instant.day} {instant.strftime('%b %H:%M')}"


def deck_limit(subject: Subject) -> str:
    """The latest local time at which it may still be on deck, and what then must be done.

    Button and command: the clock runs from the trigger, so the limit is the longest deck time. Water: the
    schedule waits for the water, and the limit is how long it may stay armed.
    """
    plan, dive = subject.plan, subject.dive
    if dive.start.deck_time is not None:
        last = plan.planned + timedelta(seconds=dive.start.deck_time.high)
        return f"in the water by {_clock(last, plan.planned)} if started as planned, else disarm"
    from schedgen.judge.idle import may_stay_armed_s

    allowed = may_stay_armed_s(subject)
    if allowed <= 0:
        return "no energy to wait armed on deck; arm just before it goes into the water"
    asked = dive.start.armed_for
    limit = min(allowed, asked.high) if asked is not None else allowed
    why = "armed_for" if asked is not None and asked.high <= allowed else "the reserve"
    if limit > 30 * 86_400:
        return f"armed for {limit / 86_400:.0f} days at most ({why}), then disarm"
    last = plan.planned + timedelta(seconds=limit)
    return f"may stay armed until {_clock(last, plan.planned)} if armed at the planned start ({why}), then disarm"


def daylight(subject: Subject) -> str:
    """How light the surfacing window is, with the next change in local time. Twilight counts as light."""
    from schedgen.physics.daylight import light_between

    plan, site = subject.plan, subject.dive.site
    true = plan.true_events["surface"]
    slack = timedelta(seconds=plan.planned_plus_minus_s)
    begin = plan.planned + timedelta(seconds=true.early) - slack
    until = plan.planned + timedelta(seconds=true.late) + slack
    light = light_between(site.latitude.nominal, site.longitude.nominal, begin, until)
    return _light_words(light, begin)


def _light_words(light: DayLight, begin: datetime) -> str:
    if light.kind == "daylight":
        return "in daylight"
    if light.kind == "darkness":
        return "in the dark"
    instant, brighter = light.changes[0]
    here = instant.astimezone(begin.tzinfo).strftime("%H:%M")
    return f"dark until {here}" if brighter else f"light until {here}, then dark"


def card_use(subject: Subject) -> Iterator[tuple[str, CardUse]]:
    """What each camera writes on each of its cards, longest windows; cameras without a bitrate are left out."""
    from schedgen.judge.camera import recorded_s
    from schedgen.physics.storage import GB, written

    for name, load in subject.loads_of("camera"):
        if load.bitrate is None:
            continue
        seconds = recorded_s(subject, name)
        size = written(load.bitrate.high, seconds) / GB
        yield name, CardUse(seconds, round(size, 6), load.card.nominal / GB if load.card is not None else None)


def clean_subjects(judgement: Judgement) -> tuple[str, ...]:
    """The subjects in which nothing was found and nothing was left unchecked."""
    touched = {finding.name for finding in judgement.findings if finding.severity != "note"}
    touched |= {text.split(":", 1)[0].split("@", 1)[0] for text in judgement.not_checked}
    return tuple(name for name, findings in SUBJECTS.items() if not touched.intersection(findings))
