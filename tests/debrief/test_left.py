"""What a dive left in its pack: found from the journal, kept in it, and where the next dive begins from."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from flown import KEPT_STEP_V, flight, readings

from schedgen.commands import main
from schedgen.errors import FileProblems, Problem
from schedgen.load import LoadedDive, load
from schedgen.measured.journal import Journal
from schedgen.measured.journal_file import load_journal, load_left, write_journal

JOURNAL = "journal.yaml"
LATER = ("2027-04-19T06:40", "2027-05-20T06:40")
LINE = "charge: 98 %"


def journal_of(loaded: LoadedDive, factor: float, health: float, until_s: int) -> Journal:
    plan = loaded.plan()
    told = tuple(one for one in readings(loaded, factor, health=health) if one.at_s <= until_s)
    return Journal(
        "halyard-4809", "", loaded.settings().code, "at surface", until_s, 0, 8, 11.4, plan.release_s, None, (),
        KEPT_STEP_V, told,
    )  # fmt: skip


@pytest.fixture(scope="module")
def record(folder: Path, loaded: LoadedDive) -> Path:
    """The journal of the demo with 15 % more load, recovered 27 h before its end, through the command."""
    raw = folder / "raw.yaml"
    raw.write_text(write_journal(journal_of(loaded, 1.15, 0.94, loaded.plan().end_s - 100_000)), encoding="utf-8")
    assert main(["debrief", str(folder / "dive.yaml"), "--journal", str(raw), "--save", str(folder / JOURNAL)]) == 0
    return folder / JOURNAL


def written(folder: Path, *edits: tuple[str, str]) -> Path:
    text = (folder / "dive.yaml").read_text(encoding="utf-8")
    for old, new in edits:
        assert text.count(old) == 1, old
        text = text.replace(old, new)
    (folder / "next.yaml").write_text(text, encoding="utf-8")
    return folder / "next.yaml"


def after(file: str, more: str = "") -> tuple[str, str]:
    return LINE, f"charge: {{after: {file}}}{more}"


def problems(path: Path) -> tuple[Problem, ...]:
    with pytest.raises(FileProblems) as caught:
        load(path)
    return caught.value.problems


def pointed(problem: Problem) -> str:
    return problem.source[problem.column - 1 :]


@pytest.mark.parametrize(("factor", "health"), [(1.15, 0.94), (0.9, 0.92), (1.0, 0.965)])
@pytest.mark.parametrize("short_s", [0, 100_000])
def test_the_charge_that_is_left_lies_in_the_interval_that_is_told(
    capsys: Any, tmp_path: Path, loaded: LoadedDive, factor: float, health: float, short_s: int
) -> None:
    # expected: the charge of a second, plain integrator (tests/debrief/flown.py), which the journal does not hold
    until = loaded.plan().end_s - short_s
    (tmp_path / JOURNAL).write_text(write_journal(journal_of(loaded, factor, health, until)), encoding="utf-8")
    capsys.readouterr()
    main(["debrief", str(loaded.path), "--journal", str(tmp_path / JOURNAL), "--json"])
    told = json.loads(capsys.readouterr().out)["left"]
    charges = flight(loaded, factor, health)[1]
    true = float(np.interp(until, [at for at, _ in charges], [charge for _, charge in charges]))
    assert told["low"] <= true <= told["high"]
    assert told["high"] - told["low"] < 0.04


def test_the_saved_journal_is_the_same_journal_and_holds_what_is_left(record: Path, loaded: LoadedDive) -> None:
    assert load_journal(record) == load_journal(record.parent / "raw.yaml")
    left = load_left(record)
    assert (left.cell, left.series, left.parallel) == ("nmc-21700-5000", 3, 5)
    assert left.code == loaded.settings().code
    assert write_journal(load_journal(record), left) == record.read_text(encoding="utf-8")


def test_the_next_dive_begins_with_what_is_left_less_self_discharge(record: Path, folder: Path) -> None:
    dive = load(written(folder, after(JOURNAL), LATER))
    left = load_left(record)
    months = (dive.plan().planned - left.ended).total_seconds() / (30.4375 * 86400)
    loss = dive.cell.self_discharge
    cases = dive.simulate().cases
    assert cases["energy"].corner["pack.charge"] == pytest.approx(left.charge.low * (1 - loss.high) ** months, abs=1e-9)
    middle = (left.charge.low + left.charge.high) / 2
    assert cases["nominal"].corner["pack.charge"] == pytest.approx(middle * (1 - loss.nominal) ** months, abs=1e-9)
    assert [one for one, _ in dive.defaults if one.startswith("pack.charge")] == []


def test_check_says_which_dive_left_how_much(capsys: Any, record: Path, folder: Path) -> None:
    path = written(folder, after(JOURNAL), LATER)
    capsys.readouterr()
    main(["check", str(path)])
    said = " ".join(capsys.readouterr().out.split())
    left = load_left(record)
    assert f"Charge dive {left.code} left {left.charge.low * 100:.1f} % to {left.charge.high * 100:.1f} %" in said
    assert "29.7 d of self-discharge" in said  # from 20 April 12:28 UTC to 20 May 05:40 UTC


def test_a_missing_record_and_other_kinds_of_file_are_told_at_their_line(folder: Path, record: Path) -> None:
    bench = folder / "bench.yaml"
    bench.write_text("format: 1\nbench: x\n", encoding="utf-8")
    (folder / "notes.yaml").write_text("milk: 2\n", encoding="utf-8")
    for name, words in (
        ("none.yaml", "There is no file"),
        ("dive.yaml", "is a dive file"),
        ("bench.yaml", "is a bench record"),
        ("notes.yaml", "is no journal"),
        ("raw.yaml", "does not say what dive"),
    ):
        (problem,) = problems(written(folder, after(name)))
        assert words in problem.message
        assert pointed(problem).startswith(name)
        assert problem.file.endswith("next.yaml")
        assert problem.next


def test_what_is_wrong_inside_the_record_is_told_there(folder: Path, record: Path) -> None:
    (folder / "spoiled.yaml").write_text(record.read_text("utf-8").replace("  series: 3", "  series: x"), "utf-8")
    (problem,) = problems(written(folder, after("spoiled.yaml")))
    assert problem.file.endswith("spoiled.yaml")
    assert pointed(problem) == "x"


def test_the_record_of_another_pack_is_refused(folder: Path, record: Path) -> None:
    (problem,) = problems(written(folder, after(JOURNAL), LATER, ("series: 3", "series: 4")))
    assert "another pack: 3 in series x 5 of nmc-21700-5000" in problem.message
    assert problem.expected == "4 in series x 5 of nmc-21700-5000"
    assert pointed(problem).startswith(JOURNAL)


def test_a_dive_before_the_record_ends_and_a_pack_charged_since_are_refused(folder: Path, record: Path) -> None:
    (problem,) = problems(written(folder, after(JOURNAL)))
    assert "planned start" in problem.message
    assert pointed(problem).startswith(JOURNAL)
    since = after(JOURNAL, "\n  charged: 2027-05-19T10:00:00Z")
    (problem,) = problems(written(folder, since, LATER))
    assert pointed(problem) == "2027-05-19T10:00:00Z"
    before = after(JOURNAL, "\n  charged: 2027-04-18T10:00:00Z")
    assert load(written(folder, before, LATER)).left == load_left(record)


def test_what_is_left_is_not_told_where_the_plan_does_not_explain_it(
    capsys: Any, tmp_path: Path, loaded: LoadedDive
) -> None:
    told = journal_of(loaded, 1.0, 0.94, loaded.plan().end_s)
    for changed, why in (
        (replace(told, first_firing_s=loaded.plan().release_s - 7200), "another time than planned"),
        (replace(told, readings=told.readings[:3]), "nothing was fitted"),
    ):
        (tmp_path / JOURNAL).write_text(write_journal(changed), encoding="utf-8")
        capsys.readouterr()
        main(["debrief", str(loaded.path), "--journal", str(tmp_path / JOURNAL), "--save", str(tmp_path / "s.yaml")])
        said = " ".join(capsys.readouterr().out.split())
        assert "What is left in the pack is not known" in said
        assert why in said
        with pytest.raises(FileProblems):
            load_left(tmp_path / "s.yaml")
