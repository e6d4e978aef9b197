"""The fit finds what a second integrator was given: loads, capacity, gain; and says how far it can be trusted."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
from flown import CONVERTER_STEP_V, KEPT_STEP_V, readings

from schedgen.errors import OutOfRange
from schedgen.load import LoadedDive, load_text
from schedgen.measured.course import Model, quiet_before
from schedgen.measured.fit import Fit, Sense, fit
from schedgen.measured.journal import Reading
from schedgen.measured.suggest import sought_by, suggestion

SENSE = Sense(KEPT_STEP_V, CONVERTER_STEP_V, 0.03)


@pytest.fixture(scope="module")
def demo() -> LoadedDive:
    text = resources.files("schedgen.dive").joinpath("demo.yaml").read_text(encoding="utf-8")
    return load_text(text, Path("demo.yaml"))


@pytest.fixture(scope="module")
def model(demo: LoadedDive) -> Model:
    return Model.of(demo.dive, demo.board, demo.cell, demo.plan())


@pytest.fixture(scope="module")
def flown(demo: LoadedDive) -> dict[float, tuple[Reading, ...]]:
    return {factor: readings(demo, factor) for factor in (0.9, 1.0, 1.15)}


def beside(found: Fit, name: str) -> float:
    return next(value for one, value, _ in found.beside if one == name)


@pytest.mark.parametrize("factor", [0.9, 1.0, 1.15])
def test_loads_that_were_off_are_found_within_three_percent(
    model: Model, flown: dict[float, tuple[Reading, ...]], factor: float
) -> None:
    found = fit(model, "loads", flown[factor], SENSE)
    assert found.value == pytest.approx(factor, abs=0.03)
    assert abs(found.value - factor) < found.half_width
    assert found.misfit < 1.5


def test_a_battery_sense_that_is_off_does_not_look_like_loads(demo: LoadedDive, model: Model) -> None:
    found = fit(model, "loads", readings(demo, 1.15, gain=1.02), SENSE)
    assert found.value == pytest.approx(1.15, abs=0.03)
    assert beside(found, "gain of the battery sense") == pytest.approx(1.02, abs=0.002)


def test_with_loads_held_a_worn_pack_is_found(demo: LoadedDive, model: Model) -> None:
    found = fit(model, "capacity", readings(demo, 1.0, health=0.84), SENSE)
    assert found.value == pytest.approx(0.84, abs=0.03)
    assert "loads" in found.held
    assert any("the loads are held" in text for text in found.not_told_apart)


def test_only_draw_over_capacity_is_known(model: Model, flown: dict[float, tuple[Reading, ...]]) -> None:
    # The same readings: 15 % more load with the capacity held, or 13 % less capacity with the loads held.
    loads, capacity = (fit(model, sought, flown[1.15], SENSE) for sought in ("loads", "capacity"))
    assert capacity.value == pytest.approx(0.94 / loads.value, abs=0.02)


def test_what_is_held_makes_the_answer_uncertain(demo: LoadedDive, flown: dict[float, tuple[Reading, ...]]) -> None:
    assert demo.dive.pack.health is not None
    exact = replace(demo.dive.pack.health, low=0.94, high=0.94)
    tight = demo.dive.model_copy(update={"pack": demo.dive.pack.model_copy(update={"health": exact})})
    known = fit(Model.of(tight, demo.board, demo.cell, demo.plan()), "loads", flown[1.15], SENSE)
    loose = fit(Model.of(demo.dive, demo.board, demo.cell, demo.plan()), "loads", flown[1.15], SENSE)
    assert known.value == pytest.approx(1.15, abs=0.03)
    assert known.from_held == pytest.approx(0.0, abs=1e-9)
    assert known.half_width < loose.half_width / 2
    # Health 94 % +/- 3 % is +/- 3.2 %; as two standard errors of a uniform interval x 1.155; times 1.15.
    assert loose.from_held == pytest.approx(0.0319 * 1.155 * 1.15, rel=0.15)


def test_a_coarser_step_is_less_sure(model: Model, flown: dict[float, tuple[Reading, ...]]) -> None:
    coarse = tuple(Reading(one.at_s, one.volts // 0.12 * 0.12) for one in flown[1.15])
    found = fit(model, "loads", coarse, Sense(0.12, CONVERTER_STEP_V, 0.03))
    fine = fit(model, "loads", flown[1.15], SENSE)
    assert found.from_readings > 2 * fine.from_readings
    assert found.value == pytest.approx(1.15, abs=found.half_width)


def test_few_readings_and_nonsense_are_refused(
    demo: LoadedDive, model: Model, flown: dict[float, tuple[Reading, ...]]
) -> None:
    with pytest.raises(OutOfRange, match="too few"):
        fit(model, "loads", flown[1.15][:5], SENSE)
    rising = tuple(Reading(one.at_s, 11.0 + one.at_s / 200_000) for one in flown[1.15])
    with pytest.raises(OutOfRange, match="something else"):
        fit(model, "loads", rising, SENSE)


def test_a_reading_that_was_never_written_is_left_out_and_named(
    model: Model, flown: dict[float, tuple[Reading, ...]]
) -> None:
    spoiled = list(flown[1.15])
    spoiled[20] = Reading(spoiled[20].at_s, 13.62)  # an erased cell
    found = fit(model, "loads", spoiled, SENSE)
    assert len(found.left_out) == 1
    assert found.used == len(spoiled) - 1
    assert found.value == pytest.approx(1.15, abs=0.03)


def test_what_the_model_does_not_explain_suggests_nothing(
    demo: LoadedDive, model: Model, flown: dict[float, tuple[Reading, ...]]
) -> None:
    jumping = tuple(Reading(one.at_s, one.volts + 0.2 * (k % 2)) for k, one in enumerate(flown[1.15]))
    found = fit(model, "loads", jumping, SENSE)
    assert found.misfit > 2
    assert suggestion(found, demo.dive) == []


def test_pasting_the_suggestion_brings_the_next_check_to_what_was_measured(
    demo: LoadedDive, model: Model, flown: dict[float, tuple[Reading, ...]]
) -> None:
    found = fit(model, "loads", flown[1.15], SENSE)
    lines = suggestion(found, demo.dive)
    text = resources.files("schedgen.dive").joinpath("demo.yaml").read_text(encoding="utf-8")
    for name, old in (
        ("camera", "power: 7.4 W ± 5 %"), ("lights", "power: 24 W ± 5 %"), ("fan", "power: about 1.1 W"),
        ("beacon", "power: 2.2 W ± 10 %"), ("locator", "power: 0.45 W ± 10 %"),
    ):  # fmt: skip
        new = lines[lines.index(f"  {name}:") + 1].strip()
        assert old in text
        text = text.replace(old, new)
    surge = next(line.strip() for line in lines if "surge" in line)
    text = text.replace("surge: {power: 12 W, for: 4 s}", surge)
    text = text.replace("    power: 4 W\n", f"    {lines[lines.index('  primary:') + 1].strip()}\n")
    changed = load_text(text, Path("demo.yaml"))
    assert changed.guessed == []
    again = Model.of(changed.dive, changed.board, changed.cell, changed.plan())
    assert fit(again, "loads", flown[1.15], SENSE).value == pytest.approx(1.0, abs=0.01)
    was, is_now = (one.simulate().nominal.by_load_wh["camera"] for one in (demo, changed))
    assert is_now / was == pytest.approx(1.15, abs=0.03)


def test_a_reading_is_the_last_one_taken_while_nothing_else_was_on(demo: LoadedDive) -> None:
    plan = demo.plan()
    camera = plan.outputs["OUT1"].on_times[0]
    middle = (camera.start_s + (camera.stop_s or 0)) // 2
    found = quiet_before(plan, middle)
    assert found is not None
    lights = plan.outputs["PWM1"].on_times[0]
    assert found == min(camera.start_s, lights.start_s) - 1
    assert quiet_before(plan, plan.release_s + 100) == plan.release_s - 1 or quiet_before(plan, plan.release_s + 100)
    assert quiet_before(plan, 30) == 30


def test_capacity_is_sought_where_the_bench_measured_most_of_the_loads(demo: LoadedDive) -> None:
    from schedgen.files.quantity import Quantity
    from schedgen.measured.bench_record import BenchOutput, BenchRecord

    def record(*names: str) -> BenchRecord:
        power = Quantity(1.0, 1.0, 1.0, "exact", "1 W", "W")
        outputs = {
            demo.dive.loads[name].wired_to: BenchOutput(load=name, verdict="connected").model_copy(
                update={"power": power}
            )
            for name in names
        }
        room = Quantity(20.0, 20.0, 20.0, "exact", "20 degC", "degC")
        return BenchRecord(
            format=1, bench="x", board="halyard-4809", taken="2027-01-01T00:00:00Z", temperature=room, outputs=outputs
        )

    energies = demo.simulate().nominal.by_load_wh
    assert sought_by(None, energies, demo.dive) == "loads"
    assert sought_by(record("fan"), energies, demo.dive) == "loads"
    assert sought_by(record(*demo.dive.loads), energies, demo.dive) == "capacity"
