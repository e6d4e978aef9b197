"""What the report says besides findings: deck limit, light at the surfacing, drift, cards, what is clean."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from functools import lru_cache
from typing import TYPE_CHECKING

from schedgen.errors import OutOfRange
from schedgen.judge import storage
from schedgen.judge.finding import Judgement
from schedgen.judge.information import Said, information
from schedgen.judge.subject import Parts, Subject
from schedgen.judge.warmth import Ranges, temperatures
from schedgen.judge.words import share, span_down

if TYPE_CHECKING:
    from schedgen.physics.daylight import DayLight
    from schedgen.plan.model import Plan
    from schedgen.simulate.results import Results

TOPICS: dict[str, tuple[str, ...]] = {
    "energy and reserve": ("reserve-short", "early-release", "armed-idle"),
    "a string lost or a load stuck on": ("string-loss", "load-stuck-on"),
    "beacon hours": ("beacon-too-short", "backup-surfacing", "beacon-late"),
    "voltages and currents": (
        "voltage-too-low",
        "protection-trip",
        "cell-overcurrent",
        "output-overloaded",
        "supply-mismatch",
        "pack-turns-itself-off",
    ),
    "cell temperature": ("cell-too-cold",),
    "release times": (
        "release-before-bottom",
        "release-too-late",
        "release-interlock",
        "postponed-drop",
        "backup-before-primary",
        "clock-too-coarse",
        "deck-time-unknown",
    ),
    "release strength and backup": (
        "release-too-weak",
        "wire-in-fresh-water",
        "release-output-floats",
        "release-alone",
        "release-shares",
    ),
    "start trigger": ("trigger-in-fresh-water",),
    "weight and speed": ("sinks-after-release", "floats-with-ballast", "hard-landing", "antenna-awash"),
    "depth ratings": ("depth-rating",),
    "recording": (
        "camera-cut-while-recording",
        "camera-window-too-short",
        "camera-in-the-dark",
        "card-full",
        "fan-missing",
    ),
    "lights": ("lights-in-air", "flash-like-distress"),
    "heat": ("too-hot",),
    "surfacing hours": ("surfacing-in-the-dark",),
    "schedule and settings": (
        "window-outside-dive",
        "window-overlap",
        "window-empty",
        "settings-too-big",
        "counter-range",
    ),
}
"""What `no problem found in` lists: a topic whose findings are all decided, and none of them a stop or a caution."""


@dataclass(frozen=True, slots=True)
class Facts:
    """Things a report says that are no findings. Times in texts are those of the dive's own offset from UTC."""

    deck_limit: str
    """Until when it may stay on deck, and what to do then."""
    daylight: str
    """How light the surfacing window is, in words."""
    drift_m: float | None
    """How far it may drift in `recovery.wait` [m]; None where no current is given."""
    storage: Mapping[str, storage.Use]
    """Per camera with a bitrate and a card."""
    matters_most: str | None
    """Dotted path of the guessed input that matters most."""
    clean: tuple[str, ...]
    """Topics in which no problem was found."""
    information: tuple[Said, ...] = ()
    """Worked-out figures: weights, waters, clock, light, cold, currents, pack."""
    temperatures: Ranges = field(default_factory=dict)
    """Of cells, cameras and housing in each phase."""


def facts(dive: Parts, plan: Plan, results: Results | None, judgement: Judgement) -> Facts:
    """The facts of a dive that `judge` has looked at."""
    from schedgen.judge.guesses import guessed_inputs

    subject = Subject(dive, plan, results)
    guesses = guessed_inputs(subject)
    cards = {}
    for name, load in subject.loads_of("camera"):
        use = storage.use(subject, name)
        if use is not None and load.card is not None:
            cards[name] = use
    return Facts(
        deck_limit=deck_limit(subject),
        daylight=daylight_words(subject),
        drift_m=drift_m(subject),
        storage=cards,
        matters_most=guesses[0].path if guesses else None,
        clean=clean_topics(judgement),
        information=information(subject),
        temperatures=temperatures(subject),
    )


def clean_topics(judgement: Judgement) -> tuple[str, ...]:
    """Topics all of whose findings were decided with neither a stop nor a caution, accepted or not."""
    raised = {finding.name for finding in judgement.findings if finding.severity != "note"}
    unknown = {line.partition(":")[0].partition("@")[0] for line in judgement.not_checked}
    return tuple(topic for topic, names in TOPICS.items() if not raised & set(names) and not unknown & set(names))


def _clock(subject: Subject, seconds: float) -> str:
    return (subject.plan.planned + timedelta(seconds=seconds)).strftime("%Y-%m-%d %H:%M")


def deck_limit(subject: Subject) -> str:
    """Until when it may stay on deck armed, and that it must be disarmed then."""
    from schedgen.judge.idle import armed_w, may_stay_armed_s

    deck = subject.dive.start.deck_time
    if subject.plan.trigger != "water" and deck is not None:
        return f"until {_clock(subject, deck.high)}, {span_down(deck.high)} after start; then disarm"
    if subject.results is None:
        return ""
    allowed = may_stay_armed_s(subject)
    day = f"armed it takes {armed_w(subject) * 24:.2g} Wh a day"
    if allowed <= 0:
        return f"{day}, and nothing above the reserve is left for that: arm just before it goes in"
    asked = subject.dive.start.armed_for
    limit, why = allowed, "then the reserve is touched"
    if asked is not None and asked.high <= allowed:
        limit, why = asked.high, "armed_for"
    if limit > 366 * 86400:
        return f"{day}: more than a year until that eats the reserve; no clock runs before splash"
    return f"armed at the planned start, until {_clock(subject, limit)} ({why}); then disarm; {day}"


def surfacing(subject: Subject) -> tuple[datetime, datetime]:
    """Earliest and latest surfacing as instants, the uncertainty of `planned` included."""
    plan, true = subject.plan, subject.plan.true_events["surface"]
    slack = timedelta(seconds=plan.planned_plus_minus_s)
    return (
        plan.planned + timedelta(seconds=true.early) - slack,
        plan.planned + timedelta(seconds=true.late) + slack,
    )


def daylight(subject: Subject) -> DayLight:
    """How light the surfacing window is. Raises OutOfRange as `schedgen.physics.daylight.light_between`."""
    site = subject.dive.site
    return _light(site.latitude.nominal, site.longitude.nominal, *surfacing(subject))


@lru_cache(maxsize=8)
def _light(latitude: float, longitude: float, first: datetime, last: datetime) -> DayLight:
    from schedgen.physics.daylight import light_between

    return light_between(latitude, longitude, first, last)


def daylight_words(subject: Subject) -> str:
    """`in daylight`, `in darkness`, or the share in daylight with the first dawn or dusk."""
    try:
        light = daylight(subject)
    except OutOfRange as trouble:
        return f"light not worked out: {trouble.message}"
    if light.kind != "mixed":
        return f"in {light.kind}"
    instant, rising = light.changes[0]
    local = instant.astimezone(subject.plan.planned.tzinfo).strftime("%H:%M")
    return f"{share(light.light_share)} of it in daylight, civil {'dawn' if rising else 'dusk'} {local}"


def drift_m(subject: Subject) -> float | None:
    """Radius of the drift while it waits for recovery [m]; None where no current is given."""
    from schedgen.physics.daylight import drift_radius

    current = subject.dive.site.current
    return drift_radius(current.high, subject.dive.recovery.wait.high) if current is not None else None
