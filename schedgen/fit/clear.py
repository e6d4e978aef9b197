"""The smallest change of each single input that clears a finding, by bisection over the rules themselves."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from schedgen.dive.times import When
from schedgen.errors import BlockError, OutOfRange, UsageError
from schedgen.files.quantity import Quantity, write_duration, write_value
from schedgen.fit.edits import Edit, changed_model
from schedgen.fit.trial import Parts
from schedgen.judge.guesses import value_at
from schedgen.judge.judging import judge_subject
from schedgen.judge.names import FINDINGS
from schedgen.judge.rules import all_rules
from schedgen.judge.subject import Missing, Outcome, Subject

if TYPE_CHECKING:
    from schedgen.judge.finding import Finding
    from schedgen.load import LoadedDive

FACTORS = (1.1, 1.25, 1.5, 2.0, 3.0, 5.0, 10.0)
"""A value is tried at so many times as much and as little, until the finding goes."""
SHIFTS_S = (600.0, 1800.0, 3600.0, 7200.0, 4 * 3600.0, 8 * 3600.0, 24 * 3600.0)
COUNTS = (1, 2, 4, 10)
FIXED = ("latitude", "longitude", "planned", "density", "format")
"""Last keys of values that nobody chooses for a dive."""
MOST_PROBES = 40


@dataclass(frozen=True, slots=True)
class Clearing:
    """One input that clears a finding alone: its dotted path, as written, and the smallest change found."""

    path: str
    old: str
    new: str
    share: float
    """The change as a share of the old value, in hours for a time, in counts for a count: for the order."""
    edit: Edit


def clearings(
    loaded: LoadedDive,
    finding: Finding,
    told: Callable[[int, int], None] | None = None,
    valid: Callable[[Edit], bool] | None = None,
) -> list[Clearing]:
    """Every input of the dive file that clears the finding alone, the smallest change first within each kind.

    An input is a quantity, a count or a time that the file has. A change counts when the finding is gone and no new
    stop has come. `told` is called with inputs done and in all; `valid` says whether the file could hold an edit.
    """
    tests = _Tests(loaded, finding)
    paths = [path for path in loaded.places if path.rpartition(".")[2] not in FIXED]
    out = []
    for done, path in enumerate(paths):
        if told is not None:
            told(done, len(paths))
        value = value_at(loaded.dive, path)
        found = [one for way in (1, -1) if (one := _one_way(path, value, way, tests.still)) is not None]
        good = [one for one in found if (valid is None or valid(one.edit)) and tests.clears(one.edit)]
        out += [min(good, key=lambda one: one.share)] if good else []
    return sorted(out, key=lambda one: (one.path.startswith("site."), one.share))


class _Tests:
    """Whether a finding stands with an edit: quickly, by its own rule alone; and for certain, by every rule."""

    def __init__(self, loaded: LoadedDive, finding: Finding) -> None:
        self.loaded, self.finding = loaded, finding
        self.rules = tuple(rule for rule in all_rules() if finding.name in rule.names)
        self.stop = FINDINGS[finding.name].severity == "stop"
        self.margin_wh = loaded.simulate().worst.margin_wh
        self.before = {(f.name, f.load) for f in loaded.check().findings if f.severity == "stop"}

    def _subject(self, edit: Edit, simulated: bool) -> Subject:
        """The dive with the edit. Raises OutOfRange, and UsageError for what is no part of it."""
        from schedgen.plan import compile_plan
        from schedgen.settings.encode import encode
        from schedgen.simulate import simulate
        from schedgen.simulate.choices import simulate_deciding

        loaded = self.loaded
        dive = changed_model(loaded.dive, [edit])
        plan = compile_plan(dive, loaded.board, loaded.places, loaded.cell)
        run = simulate_deciding if self.stop else simulate
        results = run(dive, loaded.board, loaded.cell, plan) if simulated else None
        parts = Parts.of(loaded, dive)
        try:
            block = encode(plan, list(loaded.board.outputs), round(loaded.board.eeprom.size.nominal)).block
        except BlockError as error:
            return Subject(parts, plan, results, error)
        return Subject(parts, plan, results, None, len(block))

    def _same(self, found: Iterable[Outcome]) -> bool:
        """Whether the finding is among them; one that could not be decided counts as still there."""
        mine = self.finding
        return any(
            one.name == mine.name
            and one.load == mine.load
            and (isinstance(one, Missing) or one.severity == mine.severity)
            for one in found
        )

    def still(self, edit: Edit) -> bool:
        """By the finding's own rule."""
        if not self.rules:
            return not self.clears(edit)
        try:
            subject = self._subject(edit, any(rule.simulated for rule in self.rules))
            return self._same(one for rule in self.rules for one in rule.decide(subject))
        except (OutOfRange, UsageError):
            return True

    def clears(self, edit: Edit) -> bool:
        """By every rule: the finding is gone, no new stop has come, and a reserve that is short is no shorter."""
        try:
            subject = self._subject(edit, True)
            found = judge_subject(subject).findings
        except (OutOfRange, UsageError):
            return False
        if subject.run.worst.margin_wh < min(0.0, self.margin_wh):
            return False
        stops = {(f.name, f.load) for f in found if f.severity == "stop"}
        return not self._same(found) and not stops - self.before


