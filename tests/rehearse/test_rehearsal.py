"""The project's own firmware on the simulated parts: a dive from start to end, faults, and the ordinary commands."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from rehearse_dives import DIVES

from schedgen.commands import main
from schedgen.firmware.rehearse.fault_runs import run_faults
from schedgen.firmware.rehearse.faults import KINDS
from schedgen.firmware.rehearse.rehearsal import Build, rehearse
from schedgen.firmware.rehearse.serving import served
from schedgen.load import LoadedDive, load

Compiled = Callable[[str], tuple[LoadedDive, Build]]


@pytest.mark.parametrize("board", ["halyard-4809", "cleat-328p"])
def test_a_dive_with_a_short_wait_flies_as_planned(board: str, compiled: Compiled, tmp_path: Path) -> None:
    """The whole dive with 40 min of recovery; with its own wait, `schedgen rehearse` flies it."""
    text = DIVES[board].read_text(encoding="utf-8")
    line = next(row for row in text.splitlines() if row.strip().startswith("wait:"))
    dive = tmp_path / "dive.yaml"
    dive.write_text(text.replace(line, "  wait: 40 min"), encoding="utf-8")
    loaded = load(dive)
    settings = loaded.settings()
    made = compiled(board)[1]
    from schedgen.settings.eeprom import layout_of
    from schedgen.settings.slot import eeprom_image

    eeprom = eeprom_image(settings.block, layout_of(round(loaded.board.eeprom.size.nominal)))
    found = rehearse(loaded, replace(made, eeprom=eeprom, code=settings.code))
    assert found.troubles == []
    assert found.comparison.remarks == []
    assert found.passed
    assert found.comparison.expected == found.comparison.seen > 1000
    assert found.comparison.worst_error_s <= 1.0
    assert found.seen_s is not None
    assert found.planned_s is not None
    assert abs(found.seen_s - found.planned_s) <= 1.0
    assert found.energy_edges_wh == pytest.approx(found.energy_plan_wh, rel=0.002)


@pytest.mark.parametrize(("board", "lacks"), [("halyard-4809", 0), ("cleat-328p", 3)])
def test_the_dive_survives_a_fault_of_each_kind_and_some_more(board: str, lacks: int, compiled: Compiled) -> None:
    """A board without a water contact has none of its faults, a dive without field changes none of theirs."""
    found = run_faults(*compiled(board), 40, 5)
    assert found.failures == []
    assert found.survived == found.tried == 40
    assert len(found.by_kind) == len(KINDS) - lacks


def test_a_failure_prints_a_line_that_replays_it(compiled: Compiled, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("schedgen.firmware.rehearse.fault_runs.verdict", lambda rig, one, record: [one.about])
    loaded, made = compiled("halyard-4809")
    found = run_faults(loaded, made, 2, 9)
    assert [one.number for one in found.failures] == [1, 2]
    assert found.failures[1].replay.endswith("--replay 2 --seed 9")
    again = run_faults(loaded, made, 0, 9, only=(2,))
    assert again.failures[0].wrong == found.failures[1].wrong


@pytest.mark.parametrize("board", ["halyard-4809", "cleat-328p"])
def test_upload_readback_and_arm_talk_to_the_compiled_firmware(
    board: str, compiled: Compiled, capsys: pytest.CaptureFixture[str]
) -> None:
    loaded, made = compiled(board)
    dive, code = str(DIVES[board]), loaded.settings().code
    with served(loaded.board, made) as port:
        assert main(["upload", dive, "--port", port]) == 0
        assert main(["readback", "--port", port, "--board", board, "--against", dive]) == 0
        assert main(["arm", code, "--port", port, "--board", board]) == 0
        assert main(["upload", dive, "--port", port]) == 3  # armed: refused
        assert main(["disarm", "--port", port, "--board", board]) == 0
    assert code in capsys.readouterr().out
