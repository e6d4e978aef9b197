"""What `check` prints: the first screen for a cold, hurried reader, then the tables."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from schedgen.report import words
from schedgen.report.choices import choice_texts
from schedgen.report.tables import event_rows, table

if TYPE_CHECKING:
    from schedgen.errors import BlockError
    from schedgen.judge import Judgement
    from schedgen.judge.facts import Facts
    from schedgen.judge.finding import Finding
    from schedgen.load import LoadedDive
    from schedgen.plan.model import Note, Plan
    from schedgen.settings import Settings
    from schedgen.simulate import Results

CAUTION = (
    "Lithium cells, pressure housings, ballast and releases can injure people. Keep to local codes, permits and",
    "licensed practice; these numbers replace neither a bench test nor somebody who knows the work.",
)


@dataclass(frozen=True)
class Subject:
    """Everything that a report about one dive is made of."""

    loaded: LoadedDive
    plan: Plan
    results: Results
    judgement: Judgement
    facts: Facts
    settings: Settings | None
    """None when the plan leaves no valid settings block; `trouble` then says why."""
    trouble: BlockError | None = None

    @property
    def code(self) -> str | None:
        """The dive code, None without a settings block."""
        return self.settings.code if self.settings else None


Paint = Callable[..., str]


def _plain(text: str, *_: str) -> str:
    return text


WIDTH = 100
"""Longest line of running text; tables may be wider."""
LABEL = 10
"""Columns of the labels on the first screen."""


_BEFORE_UNIT = re.compile(r"(?<=[0-9]) (?=[A-Za-z%])|(?<= h) (?=[0-9])|(?<= min) (?=[0-9])")


def wrapped(text: str, first: str, rest: str = "") -> list[str]:
    """`text` in lines of at most WIDTH columns, the first begun by `first`, the others by `rest`.

    A number stays on one line with its unit.
    """
    lines = textwrap.wrap(
        _BEFORE_UNIT.sub("\N{NO-BREAK SPACE}", text),
        WIDTH,
        initial_indent=first,
        subsequent_indent=rest or " " * len(first),
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def first_screen(subject: Subject, paint: Paint = _plain) -> list[str]:
    """The lines of the first screen, in the fixed order: verdict to what was guessed."""
    rows = [
        ("Margin", _margin(subject)),
        ("Release", _release(subject)),
        ("On deck", _on_deck(subject)),
        ("Surface", _surface(subject)),
        ("Beacon", _beacon(subject)),
        ("Voltage", _voltage(subject)),
        ("Speeds", _speeds(subject)),
        ("Inputs", _inputs(subject)),
    ]
    lines = [_verdict(subject, paint), *_fixes(subject, paint)]
    for label, text in rows:
        lines += wrapped(text, label.ljust(LABEL), " " * LABEL)
    return lines


def _verdict(subject: Subject, paint: Paint) -> str:
    go = subject.judgement.verdict == "go"
    word = paint("GO" if go else "NO-GO", "bold", "green" if go else "red")
    return f"{word}   {subject.code or 'no code'}   {subject.plan.name}"


def _fixes(subject: Subject, paint: Paint) -> list[str]:
    label, blank = "Fix".ljust(LABEL), " " * LABEL
    worst = [finding for finding in subject.judgement.headline if finding.blocks]
    if not worst:
        cautions = sum(1 for finding in subject.judgement.findings if finding.severity == "caution")
        rest = f"{words.count(cautions, 'caution')} below" if cautions else "no cautions"
        return [f"{label}nothing stops this dive; {rest}"]
    lines: list[str] = []
    for finding in worst:
        named = wrapped(f"{_line_of(finding)}{finding.name}: {finding.message}", label, blank)
        lines += [line.replace(finding.name, paint(finding.name, "bold", "red"), 1) for line in named[:1]] + named[1:]
        lines += wrapped(finding.fix, f"{blank}-> ", f"{blank}   ")
        label = blank
    left = sum(1 for finding in subject.judgement.findings if finding.blocks) - len(worst)
    return [*lines, f"{blank}and {words.count(left, 'more stop')} below"] if left else lines


def _line_of(finding: Finding) -> str:
    return f"line {finding.place.line}: " if finding.place.line else ""


def _margin(subject: Subject) -> str:
    worst = subject.results.worst
    if worst.margin_wh is None:
        return "not decided"
    name = subject.results.worst_case
    sign = "left" if worst.margin_wh >= 0 else "short"
    left = f"{abs(worst.margin_wh):.1f} Wh {sign} of {worst.usable_wh:.0f} Wh usable"
    return f"{left}, above the reserve; worst case: {name}"


def _release(subject: Subject) -> str:
    plan = subject.plan
    at = plan.events["release"].nominal
    clock = plan.clock_tolerance * at
    return (
        f"{words.duration(at)} after start ({_local(subject, at)}), clock off by up to {clock:.0f} s; "
        f"not before {words.duration(plan.interlocks.not_before_s)}, latest {words.duration(plan.interlocks.latest_s)}"
    )


def _local(subject: Subject, seconds: float) -> str:
    planned = subject.plan.planned
    return words.local(words.at(planned, seconds), planned)


def _on_deck(subject: Subject) -> str:
    limit = subject.facts.deck_limit
    return limit if limit else "no limit could be worked out"


def _surface(subject: Subject) -> str:
    from schedgen.judge import facts
    from schedgen.judge import subject as judged

    first, last = facts.surfacing(judged.Subject(subject.loaded, subject.plan))
    planned = subject.plan.planned
    light = subject.facts.daylight
    return f"{words.local(first, planned)} to {words.local(last, first)} {words.offset(planned)}; {light}"


def _beacon(subject: Subject) -> str:
    wait = subject.loaded.dive.recovery.wait.high / 3600
    endurance = subject.results.worst.endurance_after_surface_h
    return f"{words.hours(endurance)} after the latest surfacing; {words.hours(wait)} asked"


def _voltage(subject: Subject) -> str:
    worst = subject.results.worst
    if worst.lowest_voltage_v is None:
        return "not decided"
    at = worst.lowest_voltage_at_s or 0.0
    return f"lowest {worst.lowest_voltage_v:.2f} V, {words.duration(at)} after start ({worst_phase(subject, at)})"


def worst_phase(subject: Subject, at: float) -> str:
    """The phase in which the elapsed second `at` lies, by the late events (worst case)."""
    events = subject.plan.events
    for phase, event in (("deck", "splash"), ("descent", "bottom"), ("bottom", "release"), ("ascent", "surface")):
        if at < events[event].late:
            return phase
    return "surface"


def _speeds(subject: Subject) -> str:
    fall = subject.plan.fall
    return (
        f"sinks {fall.sink_speed[1]:.2f} m/s, rises {fall.rise_speed[1]:.2f} m/s; "
        f"least lift without ballast {fall.net_lift_n[0]:.0f} N"
    )


def _inputs(subject: Subject) -> str:
    guessed, assumed = subject.loaded.guessed, subject.loaded.defaults
    text = f"{len(guessed)} guessed, {len(assumed)} assumed, {len(subject.judgement.not_checked)} not checked"
    most = subject.facts.matters_most
    return f"{text}; {most} matters most" if most else text


def details(subject: Subject, paint: Paint = _plain) -> list[str]:
    """Everything below the first screen: events, findings, energy, inputs, what was not checked."""
    lines = ["", paint("Events", "bold") + "  elapsed on the controller's clock, and by the clock on deck"]
    lines += ["  " + row for row in table(event_rows(subject.plan), right=frozenset({2, 4}))]
    lines += _listing(paint("Compiled so", "bold"), [_note(note) for note in subject.plan.notes if not note.name])
    lines += _findings(subject, paint)
    lines += _listing(paint("Field changes", "bold"), choice_texts(subject.loaded.choices()))
    lines += _energy(subject, paint)
    lines += _temperatures(subject, paint)
    lines += _storage(subject, paint)
    lines += _information(subject, paint)
    lines += _listing(paint("Guessed inputs", "bold"), list(subject.loaded.guessed))
    lines += _listing(
        paint("Assumed, since the file does not say", "bold"), [f"{k}: {v}" for k, v in subject.loaded.defaults]
    )
    lines += _listing(paint("Not checked", "bold"), list(subject.judgement.not_checked))
    if subject.judgement.verdict == "go":
        lines += ["", *wrapped("No problem found in: " + ", ".join(subject.facts.clean) + ".", "", "  ")]
    lines += ["", *CAUTION]
    return lines


def stops(subject: Subject) -> list[str]:
    """The verdict in one line for the other commands, and the findings that make it no-go; empty when it is go."""
    blocking = [finding for finding in subject.judgement.findings if finding.blocks]
    if not blocking:
        return []
    names = ", ".join(dict.fromkeys(finding.name for finding in blocking))
    return [f"NO-GO as written: {names}. `schedgen check` says where and what to do."]


def _findings(subject: Subject, paint: Paint) -> list[str]:
    findings = sorted(subject.judgement.findings, key=lambda f: (f.place.line, f.place.column, f.name))
    if not findings:
        return []
    lines = ["", paint("Findings", "bold") + "  by line"]
    for finding in findings:
        where = f"@{finding.load}" if finding.load else ""
        state = f"accepted: {finding.reason}" if finding.accepted else finding.severity
        if finding.final:
            state += ", cannot be accepted"
        colour = {"stop": "red", "caution": "yellow"}.get(finding.severity, "dim")
        lines.append(f"  {_line_of(finding)}{paint(finding.name + where, colour)} ({state})")
        lines += wrapped(finding.message, "    ")
        if finding.fix:
            lines += wrapped(finding.fix, "    -> ")
    return lines


def _energy(subject: Subject, paint: Paint) -> list[str]:
    worst, nominal = subject.results.worst, subject.results.nominal
    lines = ["", paint("Energy", "bold") + "  Wh at the cells, worst case and nominal"]
    rows = [["", "worst", "nominal"]]
    rows += [
        [label, f"{getattr(worst, key):.1f}", f"{getattr(nominal, key):.1f}"]
        for label, key in (
            ("usable above the reserve", "usable_wh"),
            ("needed until the end", "needed_wh"),
            ("left", "margin_wh"),
            ("kept for the reserve", "reserve_wh"),
            ("out of reach in the cold", "cold_loss_wh"),
        )
    ]
    for load, value in worst.by_load_wh.items():
        rows.append([f"  {load}", f"{value:.1f}", f"{nominal.by_load_wh.get(load, 0.0):.1f}"])
    for phase, value in worst.by_phase_wh.items():
        rows.append([f"  in {phase}", f"{value:.1f}", f"{nominal.by_phase_wh.get(phase, 0.0):.1f}"])
    return lines + ["  " + row for row in table(rows, right=frozenset({1, 2}))]


def _temperatures(subject: Subject, paint: Paint) -> list[str]:
    """A row a phase: cells, each camera and the housing from the coldest to the warmest worst case."""
    ranges = subject.facts.temperatures
    if not ranges:
        return []
    names = list(next(iter(ranges.values())))
    rows = [["", *names]]
    rows += [[phase, *(f"{low:.1f} to {high:.1f}" for low, high in nodes.values())] for phase, nodes in ranges.items()]
    lines = ["", paint("Temperatures", "bold") + "  degC, lowest of the cold case to highest of the warm one"]
    return lines + ["  " + row for row in table(rows, right=frozenset(range(1, len(names) + 1)))]


def _storage(subject: Subject, paint: Paint) -> list[str]:
    storage = subject.facts.storage
    if not storage:
        return []
    lines = ["", paint("Cards", "bold")]
    for load, use in storage.items():
        lines.append(
            f"  {load}: {words.duration(use.recorded_s)} recorded, {use.written_gb:.0f} of {use.card_gb:.0f} GB"
        )
    return lines


def _information(subject: Subject, paint: Paint) -> list[str]:
    """Worked-out figures behind the findings, a topic a line."""
    said = subject.facts.information
    if not said:
        return []
    width = max(len(one.topic) for one in said) + 2
    lines = ["", paint("Worked out", "bold") + "  for information"]
    for one in said:
        lines += wrapped(one.text, "  " + one.topic.ljust(width), " " * (width + 2))
    return lines


def _note(note: Note) -> str:
    where = f"line {note.place.line}: " if note.place.line else ""
    return f"{where}{note.message}"


def _listing(title: str, items: list[str]) -> list[str]:
    return ["", title, *(line for item in items for line in wrapped(item, "  ", "    "))] if items else []