def _one_way(path: str, value: Any, way: int, still: Callable[[Edit], bool]) -> Clearing | None:
    for turn in _turns(path, value, way):
        clear: float | None = None
        holds = turn.start
        for size in turn.sizes:
            edit = turn.edit(size)
            if edit is None:
                break
            if not still(edit):
                clear = size
                break
            holds = size
        if clear is None:
            return None
        for _ in range(MOST_PROBES):
            if abs(clear - holds) <= turn.close:
                break
            middle = turn.between(holds, clear)
            edit = turn.edit(middle)
            if edit is None or still(edit):
                holds = middle
            else:
                clear = middle
        edit = turn.edit(clear)
        assert edit is not None
        return Clearing(path, turn.old, edit.text, turn.share(clear), edit)
    return None


@dataclass(frozen=True, slots=True)
class _Turn:
    """How one value is turned one way: sizes to try, the edit of a size (None: it cannot be), how near is enough."""

    old: str
    start: float
    sizes: tuple[float, ...]
    edit: Callable[[float], Edit | None]
    between: Callable[[float, float], float]
    share: Callable[[float], float]
    close: float


def _turns(path: str, value: Any, way: int) -> Iterator[_Turn]:
    if isinstance(value, bool):
        return
    if isinstance(value, int):
        yield _Turn(str(value), 0.0, tuple(map(float, COUNTS)), lambda n: _count(path, value, way, n),
                    lambda a, b: float(round((a + b) / 2)), lambda n: n, 1.0)  # fmt: skip
    elif isinstance(value, When) and value.instant is None:
        yield _Turn(value.text, 0.0, SHIFTS_S, lambda s: _time(path, value, way, s),
                    lambda a, b: float(round((a + b) / 2)), lambda s: s / 3600.0, 1.0)  # fmt: skip
    elif isinstance(value, Quantity) and value.nominal:
        yield _Turn(str(value), 1.0, FACTORS, lambda f: _scaled(path, value, f if way > 0 else 1.0 / f),
                    lambda a, b: math.sqrt(a * b), lambda f: f - 1.0, 0.002)  # fmt: skip


def _count(path: str, value: int, way: int, steps: float) -> Edit | None:
    new = value + way * round(steps)
    return Edit(path, str(new), new) if new >= 1 else None


def _time(path: str, value: When, way: int, seconds: float) -> Edit | None:
    offset = value.offset_s + way * round(seconds)
    text = value.base if not offset else f"{value.base} {'+' if offset > 0 else '-'} {write_duration(abs(offset))}"
    return Edit(path, text, replace(value, offset_s=offset, text=text))


def _scaled(path: str, value: Quantity, factor: float) -> Edit | None:
    """The quantity times a factor, its nominal value on four digits away from the old one; None beyond 100 %."""
    nominal = _away(value.nominal * factor, value.nominal)
    if path.endswith(".level") or ".values." in path:  # whole percents
        nominal = (math.ceil if factor > 1 else math.floor)(round(nominal * 100, 6)) / 100
        if nominal <= 0:
            return None
    exact = nominal / value.nominal
    low = nominal if value.low == value.nominal else min(value.low * exact, nominal)
    high = nominal if value.high == value.nominal else max(value.high * exact, nominal)
    made = Quantity(low, nominal, high, value.form, "", value.unit)
    if value.unit == "%" and made.high > 1.0 + 1e-9:
        return None
    sign = next((sign for sign in ("±", "+/-") if sign in value.text), "")
    tolerance = value.text.partition(sign)[2].strip() if sign else ""
    if tolerance.endswith("%") and value.unit != "%":
        text = f"{write_value(nominal, value.unit)} {sign} {tolerance}"
    else:
        text = made.written()
    return Edit(path, text, replace(made, text=text))


def _away(value: float, old: float) -> float:
    """Four significant digits, rounded away from the old value."""
    step = 10.0 ** (math.floor(math.log10(abs(value))) - 3)
    up = abs(value) > abs(old)
    count = math.ceil(abs(value) / step - 1e-9) if up else math.floor(abs(value) / step + 1e-9)
    return math.copysign(count * step, value)
