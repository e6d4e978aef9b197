"""Wishes in order to the best dive that passes, with its proof: it passes a whole check, one step beyond does not."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import TYPE_CHECKING

from schedgen.fit.edits import Edit, changed_text, patch
from schedgen.fit.search import Found, Knob, best, joined
from schedgen.fit.trial import Bench, words_of
from schedgen.fit.wishes import Wish

if TYPE_CHECKING:
    from schedgen.load import LoadedDive

Reader = Callable[[str], "LoadedDive"]
"""The text of a dive file to the dive."""


@dataclass(frozen=True, slots=True)
class Beyond:
    """One step further than the answer: of which value, what it would be, and what stops it (`NAME: message`)."""

    path: str
    text: str
    stops: tuple[str, ...]
    edits: tuple[Edit, ...] = field(default=(), repr=False)


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of one wish. `met` is False where no value passes: `binds` then says what stands in the way."""

    wish: str
    met: bool
    before: str
    after: str
    values: tuple[tuple[str, str], ...] = ()
    """Dotted path and new text of everything this wish changes."""
    beyond: tuple[Beyond, ...] = ()
    """The steps further that were checked: each is stopped."""
    at_its_end: tuple[str, ...] = ()
    """Paths of values that can go no further: their range ends there."""
    binds: tuple[str, ...] = ()
    remark: str = ""


@dataclass(frozen=True, slots=True)
class Fit:
    """The answers in the order of the wishes, the new text of the file, the patch, and how it is proven."""

    answers: tuple[Answer, ...]
    text: str
    patch: str
    verdict: str
    """Of a whole check of the new text."""
    tried: int
    """Candidates that were judged."""
    offered: tuple[int, int, int] = (0, 0, 0)
    """Combinations of field changes that the buttons may choose: now, as written, and of how many."""

    @property
    def met(self) -> bool:
        """Whether every wish is met and the new file passes."""
        return all(answer.met for answer in self.answers) and self.verdict == "go"

    @property
    def proven(self) -> bool:
        """Whether the new file passes a whole check and each step beyond it does not."""
        return self.met and all(step.stops for answer in self.answers for step in answer.beyond)


def fit(loaded: LoadedDive, text: str, wishes: Sequence[Wish], read: Reader, file: str = "dive.yaml") -> Fit:
    """The dive file `text` (which gave `loaded`), changed so that each wish in turn is met as well as it can be while
    every stop finding stays away in the worst case; a later wish never takes from an earlier one.

    `read` reads a text as a dive, for the proof. After a wish that cannot be met the later ones are not tried. Raises
    UsageError where a wish turns nothing in this dive, or its value cannot be edited in place.
    """
    bench = Bench(loaded)
    answers: list[Answer] = []
    now, new = loaded, text
    for wish in wishes:
        bench = replace(
            bench,
            loaded=now,
            scores=(*bench.scores, wish.score),
            demands=(*bench.demands, *([wish.demand] if wish.demand else [])),
        )
        answer, found, edits = _grant(wish, bench)
        answers.append(answer)
        if found is None:
            break
        new = changed_text(new, edits, file)
        now = read(new) if edits else now
        answers[-1] = replace(answer, beyond=_proof(answer, new, read, file))
        bench = replace(bench, floors=(*bench.floors, found.score))
    verdict = now.check().verdict
    allowed, written = ([choice.allowed for choice in one.choices()] for one in (now, loaded))
    offered = (sum(allowed), sum(written), len(allowed))
    return Fit(tuple(answers), new, patch(text, new, file), verdict, bench.tried, offered)


def _grant(wish: Wish, bench: Bench) -> tuple[Answer, Found | None, tuple[Edit, ...]]:
    """The best candidate for one wish."""
    knobs = wish.knobs(bench.loaded)
    plain = bench.trial(())
    before = wish.says(wish.score(bench.loaded.dive, bench.loaded.plan()))
    found = best(knobs, bench.trial)
    if found is None:
        easiest = _easiest(knobs, bench)
        return Answer(wish.words, False, before, before, binds=easiest or plain.stops, remark=wish.remark), None, ()
    if plain.passes and found.score <= plain.scores[-1] + 1e-9:
        found = Found(tuple(knob.now for knob in knobs), plain.scores[-1])
    edits = tuple(
        edit for knob, value in zip(knobs, found.values, strict=True) if value != knob.now for edit in knob.edits(value)
    )
    beyond, ends = [], []
    for knob, value in zip(knobs, found.values, strict=True):
        further = value + knob.better
        if not knob.low <= further <= knob.high:
            ends.append(knob.label)
            continue
        values = [further if other is knob else v for other, v in zip(knobs, found.values, strict=True)]
        stops = bench.trial(joined(knobs, values)).stops
        edits_beyond = knob.edits(further)
        beyond.append(Beyond(knob.label, edits_beyond[0].text, stops, edits_beyond))
    answer = Answer(
        wish.words,
        True,
        before,
        wish.says(found.score),
        tuple((edit.path, edit.text) for edit in edits),
        tuple(beyond),
        tuple(ends),
        _names([stop for step in beyond for stop in step.stops]),
        wish.remark,
    )
    return answer, found, edits


def _proof(answer: Answer, text: str, read: Reader, file: str) -> tuple[Beyond, ...]:
    """Each step beyond, made in the text of the file and given a whole check."""
    proven = []
    for step in answer.beyond:
        if any(stop.startswith("the wish") for stop in step.stops):
            proven.append(step)  # stopped by a wish, which a check knows nothing of
            continue
        checked = read(changed_text(text, step.edits, file)).check()
        proven.append(replace(step, stops=tuple(words_of(f) for f in checked.findings if f.blocks)))
    return tuple(proven)


def _easiest(knobs: Sequence[Knob], bench: Bench) -> tuple[str, ...]:
    """What stops the candidate that asks least."""
    worst = [knob.low if knob.better > 0 else knob.high for knob in knobs]
    return _names(bench.trial(joined(knobs, worst)).stops)


def _names(stops: Sequence[str]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(stops))
