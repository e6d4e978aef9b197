"""What `schedgen check FOLDER` does: all dive files of a season in parallel, in one table."""

from __future__ import annotations

import os
import re
import sys
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

from schedgen.commands.common import console, write_json

if TYPE_CHECKING:
    from schedgen.files.tree import Node
    from schedgen.load import LoadedDive

_DIVE = re.compile(rb"^(?:\xef\xbb\xbf)?[\"']?dive[\"']?[ \t]*:", re.MULTILINE)
FEW = 3
"""Up to so many files are checked in this process: another takes longer to start than they take."""


def check_folder(folder: str, as_json: bool, no_cache: bool, alone: bool) -> int:
    """Check every dive file in `folder` and below. 2 where one cannot be read, else 1 where one is no-go, else 0."""
    from schedgen.commands.cache import Cache, here
    from schedgen.errors import UsageError
    from schedgen.report.console import Console, Progress
    from schedgen.report.season import season_lines, season_record

    if not alone:
        raise UsageError("A folder is checked as a whole.", "give one file with --why, --splashed or --started")
    files = dive_files(Path(folder))
    if not files:
        raise UsageError(f"There is no dive file in {folder}.", "a dive file has a key `dive:` and ends in .yaml")
    cache = Cache(None if no_cache else here())
    rows: dict[Path, dict[str, Any]] = {}
    for path in files:
        kept = cache.get(path)
        if kept is not None:
            rows[path] = {**kept, "file": str(path), "from_cache": True}
    left = [path for path in files if path not in rows]
    progress = Progress(Console(sys.stderr), f"checking {folder}", "dives")
    for path, row, made_from in checked(left):
        rows[path] = {**row, "from_cache": False}
        if row["verdict"] != "unreadable":
            cache.put(path, [Path(name) for name in made_from], row)
        progress(len(rows), len(files))
    progress.close()
    if left:
        cache.tidy()
    ordered = [rows[path] for path in files]
    if as_json:
        write_json(season_record(folder, ordered))
    else:
        out = console()
        out.lines(season_lines(folder, ordered, out.paint))
    verdicts = {row["verdict"] for row in ordered}
    return 2 if "unreadable" in verdicts else 1 if "no-go" in verdicts else 0


def dive_files(folder: Path) -> list[Path]:
    """YAML files in `folder` and below that have a key `dive` at their top, in the order of names; nothing hidden."""
    found = []
    for path in sorted(folder.rglob("*")):
        hidden = any(part.startswith(".") for part in path.relative_to(folder).parts)
        if hidden or path.suffix.lower() not in (".yaml", ".yml") or not path.is_file():
            continue
        try:
            if _DIVE.search(_plain(path.read_bytes())):
                found.append(path)
        except OSError:
            found.append(path)  # checking it will say why it cannot be read
    return found


def _plain(data: bytes) -> bytes:
    """UTF-16 of an editor without its zeros, so that a key is found in it."""
    return data.replace(b"\0", b"") if b"\0" in data[:200] else data


def checked(files: Sequence[Path]) -> Iterator[tuple[Path, dict[str, Any], list[str]]]:
    """Each file with its row and the files that it was made from, as they are done."""
    workers = min(len(files), os.cpu_count() or 1, 60)
    if len(files) <= FEW or workers < 2:
        for path in files:
            yield (path, *check_one(str(path)))
        return
    import multiprocessing
    from concurrent.futures import ProcessPoolExecutor, as_completed

    with ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn")) as pool:
        jobs = {pool.submit(check_one, str(path)): path for path in files}
        for job in as_completed(jobs):
            yield (jobs[job], *job.result())


def check_one(file: str) -> tuple[dict[str, Any], list[str]]:
    """The row of one dive file, and the files that it was made from. Never raises for what a file may hold."""
    from schedgen.errors import FileProblems, SchedgenError
    from schedgen.load import load

    try:
        loaded = load(file)
        return _row(loaded, file), [str(path) for path in made_from(loaded)]
    except FileProblems as error:
        first = error.problems[0] if error.problems else None
        where = f"line {first.line}: " if first is not None and first.line else ""
        message = f"{where}{first.message}" if first is not None else error.message
        return _unreadable(file, len(error.problems), message), []
    except SchedgenError as error:
        return _unreadable(file, 1, error.message), []


def _unreadable(file: str, count: int, message: str) -> dict[str, Any]:
    return {
        "file": file, "verdict": "unreadable", "code": None, "name": None, "margin_wh": None, "worst_case": None,
        "release": None, "surface": None, "stops": [], "cautions": 0, "accepted": 0, "problems": count,
        "first": message,
    }  # fmt: skip


def _row(loaded: LoadedDive, file: str) -> dict[str, Any]:
    from datetime import timedelta

    from schedgen.errors import BlockError

    judgement, plan, results = loaded.check(), loaded.plan(), loaded.simulate()
    try:
        code: str | None = loaded.settings().code
    except BlockError:
        code = None
    stops = [finding for finding in judgement.findings if finding.blocks]
    surface = plan.true_events["surface"]
    return {
        "file": file,
        "verdict": judgement.verdict,
        "code": code,
        "name": plan.name,
        "margin_wh": round(results.worst.margin_wh, 3),
        "worst_case": results.worst_case,
        "release": (plan.planned + timedelta(seconds=plan.events["release"].nominal)).isoformat(timespec="seconds"),
        "surface": [
            (plan.planned + timedelta(seconds=round(at))).isoformat(timespec="seconds")
            for at in (surface.early, surface.late)
        ],
        "stops": [finding.name + (f"@{finding.load}" if finding.load else "") for finding in stops],
        "cautions": sum(f.severity == "caution" and not f.accepted for f in judgement.findings),
        "accepted": sum(f.accepted for f in judgement.findings),
        "problems": 0,
        "first": f"line {stops[0].place.line}: {stops[0].message}" if stops else "",
    }


def made_from(loaded: LoadedDive) -> list[Path]:
    """The files that a dive was made from besides itself: board, cell, and any file that it names."""
    from schedgen.board.load import find_board, find_cell
    from schedgen.errors import FileProblems
    from schedgen.files.tree import read_tree

    folder = loaded.path.parent
    found = {find_board(loaded.dive.board, folder)}
    for text in _texts(read_tree(loaded.path).root):
        try:
            named = find_cell(text, folder)
        except FileProblems:
            named = folder / text
        if len(text) < 255 and "\n" not in text and named.is_file():
            found.add(named)
    return sorted(path.resolve() for path in found)


def _texts(node: Node) -> Iterator[str]:
    """Every text of a tree that could name a file or a cell."""
    from schedgen.files.tree import Leaf, Series, Table

    waiting: list[Node] = [node]
    while waiting:
        here = waiting.pop()
        if isinstance(here, Leaf):
            if here.text and "\0" not in here.text:
                yield here.text
        elif isinstance(here, Series):
            waiting += here.items
        elif isinstance(here, Table):
            waiting += [value for _, value in here.entries.values()]
