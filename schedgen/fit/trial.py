"""One candidate of the search: a dive with edits, planned, simulated in the deciding corners, judged by every rule."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from schedgen.errors import BlockError, OutOfRange
from schedgen.fit.edits import Edit, changed_model

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.model import Dive
    from schedgen.files.bind import Places
    from schedgen.files.place import Place
    from schedgen.files.quantity import Quantity
    from schedgen.judge.finding import Finding
    from schedgen.load import LoadedDive
    from schedgen.measured.bench_record import BenchRecord
    from schedgen.measured.differences import Difference
    from schedgen.measured.left import Left
    from schedgen.plan.model import Plan
    from schedgen.simulate.choices import Housings

Score = Callable[["Dive", "Plan"], float]
"""What a wish wants more of."""
Demand = Callable[["Plan"], "str"]
"""What a wish asks besides: empty when it is met, else what is missing."""


@dataclass(frozen=True)
class Parts:
    """A dive with edits, in the place of the loaded one."""

    dive: Dive
    board: Board
    cell: Cell
    guessed: Sequence[str]
    places: Places
    bench: BenchRecord | None
    bench_replaced: Sequence[tuple[str, Quantity]]
    left: Left | None
    accepted_by_choices: frozenset[str] = frozenset()

    @classmethod
    def of(cls, loaded: LoadedDive, dive: Dive) -> Parts:
        """`dive`, an edited one, with all else of the loaded one; what its buttons may choose is not judged."""
        return cls(
            dive,
            loaded.board,
            loaded.cell,
            loaded.guessed,
            loaded.places,
            loaded.bench,
            loaded.bench_replaced,
            loaded.left,
        )

    @property
    def bench_differences(self) -> tuple[Difference, ...]:
        """Where the bench record and the edited dive disagree."""
        from schedgen.measured.differences import differences

        return () if self.bench is None else differences(self.dive, self.bench, self.board.board)

    def place(self, dotted: str) -> Place:
        """Where the value at `dotted` stands in the file."""
        return self.places.nearest(dotted)


@dataclass(frozen=True, slots=True)
class Trial:
    """What a candidate comes to: its scores (one a wish so far), and what stops it, as `NAME: message`."""

    scores: tuple[float, ...]
    stops: tuple[str, ...]
    room: float = math.nan
    """Energy left above the reserve in the worst case, Wh: where the search may look next. It decides nothing."""

    @property
    def passes(self) -> bool:
        """Whether nothing stops it."""
        return not self.stops


def words_of(finding: Finding) -> str:
    """`NAME@load: message`."""
    return f"{finding.name}{'@' + finding.load if finding.load else ''}: {finding.message}"


@dataclass
class Bench:
    """Tries candidates of one loaded dive and remembers them. `floors` are scores of earlier wishes that must not
    fall."""

    loaded: LoadedDive
    edits: tuple[Edit, ...] = ()
    scores: tuple[Score, ...] = ()
    floors: tuple[float, ...] = ()
    demands: tuple[Demand, ...] = ()
    tried: int = 0
    _known: dict[tuple[tuple[str, str], ...], Trial] = field(default_factory=dict, init=False, repr=False)
    _housings: dict[int, Housings] = field(default_factory=dict, init=False, repr=False)

    def trial(self, edits: Sequence[Edit]) -> Trial:
        """The candidate with these edits on top of the bench's own."""
        key = tuple((edit.path, edit.text) for edit in edits)
        if key not in self._known:
            self.tried += 1
            self._known[key] = self._judge((*self.edits, *edits))
        return self._known[key]

    def _judge(self, edits: Sequence[Edit]) -> Trial:
        from schedgen.judge import judge
        from schedgen.plan import compile_plan
        from schedgen.settings.encode import encode
        from schedgen.simulate.choices import simulate_deciding

        loaded = self.loaded
        dive = changed_model(loaded.dive, edits)
        worst = tuple(float("-inf") for _ in self.scores)
        try:
            plan = compile_plan(dive, loaded.board, loaded.places, loaded.cell)
            housings = self._housings.setdefault(dive.pack.parallel, {})
            results = simulate_deciding(dive, loaded.board, loaded.cell, plan, housings)
        except OutOfRange as trouble:
            return Trial(worst, (f"out of range: {trouble.message}",))
        block: bytes | BlockError
        try:
            block = encode(plan, list(loaded.board.outputs), round(loaded.board.eeprom.size.nominal)).block
        except BlockError as error:
            block = error
        parts = Parts.of(loaded, dive)
        found = judge(parts, plan, results, block).findings
        scores = tuple(score(dive, plan) for score in self.scores)
        stops = [words_of(finding) for finding in found if finding.blocks]
        stops += [f"the wish: {missing}" for demand in self.demands if (missing := demand(plan))]
        lost = [k for k, floor in enumerate(self.floors) if scores[k] < floor - 1e-9]
        stops += [f"the wish before it: wish {k + 1} would be met less well" for k in lost]
        return Trial(scores, tuple(stops), results.worst.margin_wh)
