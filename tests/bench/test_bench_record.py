"""A bench record reads back as written, replaces guessed values and no others, and closes the loop to `check`."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from schedgen.errors import FileProblems
from schedgen.files.quantity import Quantity
from schedgen.load import load
from schedgen.measured.bench_record import (
    BenchOutput,
    BenchRecord,
    disagreements,
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
    assert replaced(after.written, after.bench) == ("fan",)
    assert disagreements(after.written, after.bench) == (
        "camera: the file says 7.4 W ± 5 %, the bench record 9.0 W .. 9.2 W",
    )


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
    assert "PWM2 switches fan: seen to work on the bench (2027-04-18: connected, 1.3 W .. 1.34 W)" in text
    assert "OUT1 switches camera: seen to work on the bench (2027-04-18: not connected)" in text
