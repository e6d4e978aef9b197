"""A bench record reads back as written, replaces guessed values and no others, and closes the loop to `check`."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.commands import main
from schedgen.errors import FileProblems
from schedgen.files.quantity import Quantity
from schedgen.judge.finding import Finding
from schedgen.load import load
from schedgen.measured.bench_record import (
    BenchOutput,
    BenchRecord,
    load_bench_record,
    millivolts,
    plain,
    replaced,
    write_bench_record,
)


def record(**outputs: BenchOutput) -> BenchRecord:
    return BenchRecord(
        format=1, bench='A "dive": with #signs', board="halyard-4809", name="WHELK", code="7K3QF2",
        taken="2027-04-18T15:20:00Z", temperature=Quantity(15.0, 20.0, 25.0, "tolerance", "20 degC ± 5 degC", "degC"),
        outputs=outputs,
    )  # fmt: skip


def measured(load: str, low: float, high: float) -> BenchOutput:
    power = Quantity(low, (low + high) / 2, high, "range", f"{low} W .. {high} W", "W")
    return BenchOutput(load=load, verdict="connected").model_copy(update={"power": power})


@pytest.fixture
def dive(tmp_path: Path) -> Path:
    path = tmp_path / "dive.yaml"
    path.write_bytes(resources.files("schedgen.dive").joinpath("demo.yaml").read_bytes())
    return path


def with_bench(dive: Path, said: BenchRecord) -> Path:
    (dive.parent / "bench.yaml").write_text(write_bench_record(said), encoding="utf-8")
    dive.write_text(dive.read_text(encoding="utf-8") + "bench: bench.yaml\n", encoding="utf-8")
    return dive


def test_a_record_reads_back_as_it_was_written(tmp_path: Path) -> None:
    one = BenchOutput(load="camera", verdict="cannot tell", why="because: it's so").model_copy(
        update={
            "level": Quantity(0.1, 0.1, 0.1, "exact", "10 %", "%"),
            "before": plain(12.00123, "V", 5),
            "sag": millivolts(-0.0004, 0.0015),
        }
    )
    said = record(OUT1=one, REL1=BenchOutput(verdict="not tried", why="a release: only with --release"))
    path = tmp_path / "bench.yaml"
    path.write_text(write_bench_record(said), encoding="utf-8")
    held = load_bench_record(path)
    assert write_bench_record(held) == write_bench_record(said)
    assert held.bench == said.bench
    sag = held.outputs["OUT1"].sag
    assert sag is not None
    assert (sag.low, sag.high) == pytest.approx((-0.0019, 0.0011))


@settings(deadline=None, max_examples=100)
@given(st.text(st.sampled_from("aZ09 _-#:'\"\\{}[],&*!|>%@`?~=\u00e9\u00fc\u65e5\u672c"), min_size=1, max_size=30))
def test_any_name_survives_the_file(tmp_path_factory: pytest.TempPathFactory, name: str) -> None:
    said = record(OUT1=measured("fan", 1.0, 2.0)).model_copy(update={"bench": f"x{name}x"})
    path = tmp_path_factory.mktemp("records") / "bench.yaml"
    path.write_text(write_bench_record(said), encoding="utf-8")
    assert load_bench_record(path).bench == f"x{name}x"


def test_a_measured_power_takes_the_place_of_a_guessed_one_only(dive: Path) -> None:
    before = load(dive)
    assert "loads.fan.power" in before.guessed
    said = record(PWM2=measured("fan", 1.30, 1.34), OUT1=measured("camera", 9.0, 9.2))
    after = load(with_bench(dive, said))
    assert after.dive.loads["fan"].power.nominal == pytest.approx(1.32)
    assert after.dive.loads["fan"].name == "fan"
    assert "loads.fan.power" not in after.guessed
    assert after.dive.loads["camera"].power == before.dive.loads["camera"].power
    assert after.written.loads["fan"].power.guessed
    assert after.bench is not None
    assert [path for path, _ in replaced(after.written, after.bench)] == ["loads.fan.power"]


def found_in(dive: Path) -> list[Finding]:
    return [one for one in load(dive).check().findings if one.name == "bench-disagrees"]


def test_a_power_that_the_bench_measured_otherwise_is_a_caution_at_its_line(dive: Path) -> None:
    (found,) = found_in(with_bench(dive, record(OUT1=measured("camera", 9.0, 9.2))))
    assert (found.severity, found.load) == ("caution", "camera")
    line = dive.read_text(encoding="utf-8").splitlines()[found.place.line - 1]
    assert line[found.place.column - 1 :].startswith("7.4 W ± 5 %")
    assert "the file says 7.4 W ± 5 % at full level, the bench measured 9.0 W .. 9.2 W (2027-04-18)" in found.message
    assert "write power: 9.0 W .. 9.2 W" in found.fix


def test_a_power_that_overlaps_and_one_of_no_load_are_no_disagreement(dive: Path) -> None:
    # 7.4 W +/- 5 % reaches to 7.77 W
    said = record(OUT1=measured("camera", 7.7, 8.0), OUT2=measured("nothing", 7.7, 8.0), PWM2=measured("fan", 9.0, 9.1))
    assert found_in(with_bench(dive, said)) == []


def test_a_load_not_connected_another_plug_and_another_board_are_cautions(dive: Path) -> None:
    said = record(
        OUT1=BenchOutput(load="camera", verdict="not connected"),
        OUT2=BenchOutput(load="locator", verdict="connected"),
        OUT3=BenchOutput(verdict="not connected"),
        REL1=BenchOutput(load="release", verdict="not connected"),
    ).model_copy(update={"board": "thole-1608"})
    found = {(one.load, one.message.split(" (")[0]) for one in found_in(with_bench(dive, said))}
    assert found == {
        ("camera", "the file has camera at OUT1; the bench found nothing connected there"),
        ("locator", "locator was tried at OUT2"),
        ("", "the file has primary release at REL1; the bench found nothing connected there"),
        ("", "the bench record is of a board thole-1608, the dive is for halyard-4809"),
    }


def test_a_pulse_within_the_surge_measures_the_surge(dive: Path) -> None:
    # the demo's camera takes 12 W for 4 s and 7.4 W after that
    short = measured("camera", 12.5, 12.7).model_copy(update={"pulse": plain(2.0, "s", 3)})
    (found,) = found_in(with_bench(dive, record(OUT1=short)))
    assert "the file says 12 W while starting, the bench measured 12.5 W .. 12.7 W" in found.message
    text = dive.read_text(encoding="utf-8").replace("surge: {power: 12 W,", "surge: {power: about 12 W,")
    dive.write_text(text, encoding="utf-8")
    loaded = load(dive)
    surge = loaded.dive.loads["camera"].surge
    assert surge is not None
    assert surge.power.nominal == pytest.approx(12.6)
    assert loaded.dive.loads["camera"].power == loaded.written.loads["camera"].power
    assert found_in(dive) == []
    long = short.model_copy(update={"pulse": plain(20.0, "s", 3)})
    (dive.parent / "bench.yaml").write_text(write_bench_record(record(OUT1=long)), encoding="utf-8")
    (found,) = found_in(dive)
    assert "7.4 W ± 5 % at full level" in found.message


def test_only_the_value_that_was_measured_clears_it(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with_bench(dive, record(OUT1=measured("camera", 9.0, 9.2)))
    capsys.readouterr()
    main(["check", str(dive), "--why", "bench-disagrees"])
    said = capsys.readouterr().out.partition("alone clears it")[2]
    assert [line.split()[0] for line in said.splitlines() if "->" in line] == ["loads.camera.power"]


def test_check_prints_what_the_bench_found_and_json_has_it(dive: Path, capsys: pytest.CaptureFixture[str]) -> None:
    said = record(PWM2=measured("fan", 1.30, 1.34), OUT1=measured("camera", 9.0, 9.2))
    with_bench(dive, said)
    capsys.readouterr()
    assert main(["check", str(dive)]) == 0  # a caution does not stop
    text = " ".join(capsys.readouterr().out.split())
    assert "bench-disagrees" in text
    assert (
        "Bench record of 2027-04-18: 2 connected; measured in place of guesses: loads.fan.power 1.3 W .. 1.34 W" in text
    )
    main(["check", str(dive), "--json"])
    findings = json.loads(capsys.readouterr().out)["findings"]
    (one,) = [one for one in findings if one["name"] == "bench-disagrees"]
    assert one["severity"] == "caution"
    assert one["line"] > 1


def test_the_next_check_computes_with_what_was_measured(dive: Path) -> None:
    before = load(dive).simulate().nominal
    after = load(with_bench(dive, record(PWM2=measured("fan", 2.2, 2.2)))).simulate().nominal
    # The guess was 1.1 W: twice the power, twice the energy of the fan, but for the voltage that sags a little more.
    assert after.by_load_wh["fan"] == pytest.approx(2 * before.by_load_wh["fan"], rel=0.01)


def test_a_record_that_is_missing_or_wrong_is_told_at_its_place(dive: Path) -> None:
    text = dive.read_text(encoding="utf-8")
    dive.write_text(text + "bench: none.yaml\n", encoding="utf-8")
    with pytest.raises(FileProblems) as missing:
        load(dive)
    assert missing.value.problems[0].line == len(text.splitlines()) + 1
    (dive.parent / "none.yaml").write_text("format: 1\nbench: x\noutputs: {OUT1: {verdict: perhaps}}\n")
    with pytest.raises(FileProblems) as wrong:
        load(dive)
    assert any(problem.file.endswith("none.yaml") and problem.line == 3 for problem in wrong.value.problems)


def test_the_sheet_prints_what_the_bench_found(dive: Path) -> None:
    from schedgen.commands.examine import examine
    from schedgen.report.sheet.checklist import checklist

    said = record(PWM2=measured("fan", 1.30, 1.34), OUT1=BenchOutput(load="camera", verdict="not connected"))
    stages = checklist(examine(load(with_bench(dive, said))), None, ())
    text = " ".join(item.text for stage in stages for item in stage.items)
    text = text.replace("; NOT as in the file, see the findings", "!")
    assert "PWM2 switches fan: seen to work on the bench (2027-04-18: connected, 1.3 W .. 1.34 W)" in text
    assert "OUT1 switches camera: seen to work on the bench (2027-04-18: not connected!)" in text
