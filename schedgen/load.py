"""The public face: `load(path)` reads a dive with its board and cell, and gives everything that follows from them."""

from __future__ import annotations

import sys
from collections.abc import Iterable, Mapping
from dataclasses import replace
from functools import cached_property
from pathlib import Path
from types import ModuleType
from typing import TYPE_CHECKING, Any

from schedgen.dive.board_rules import board_troubles
from schedgen.dive.defaults import assumptions, guessed_inputs
from schedgen.dive.model import Dive
from schedgen.dive.read import ReadDive, read_dive
from schedgen.dive.vehicle import After, RestVoltage
from schedgen.errors import FileProblems, OutOfRange, Problem
from schedgen.files.bind import Places, problem_at
from schedgen.files.place import Place
from schedgen.files.tree import Tree, parse_tree, read_tree
from schedgen.files.trouble import Trouble, did_you_mean, listing, shown

if TYPE_CHECKING:
    from schedgen.board.cell import Cell
    from schedgen.board.model import Board
    from schedgen.dive.vehicle import Site, WaterRow
    from schedgen.files.quantity import Quantity
    from schedgen.judge import Judgement
    from schedgen.judge.buttons import Choice
    from schedgen.measured.bench_record import BenchRecord
    from schedgen.measured.differences import Difference
    from schedgen.measured.left import Left
    from schedgen.plan.model import Plan
    from schedgen.report.notebook import Picture
    from schedgen.settings import Settings
    from schedgen.simulate import Results
    from schedgen.simulate.chances import Chances
    from schedgen.simulate.columns import Column


class LoadedDive:
    """A dive that can be used, with its board, its cell, and where each value stands.

    `plan`, `simulate`, `settings` and `check` are worked out once, when first asked for. `bench` is the bench record
    that the file names, `left` what the dive before left in the pack; `dive` has what was measured in place of what
    was guessed or left open, `written` is the dive as written.
    """

    def __init__(
        self,
        dive: Dive,
        board: Board,
        cell: Cell,
        path: Path,
        places: Places,
        bench: BenchRecord | None = None,
        left: Left | None = None,
    ) -> None:
        self.written = dive
        self.bench = bench
        self.left = left
        self.dive = _measured(dive, bench, left)
        self.board = board
        self.cell = cell
        self.path = path
        self.places = places

    def place(self, dotted: str) -> Place:
        """Where the value at `dotted` stands (list items from 0); where it was left out, the section it belongs to."""
        return self.places.nearest(dotted)

    @cached_property
    def guessed(self) -> list[str]:
        """Dotted paths of the guessed inputs."""
        return guessed_inputs(self.dive)

    @cached_property
    def defaults(self) -> list[tuple[str, str]]:
        """(dotted path, what is assumed) for what the file leaves out."""
        return assumptions(self.dive, self.cell)

    @cached_property
    def bench_differences(self) -> tuple[Difference, ...]:
        """Where the bench record and the file disagree."""
        if self.bench is None:
            return ()
        from schedgen.measured.differences import differences

        return differences(self.written, self.bench, self.board.board)

    @cached_property
    def bench_replaced(self) -> tuple[tuple[str, Quantity], ...]:
        """(dotted path, measured value) of the guesses in whose place the bench record's values stand."""
        if self.bench is None:
            return ()
        from schedgen.measured.bench_record import replaced

        return replaced(self.written, self.bench)

    def plan(self) -> Plan:
        """The Plan: events as intervals, windows and edges of each output, and which field changes may be chosen.

        Raises FileProblems, OutOfRange.
        """
        return self._plan

    def choices(self) -> tuple[Choice, ...]:
        """Every combination of field changes with why it is not offered, in the order of `plan().allowed_changes`."""
        return self._choices

    @property
    def accepted_by_choices(self) -> frozenset[str]:
        """Keys of `accept` that some combination of field changes needs."""
        return frozenset(key for choice in self._choices for key in choice.accepted)

    def simulate(self) -> Results:
        """Every case of the dive: nominal, the worst corners, what goes wrong on top. Raises OutOfRange."""
        return self._results

    def settings(self) -> Settings:
        """The settings block and its dive code. Raises BlockError when the plan does not fit one."""
        return self._settings

    def check(self) -> Judgement:
        """The verdict and all findings."""
        return self._judgement

    def course(self, case: str = "nominal") -> Mapping[str, Column]:
        """The course of a case: name to (numpy array, unit), all of one length. Raises KeyError for another case."""
        from schedgen.simulate.columns import columns

        return columns(self._results.cases[case].trace)

    def chances(self, runs: int = 10_000, seed: int = 1) -> Chances:
        """`runs` sampled dives: the chance that each margin holds. The same seed gives the same. Raises OutOfRange."""
        from schedgen.simulate.chances import chances

        return chances(self.dive, self.board, self.cell, self._compiled, runs, seed)

    def picture(self) -> Picture:
        """The dive on one page, shown by a notebook. Raises UsageError without the library matplotlib."""
        from schedgen.report.notebook import picture_of

        return picture_of(self)

    def _repr_html_(self) -> str:
        """What a notebook shows."""
        from schedgen.report.notebook import dive_html

        return dive_html(self)

    @cached_property
    def _compiled(self) -> Plan:
        from schedgen.plan import compile_plan

        return compile_plan(self.dive, self.board, self.places, self.cell)

    @cached_property
    def _choices(self) -> tuple[Choice, ...]:
        if not self._compiled.field_changes:
            return ()
        from schedgen.judge.buttons import judged_choices
        from schedgen.judge.subject import Subject

        return judged_choices(Subject(self, self._compiled, self._results))

    @cached_property
    def _plan(self) -> Plan:
        if not self._choices:
            return self._compiled
        return replace(self._compiled, allowed_changes=tuple(choice.allowed for choice in self._choices))

    @cached_property
    def _results(self) -> Results:
        from schedgen.simulate import simulate

        return simulate(self.dive, self.board, self.cell, self._compiled)

    @cached_property
    def _settings(self) -> Settings:
        from schedgen.settings.encode import encode

        return encode(self._plan, list(self.board.outputs), round(self.board.eeprom.size.nominal))

    @cached_property
    def _judgement(self) -> Judgement:
        from schedgen.errors import BlockError
        from schedgen.judge import judge

        try:
            block: Any = self._settings.block
        except BlockError as error:
            block = error
        return judge(self, self._plan, self._results, block)


