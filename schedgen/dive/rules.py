"""Rules between the sections of a dive file that need no board, each a trouble with its place.

They work on whatever sections could be read, so that a fault in one section hides nothing in the others.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from schedgen.dive.line_rules import MOST_COMBINATIONS
from schedgen.dive.times import LONGEST_S
from schedgen.dive.vehicle_rules import layout_troubles
from schedgen.files.trouble import Trouble, did_you_mean, listing, shown

if TYPE_CHECKING:
    from schedgen.dive.loads import FieldChange, Line, Load, Release
    from schedgen.dive.model import Dive, Start
    from schedgen.dive.times import When
    from schedgen.dive.vehicle import Pack, Vehicle


@dataclass(frozen=True)
class Sections:
    """What could be read of a dive file. `load_names` are all keys of `loads`.

    A section with faults is None (`start`, `pack`, `vehicle`) or holds what is right in it: then any field may be
    None, whatever its type says, and the rules look for that.
    """

    load_names: Sequence[str] = ()
    loads: Mapping[str, Load] = field(default_factory=dict)
    schedule: Mapping[int, Line] = field(default_factory=dict)
    release: Release | None = None
    field_changes: Mapping[int, FieldChange] = field(default_factory=dict)
    accept: Mapping[str, str] = field(default_factory=dict)
    start: Start | None = None
    pack: Pack | None = None
    vehicle: Vehicle | None = None

    @classmethod
    def of(cls, dive: Dive) -> Sections:
        """All sections of a dive that could be read whole."""
        return cls(
            list(dive.loads), dive.loads, dict(enumerate(dive.schedule)), dive.release,
            dict(enumerate(dive.field_changes)), dive.accept, dive.start, dive.pack, dive.vehicle,
        )  # fmt: skip


def dive_troubles(sections: Sections) -> list[Trouble]:
    """Every broken rule, in no particular order."""
    return [trouble for rule in _RULES for trouble in rule(sections)]


def _loads_exist(sections: Sections) -> list[Trouble]:
    """Loads named in the schedule and in field changes stand under `loads`."""
    names = list(sections.load_names)
    if not names:
        return []
    used: list[tuple[str, tuple[str | int, ...]]] = []
    for index, line in sections.schedule.items():
        if line.load is not None:
            used.append((line.load, ("schedule", index, "load")))
        if line.with_ is not None:
            used.append((line.with_, ("schedule", index, "with")))
    used += [
        (change.level, ("field_changes", index, "level"))
        for index, change in sections.field_changes.items()
        if change.level is not None
    ]
    return [
        Trouble(
            f"There is no load {shown(name)}. {did_you_mean(name, names)}".strip(), listing(names), "",
            "Write one of the loads, or add it under loads.", where,
        )
        for name, where in used if name not in names
    ]  # fmt: skip


def _no_chains(sections: Sections) -> list[Trouble]:
    """A load that is followed has times of its own, and follows nothing itself."""
    followers = {line.load for line in sections.schedule.values() if line.with_ is not None and line.from_ is None}
    scheduled = {line.load for line in sections.schedule.values()}
    troubles = []
    for index, line in sections.schedule.items():
        leader = line.with_
        if leader is None or leader == line.load:
            continue
        where = ("schedule", index, "with")
        if leader in followers:
            own = "the load that it follows itself"
            for other in sections.schedule.values():
                if other.load == leader and other.with_ is not None:
                    own = other.with_
            troubles.append(
                Trouble(
                    f"{leader} follows another load itself; with cannot be chained.",
                    "a load whose lines have from and until",
                    f"with: {own}",
                    f"Follow {own} with lead and trail of its own.",
                    where,
                )
            )
        elif leader not in scheduled and leader in sections.load_names and sections.schedule:
            troubles.append(
                Trouble(
                    f"{leader} has no line of its own in the schedule, so there is nothing to follow.",
                    "a load whose lines have from and until",
                    f"{{load: {leader}, from: splash, until: bottom + 40 min}}",
                    f"Add a line for {leader}.",
                    where,
                )
            )
    return troubles


def _one_use_an_output(sections: Sections) -> list[Trouble]:
    """No output has two uses: loads, stop pulses and releases."""
    troubles: list[Trouble] = []
    first: dict[str, tuple[str, str]] = {}
    for name, load in sections.loads.items():
        output = load.wired_to
        if output is None:
            continue
        if output in first:
            troubles.append(_shared_load(output, first[output], name, sections))
        first.setdefault(output, ("load", name))
    for name, load in sections.loads.items():
        if load.stop is not None and load.stop.output is not None and load.stop.output != load.wired_to:
            troubles += _taken(first, load.stop.output, f"the stop pulse of {name}", ("loads", name, "stop"))
    if sections.release is not None:
        for key, actuator in (("primary", sections.release.primary), ("backup", sections.release.backup)):
            if actuator is not None and actuator.wired_to is not None:
                where = ("release", key, "wired_to")
                troubles += _taken(first, actuator.wired_to, f"the {key} release", where)
    return troubles


def _shared_load(output: str, first: tuple[str, str], name: str, sections: Sections) -> Trouble:
    other = first[1]
    roles = {load: sections.loads[load].resolved_role for load in (other, name)}
    if roles[other] == roles[name] == "camera":
        step = (
            f"Make them one load with count: 2 (power for both together, bitrate and card of each), or rewire {name}."
        )
    elif roles[other] == roles[name]:
        step = f"Make them one load with count: 2 (power for both together), or wire {name} to another output."
    else:
        step = f"Wire {name} to another output."
    return Trouble(
        f"{name} and {other} are both wired to {output}; an output switches one load.", "an output of its own", "OUT2",
        step, ("loads", name, "wired_to"),
    )  # fmt: skip


def _taken(first: dict[str, tuple[str, str]], output: str, user: str, where: tuple[str | int, ...]) -> list[Trouble]:
    taken = first.setdefault(output, ("", user))
    if taken == ("", user):
        return []
    other = f"the load {taken[1]}" if taken[0] else taken[1]
    return [
        Trouble(
            f"{output} is used twice: for {user} and for {other}.", "an output of its own", "", f"Rewire {user}.", where
        )
    ]


def _release_times(sections: Sections) -> list[Trouble]:
    """`at` where the controller fires on schedule, none on the backup; no times that wait for themselves."""
    release = sections.release
    if release is None:
        return []
    troubles = []
    primary = release.primary
    if primary is not None and primary.kind is not None and primary.fired and "at" not in primary.model_fields_set:
        troubles.append(
            Trouble(
                f"A {primary.kind} as primary needs at.", "the time of the first firing command", "at: bottom + 9 h",
                "Add the key at.", ("release", "primary"), True,
            )
        )  # fmt: skip
    if release.backup is not None and release.backup.at is not None:
        troubles.append(
            Trouble(
                "The backup has no at: it fires at release.latest.", "no at", "", "Delete at, and set latest.",
                ("release", "backup", "at"), True,
            )
        )  # fmt: skip
    later = ("release", "surface", "end")
    times: list[tuple[When | None, tuple[str, ...], tuple[str, ...]]] = [
        (primary.at if primary else None, ("release", "primary", "at"), later),
        (release.not_before, ("release", "not_before"), later[1:]),
        (release.latest, ("release", "latest"), later[1:]),
    ]
    for when, where, barred in times:
        if when is not None and when.base in barred:
            troubles.append(
                Trouble(
                    f"{where[-1]} cannot be counted from {when.base}, which itself follows from the release.",
                    "start, splash or bottom plus a duration; or an instant",
                    "bottom + 9 h",
                    "Count it from bottom or start.",
                    where,
                )
            )
    return troubles


def _changes(sections: Sections) -> list[Trouble]:
    """Each change once, 32 combinations, and the first level as scheduled."""
    troubles: list[Trouble] = []
    seen: set[str] = set()
    combinations = 1
    for index, change in sections.field_changes.items():
        subject = change.level or change.shift
        if subject is None:
            continue
        key = "level" if change.level else "shift"
        if subject in seen:
            troubles.append(
                Trouble(
                    f"{subject} is changed twice.",
                    "one change each",
                    "",
                    "Join the two.",
                    ("field_changes", index, key),
                )
            )
        seen.add(subject)
        combinations *= max(1, change.choices)
        if change.level is not None:
            troubles += _first_level(sections, index, change)
    if combinations > MOST_COMBINATIONS and len(sections.field_changes) > 1:
        troubles.append(
            Trouble(
                f"The field changes offer {combinations} combinations; {MOST_COMBINATIONS} are the most.",
                f"at most {MOST_COMBINATIONS}", "", "Offer fewer steps or levels.", ("field_changes",), True,
            )
        )  # fmt: skip
    return troubles


def _first_level(sections: Sections, index: int, change: FieldChange) -> list[Trouble]:
    lines = [line for line in sections.schedule.values() if line.load == change.level]
    if any(line.level is None and "level" in line.model_fields_set for line in lines):
        return []
    scheduled = {round(line.level.nominal * 100) if line.level else 100 for line in lines}
    values = [round(value.nominal * 100) for value in change.values or ()]
    if not values or not scheduled or scheduled == {values[0]}:
        return []
    written = listing([f"{level} %" for level in sorted(scheduled)], "and")
    where = ("field_changes", index, "values", 0)
    if len(scheduled) > 1:
        return [
            Trouble(
                f"{change.level} is scheduled at {written}; one level for all its lines is needed to change it.",
                "the same level on every line of the load", "", "Give all its lines one level.", where,
            )
        ]  # fmt: skip
    return [
        Trouble(
            f"The first level ({values[0]} %) must be the scheduled one ({written}).", f"{written} first", "",
            f"Write {written} first, or change the schedule.", where,
        )
    ]  # fmt: skip


def _accepts(sections: Sections) -> list[Trouble]:
    """NAME or NAME@load, of findings and loads that there are."""
    from schedgen.judge.names import FINDINGS

    troubles = []
    for key in sections.accept:
        name, at, load = key.partition("@")
        where = ("accept", key)
        if name not in FINDINGS:
            troubles.append(
                Trouble(
                    f"There is no finding {shown(name)}. {did_you_mean(name, FINDINGS)}".strip(),
                    "the name of a finding, or NAME@load", "surfacing-in-the-dark",
                    "Copy the name from the report of schedgen check.", where, True,
                )
            )  # fmt: skip
        elif at and load not in sections.load_names and sections.load_names:
            troubles.append(
                Trouble(
                    f"There is no load {shown(load)}. {did_you_mean(load, sections.load_names)}".strip(),
                    listing(list(sections.load_names)), "", "Write a load of this dive after the @.", where, True,
                )
            )  # fmt: skip
    return troubles


def _instants_near(sections: Sections) -> list[Trouble]:
    """Instants lie within what the controller can count after the planned start, and not before it."""
    if sections.start is None:
        return []
    planned = sections.start.planned
    troubles = []
    for when, where in _times(sections):
        if when is None or when.instant is None:
            continue
        after = when.instant.timestamp() - planned.instant.timestamp()
        if after + planned.plus_minus_s < 0 or after - planned.plus_minus_s > LONGEST_S:
            what = "is before the planned start" if after < 0 else "is more than 92 days after the planned start"
            troubles.append(
                Trouble(
                    f"{when.text} {what} ({planned.text}).",
                    "an instant during the dive",
                    "",
                    "Check the two dates.",
                    where,
                )
            )
    return troubles


def _times(sections: Sections) -> Iterator[tuple[When | None, tuple[str | int, ...]]]:
    for index, line in sections.schedule.items():
        yield line.from_, ("schedule", index, "from")
        yield line.until, ("schedule", index, "until")
        if line.only is not None:
            yield line.only.begin, ("schedule", index, "only")
            yield line.only.until, ("schedule", index, "only")
    release = sections.release
    if release is not None:
        yield release.primary.at if release.primary else None, ("release", "primary", "at")
        yield release.not_before, ("release", "not_before")
        yield release.latest, ("release", "latest")


def _charged_before(sections: Sections) -> list[Trouble]:
    """A pack is charged before the dive."""
    if sections.pack is None or sections.start is None or sections.pack.charged is None:
        return []
    charged, planned = sections.pack.charged, sections.start.planned
    if charged.instant.timestamp() - charged.plus_minus_s <= planned.instant.timestamp() + planned.plus_minus_s:
        return []
    return [
        Trouble(
            f"The pack is charged ({charged.text}) after the planned start ({planned.text}).",
            "an instant before the start",
            "",
            "Check the two dates.",
            ("pack", "charged"),
        )
    ]


def _layout_fits(sections: Sections) -> list[Trouble]:
    """The bore that the cells stand in goes into the housing."""
    if sections.pack is None or sections.vehicle is None:
        return []
    return layout_troubles(sections.pack.layout, sections.vehicle.housing)


_RULES: tuple[Callable[[Sections], list[Trouble]], ...] = (
    _loads_exist,
    _no_chains,
    _one_use_an_output,
    _release_times,
    _changes,
    _instants_near,
    _accepts,
    _charged_before,
    _layout_fits,
)
