"""The rule about loads that get too hot."""

from __future__ import annotations

from collections.abc import Iterator

from schedgen.judge import weights
from schedgen.judge.rules import decides
from schedgen.judge.subject import Missing, Outcome, Subject
from schedgen.judge.words import elapsed


@decides("too-hot", simulated=True)
def too_hot(subject: Subject) -> Iterator[Outcome]:
    """No load above its heat limit: on deck, in water, at the surface in the sun."""
    heat = subject.run.worst.heat
    for name, load in subject.dive.loads.items():
        if load.heat_limit is None:
            if subject.roles[name] == "camera":
                yield Missing("too-hot", f"loads.{name}.heat_limit is not given", name)
            continue
        found = heat.get(name)
        if found is None:
            what = "vehicle.housing is not given" if subject.dive.vehicle.housing is None else "it was not simulated"
            yield Missing("too-hot", what, name)
            continue
        over = found.highest_c - load.heat_limit.low
        if over > 0:
            phase = _phase(subject, found.at_s)
            yield subject.finding(
                "too-hot",
                (f"loads.{name}.heat_limit", f"loads.{name}"),
                f"{name} may reach {found.highest_c:.1f} degC {elapsed(found.at_s)} ({phase}); its limit is"
                f" {load.heat_limit.low:g} degC",
                _fix(subject, phase),
                load=name,
                weight=weights.weigh(weights.WORK, over / 20),
            )


def _fix(subject: Subject, phase: str) -> str:
    """What helps in that phase."""
    if phase == "deck":
        return "keep it in the shade, start it nearer to splash, or run it for less time on deck"
    if phase == "surface":
        return "end its window before the surface (until: release)"
    fan = next((name for name, _ in subject.loads_of("fan")), None)
    with_fan = f"run {fan} with it for longer or at a higher level" if fan else "add a fan that runs with it"
    return f"{with_fan}, or run it for less time at once"


def _phase(subject: Subject, at_s: float) -> str:
    """The phase in which a second lies, by the nominal events. The moment of the start itself is still on deck."""
    events = subject.plan.events
    if at_s <= 0:
        return "deck"
    for phase, event in (("deck", "splash"), ("descent", "bottom"), ("bottom", "release"), ("ascent", "surface")):
        if at_s < events[event].nominal:
            return phase
    return "surface"