def _measured(dive: Dive, bench: BenchRecord | None, left: Left | None) -> Dive:
    if bench is not None:
        from schedgen.measured.bench_record import with_bench

        dive = with_bench(dive, bench)
    if left is not None:
        from schedgen.measured.left import with_left

        dive = with_left(dive, left)
    return dive


def load(path: str | Path) -> LoadedDive:
    """The dive in the file at `path`, with the board and the cell that it names.

    Raises `FileProblems` with the problems of all three files together.
    """
    return _loaded(read_tree(path), path)


def load_text(text: str, path: str | Path) -> LoadedDive:
    """The dive in `text`, as if it stood in the file at `path`: boards and cells are looked for from there.

    Raises `FileProblems` as `load` does.
    """
    return _loaded(parse_tree(text, str(path)), path)


def _loaded(tree: Tree, path: str | Path) -> LoadedDive:
    read = read_dive(tree)
    problems = list(read.problems)
    folder = Path(path).parent
    board = _board(read, folder, problems)
    cell = _cell(read, folder, problems)
    if board is not None:
        problems += [problem_at(read.tree, (), trouble) for trouble in board_troubles(read.sections, board)]
    bench = _bench(read, folder, problems)
    left = _left(read, folder, cell, problems)
    if not problems and read.dive is not None:
        problems += _impossible_water(read, read.dive)
        problems += _unknown_materials(read, read.dive)
    if not problems and read.dive is not None and cell is not None:
        problems += _impossible_charge(read, read.dive, cell)
    if problems or read.dive is None or board is None or cell is None:
        raise FileProblems(problems)
    return LoadedDive(read.dive, board, cell, Path(path), read.places, bench, left)


def _board(read: ReadDive, folder: Path, problems: list[Problem]) -> Board | None:
    from schedgen.board.load import load_board

    if not read.board.strip("? "):
        return None
    try:
        return load_board(read.board, folder)
    except FileProblems as error:
        problems += [_placed(read, ("board",), problem) for problem in error.problems]
    return None


def _cell(read: ReadDive, folder: Path, problems: list[Problem]) -> Cell | None:
    from schedgen.board.load import cell_inside, load_cell

    try:
        if isinstance(read.cell, str):
            return load_cell(read.cell, folder) if read.cell.strip("? ") else None
        return cell_inside(read.tree, ("pack", "cell"))
    except FileProblems as error:
        problems += [_placed(read, ("pack", "cell"), problem) for problem in error.problems]
    return None


