"""The checklist in the order of the work, with the numbers of the dive filled in."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from schedgen.report import words

if TYPE_CHECKING:
    from schedgen.report.check import Subject
    from schedgen.report.sheet.pack import RestVoltage, Weighing


@dataclass(frozen=True, slots=True)
class Item:
    """One box to tick. `blank` names what is to be written beside it, with its unit."""

    text: str
    blank: str = ""


@dataclass(frozen=True, slots=True)
class Stage:
    """One part of the work."""

    title: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class StandDown:
    """Until when it may wait on deck. `instant` None: no hour can be named; `text` says what holds then."""

    instant: datetime | None
    text: str


HOW_TO_STAND_DOWN = (
    "Hold both buttons for 5 s (before the splash, or after it has surfaced), or connect the bench lead and run "
    "schedgen disarm. Ask the board for its state afterwards: it must not say armed."
)


def stand_down(subject: Subject) -> StandDown:
    """The hour by which it is in the water, or else must be disarmed."""
    from schedgen.judge.idle import may_stay_armed_s
    from schedgen.judge.subject import Subject as Judged

    plan, start = subject.plan, subject.loaded.dive.start
    if plan.trigger != "water" and start.deck_time is not None:
        limit = start.deck_time.high
        text = f"{words.duration(limit)} after the start at the latest, as deck_time says"
        return StandDown(words.at(plan.planned, limit), text)
    allowed = may_stay_armed_s(Judged(subject.loaded, plan, subject.results))
    why = "then the reserve is touched"
    if start.armed_for is not None and start.armed_for.high <= allowed:
        allowed, why = start.armed_for.high, "armed_for of the dive file"
    if allowed > 366 * 86400:
        return StandDown(None, "no hour limits the wait: no clock runs before the splash")
    return StandDown(words.at(plan.planned, allowed), f"{words.duration(allowed)} after the planned start, {why}")


def checklist(subject: Subject, rest: RestVoltage | None, weights: tuple[Weighing, ...]) -> tuple[Stage, ...]:
    """All stages of the work."""
    return (
        Stage("Before the lid is closed", tuple(_before_the_lid(subject, rest, weights))),
        Stage("Seal and vacuum", tuple(_seal())),
        Stage("On deck", tuple(_on_deck(subject))),
        Stage("Arm", tuple(_arm(subject))),
        Stage("Splash", tuple(_splash(subject))),
    )


def _before_the_lid(subject: Subject, rest: RestVoltage | None, weights: tuple[Weighing, ...]) -> list[Item]:
    dive, plan = subject.loaded.dive, subject.plan
    pack = dive.pack
    go = subject.judgement.verdict == "go"
    items = [
        Item(f"This sheet says GO, dive code {subject.code}." if go else "This sheet says NO-GO: the work ends here.")
    ]
    cells = pack.series * pack.parallel
    items.append(
        Item(f"Pack: {cells} cells, {pack.series} in series x {pack.parallel}; no dents, no swelling, no heat.")
    )
    if rest is not None:
        items.append(Item(f"Pack at rest for 1 h or more: {rest.go_v:.2f} V or above goes, below does not.", "V"))
    else:
        items.append(Item("Power bank charged full; it shows no rested voltage that could be trusted."))
    for output in plan.outputs.values():
        if output.kind == "release" or output.role == "stop":
            continue
        found = _bench_words(subject, output.output)
        items.append(Item(f"{output.output} switches {output.load}: seen to work on the bench{found}."))
    items += [Item(f"{o.output} stops the recording of {o.load}.") for o in plan.outputs.values() if o.role == "stop"]
    for load, use in subject.facts.storage.items():
        items.append(
            Item(f"{load}: card of {use.card_gb:.0f} GB empty and in place; {use.written_gb:.0f} GB will be written.")
        )
    items += _release_items(subject)
    if weights:
        items.append(Item(_weight_words(weights[0].with_ballast, "With ballast in sea water"), "kg"))
        items.append(Item(_weight_words(weights[0].without_ballast, "Without ballast in sea water"), "kg"))
    code = subject.code or "the code"
    items.append(Item(f"Settings uploaded and read back against the dive file; the board answers {code}."))
    return items


def _bench_words(subject: Subject, output: str) -> str:
    """What the bench record that the dive names says of an output, "" without one."""
    record = subject.loaded.bench
    one = record.outputs.get(output) if record is not None else None
    if record is None or one is None:
        return ""
    measured = "" if one.power is None else f", {one.power}"
    sag = "" if one.sag is None else f", sag {one.sag}"
    differs = any(found.load and found.load == one.load for found in subject.loaded.bench_differences)
    beside = "; NOT as in the file, see the findings" if differs else ""
    return f" ({record.day}: {one.verdict}{sag}{measured}{beside})"


def _weight_words(triple: tuple[float, float, float], what: str) -> str:
    low, _, high = triple
    if high < 0:
        return f"{what} it lifts {-high:.1f} to {-low:.1f} kg."
    return f"{what} it weighs {low:.1f} to {high:.1f} kg."


def _release_items(subject: Subject) -> list[Item]:
    release = subject.loaded.dive.release
    primary, items = release.primary, []
    wire = primary.wire
    wired = f" on {primary.wired_to}" if primary.wired_to else ""
    built = (
        f", {wire.metal} {wire.diameter.nominal * 1000:g} mm, {wire.exposed.nominal * 1000:g} mm bare" if wire else ""
    )
    items.append(Item(f"Primary release fitted: {primary.kind}{wired}{built}."))
    if release.backup is not None:
        backup = release.backup
        after = f", parts {words.duration(backup.parts_after.nominal)} after the splash" if backup.parts_after else ""
        items.append(Item(f"Backup release fitted: {backup.kind}{after}."))
    mass = subject.loaded.dive.vehicle.ballast.mass
    items.append(Item(f"Ballast {mass.nominal:g} kg, hung so that nothing holds it once the release parts."))
    return items


def _seal() -> list[Item]:
    return [
        Item("Sealing faces and rings clean, whole, greased as their maker says; no hair, no cable in the way."),
        Item("Fresh desiccant in."),
        Item("Lid on, screws as the housing's maker says; vent and purge plug closed."),
        Item("Vacuum drawn and held as the housing's maker says.", "kPa"),
        Item("Vacuum read again after the wait: no change.", "kPa"),
    ]


def _on_deck(subject: Subject) -> list[Item]:
    depth = subject.loaded.dive.site.depth
    board = subject.loaded.board
    items = [
        Item(f"The board, asked for its code, answers {subject.code or 'none'}."),
        Item(f"Depth here is {depth.low:.0f} to {depth.high:.0f} m by the sounder.", "m"),
        Item("Drop position written down.", "position"),
    ]
    if board.water_contact is not None:
        items.append(Item("Water contact dry and clean; no wet rag, no wash-down from here on."))
    for output in subject.plan.outputs.values():
        if output.role in ("beacon", "locator"):
            items.append(Item(f"{_named(output.load, output.role)} was seen or heard to work today."))
    if subject.plan.field_changes:
        items.append(Item("Field change made or left, as the card below says.", "choice"))
    items.append(Item("Nobody under the load; nobody near release, ballast or lights."))
    return items


def _arm(subject: Subject) -> list[Item]:
    plan = subject.plan
    items = [
        Item(f"schedgen arm {subject.code or 'CODE'} says armed; {_light_word(subject.code)}", "time"),
        Item("Bench lead off, its plug closed."),
    ]
    if plan.trigger == "button":
        items.append(Item("Button B held for 3 s; the clock runs from now on.", "time"))
    elif plan.trigger == "command":
        items.append(Item("Start command given; the clock runs from now on.", "time"))
    earliest = words.duration(plan.interlocks.not_before_s)
    items.append(Item(f"From {earliest} after the start on, nobody is near the release, whatever happens."))
    return items


def _light_word(code: str | None) -> str:
    """What the status light says when armed: one long blink, then the first character of the code."""
    from schedgen.settings.code import ALPHABET

    if not code:
        return "the status light says so."
    longs, shorts = divmod(ALPHABET.index(code[0]), 8)
    said = [f"{longs} long"] * (longs > 0) + [f"{shorts} short"] * (shorts > 0)
    return f"the light: 1 long, a gap, then {' and '.join(said) or 'nothing'} ({code[0]} of the code)."


def _splash(subject: Subject) -> list[Item]:
    last = stand_down(subject)
    items = []
    if last.instant is not None:
        items.append(Item(f"In the water by {words.local(last.instant, subject.plan.planned)}; if not, stand down."))
    items += [
        Item("Splash.", "time"),
        Item("Position of the splash.", "position"),
        Item("True times: run schedgen sheet FILE --splashed INSTANT --out X.html."),
    ]
    return items


def _named(load: str, role: str) -> str:
    return load if load == role else f"{load} ({role})"