def _bench(read: ReadDive, folder: Path, problems: list[Problem]) -> BenchRecord | None:
    """The bench record that the dive names."""
    if read.dive is None or read.dive.bench is None:
        return None
    from schedgen.measured.bench_record import load_bench_record

    try:
        return load_bench_record(folder / read.dive.bench)
    except FileProblems as error:
        problems += [_placed(read, ("bench",), problem) for problem in error.problems]
    return None


def _placed(read: ReadDive, where: tuple[str, ...], problem: Problem) -> Problem:
    """A problem with no line of its own (no such board, say) goes to the line that names the file."""
    if problem.line:
        return problem
    return problem_at(read.tree, where, Trouble(problem.message, problem.expected, problem.example, problem.next))


def _impossible_water(read: ReadDive, dive: Dive) -> list[Problem]:
    """Rows of the water profile that lie outside the range of the equation of state, each with its bound."""
    site = dive.site
    expected = "water that can be: liquid, and fresh, brackish or of the sea"
    problems = []
    for index, row in enumerate(site.water):
        try:
            _weigh(site, row)
        except OutOfRange as error:
            trouble = Trouble(f"{error}.", expected, "", error.next_step)
            problems.append(problem_at(read.tree, ("site", "water", index), trouble))
    return problems


def _unknown_materials(read: ReadDive, dive: Dive) -> list[Problem]:
    """Materials that the physics has no figures for: the housing's wall, and a burn wire that was not tested."""
    from schedgen.physics.heat import MATERIALS
    from schedgen.physics.release import METALS

    used: list[tuple[str, Iterable[str], tuple[str, ...], str]] = []
    if dive.vehicle.housing is not None:
        used.append((dive.vehicle.housing.material, MATERIALS, ("vehicle", "housing", "material"), "the nearest one"))
    for key, actuator in (("primary", dive.release.primary), ("backup", dive.release.backup)):
        if actuator is not None and actuator.kind == "burn wire" and actuator.wire is not None and not actuator.tested:
            step = "one of these, or a measured time under tested"
            used.append((actuator.wire.metal, METALS, ("release", key, "wire", "metal"), step))
    problems = []
    for name, known, where, step in used:
        names = list(known)
        if name.strip().lower() not in names:
            message = f"There are no figures for {shown(name)}. {did_you_mean(name, names)}".strip()
            problems.append(problem_at(read.tree, where, Trouble(message, listing(names), names[0], f"Write {step}.")))
    return problems


def _impossible_charge(read: ReadDive, dive: Dive, cell: Cell) -> list[Problem]:
    """A rested voltage that no cell of this kind has."""
    charge = dive.pack.charge
    if not isinstance(charge, RestVoltage):
        return []
    try:
        for volts in (charge.rest_voltage.low, charge.rest_voltage.high):
            cell.tables.charge_at(volts / dive.pack.series)
    except OutOfRange as error:
        trouble = Trouble(
            f"{charge.rest_voltage} over {dive.pack.series} cells in series: {error}.",
            "the voltage of the whole pack at rest",
            "",
            error.next_step or "Check the voltage and pack.series.",
        )
        return [problem_at(read.tree, ("pack", "charge", "rest_voltage"), trouble)]
    return []


def _weigh(site: Site, row: WaterRow) -> None:
    from schedgen.physics import seawater

    pressure = float(seawater.pressure(row.depth.high, site.latitude.nominal))
    for salinity in (row.salinity.low, row.salinity.high):
        for temperature in (row.temperature.low, row.temperature.high):
            seawater.density(salinity, temperature, pressure, site.latitude.nominal, site.longitude.nominal)


def _left(read: ReadDive, folder: Path, cell: Cell | None, problems: list[Problem]) -> Left | None:
    """What the dive before left in the pack, where the charge is said so."""
    if read.dive is None or not isinstance(read.dive.pack.charge, After):
        return None
    from schedgen.measured.journal_file import load_left
    from schedgen.measured.left import left_troubles

    named = read.dive.pack.charge.after
    try:
        left = load_left(folder / named)
    except FileProblems as error:
        problems += [_placed(read, ("pack", "charge", "after"), problem) for problem in error.problems]
        return None
    if cell is not None:
        problems += [problem_at(read.tree, (), one) for one in left_troubles(read.dive, cell, left, named)]
    return left


class _CallableModule(ModuleType):
    """`schedgen.load` is this module once it has been imported; calling it does what the function does."""

    def __call__(self, path: str | Path) -> LoadedDive:
        return load(path)


sys.modules[__name__].__class__ = _CallableModule
