"""The simulated parts under a small firmware that uses each piece of hardware. Expected values: from memory of the
data sheets."""

from __future__ import annotations

import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from pathlib import Path

import pytest

from schedgen.firmware.rehearse.scenario import Record, Scenario, Target
from schedgen.firmware.rehearse.supervisor import Simulator, SimulatorFailed

MODELS = ("atmega4809", "atmega1608", "atmega328p")
EEPROM = {"atmega4809": 256, "atmega1608": 256, "atmega328p": 1024}


@pytest.fixture(scope="module", params=[*MODELS, "atmega4809 without C++", "atmega328p without C++"])
def part(request: pytest.FixtureRequest, trial: Callable[[str], Target]) -> Iterator[tuple[str, Simulator]]:
    """Each part with the models that are built here, and again with those in Python that take their place elsewhere."""
    model, _, without = request.param.partition(" ")
    with in_python(bool(without)), Simulator(trial(model)) as simulator:
        yield model, simulator


@contextmanager
def in_python(wanted: bool) -> Iterator[None]:
    """Simulators that are started here have no models in C++."""
    with pytest.MonkeyPatch.context() as patch:
        if wanted:
            patch.setenv("SCHEDGEN_PYTHON_MODELS", "1")
        else:
            patch.delenv("SCHEDGEN_PYTHON_MODELS", raising=False)
        yield


def fly(part: tuple[str, Simulator], end_s: float, *actions: tuple[object, ...], **more: object) -> Record:
    model, simulator = part
    return simulator.play(
        Scenario("ff" * EEPROM[model], "ff" * 64, end_s, actions, **more)  # type: ignore[arg-type]
    )


def asked(letter: str, at: float) -> tuple[object, ...]:
    """A request, twice: the ATmega328P hears nothing of the byte that wakes it."""
    return (at, "say", (letter * 2).encode().hex())


def answer(record: Record) -> bytes:
    return bytes.fromhex("".join(text for _, text in record.said))


def test_it_counts_seconds_from_the_crystal_and_says_so(part: tuple[str, Simulator]) -> None:
    record = fly(part, 100.0, asked("t", 90.95))
    assert answer(record)[-1] in (90, 91)
    assert record.resets == [(0.0, "power-on")]
    assert not record.broken_rules


def test_outputs_switch_in_their_seconds_and_a_flash_runs(part: tuple[str, Simulator]) -> None:
    record = fly(part, 60.0)
    (on, off), flash = record.of("A"), record.of("FLASH")
    assert (on[1], off[1]) == (100, 0)
    assert off[0] - on[0] == pytest.approx(3.0, abs=0.001)
    half = 0.25 if part[0] == "atmega328p" else 1.5
    assert flash[3][0] - flash[2][0] == pytest.approx(half, abs=0.001) or flash[4][0] - flash[3][0] == pytest.approx(
        half, abs=0.001
    )


def test_a_dimmed_output_tells_its_level(part: tuple[str, Simulator]) -> None:
    (on, off) = fly(part, 20.0).of("P")
    assert (on[1], off[1]) == (70, 0)
    assert off[0] - on[0] == pytest.approx(2.0, abs=0.001)


def test_the_converter_reads_what_lies_on_its_pin(part: tuple[str, Simulator]) -> None:
    pin, volts = ("PC0", 0.55) if part[0] == "atmega328p" else ("PD3", 1.25)
    code = answer(fly(part, 6.0, (0.0, "pin", pin, volts), asked("a", 4.0)))[-2:]
    assert int.from_bytes(code, "big") in (510, 511, 512)  # half of full scale; the stock model is one step low


def test_eeprom_stays_over_a_power_cut(part: tuple[str, Simulator]) -> None:
    record = fly(part, 14.0, asked("w", 3.0), (6.0, "power", 1.5), asked("e", 11.0))
    assert answer(record)[-1] == 0xA5
    assert [cause for _, cause in record.resets] == ["power-on", "power-on"]
    assert bytes.fromhex(record.eeprom)[8:10] == b"\x5a\xa5"


@pytest.mark.parametrize(("how", "left"), [("before", b"\xff"), ("after", b"\x5a"), ("erased", b"\xff")])
def test_a_cut_at_a_write_leaves_it_done_or_not(part: tuple[str, Simulator], how: str, left: bytes) -> None:
    record = fly(part, 8.0, (2.0, "cut", 1, how, 0.5), asked("w", 3.0))
    assert bytes.fromhex(record.eeprom)[8:10] == left + b"\xff"
    assert len(record.resets) == 2


def test_a_torn_write_is_the_same_for_the_same_seed_and_not_for_another(part: tuple[str, Simulator]) -> None:
    def left(seed: int) -> str:
        return fly(part, 8.0, (2.0, "cut", 1, "torn", 0.5), asked("w", 3.0), seed=seed).eeprom

    assert left(1) == left(1)
    assert len({left(seed) for seed in range(6)}) > 1


def test_a_program_astray_is_ended_by_the_watchdog(part: tuple[str, Simulator]) -> None:
    record = fly(part, 20.0, (5.5, "hang"), asked("f", 17.0))
    at, cause = record.resets[1]
    assert cause == "watchdog"
    assert 2.0 < at - 5.5 < 5.0  # 4 s from the last feeding
    assert answer(record)[-1] & 0x08  # WDRF stands at bit 3 in both families


@pytest.mark.parametrize("cause", ["brown-out", "external"])
def test_resets_of_each_cause_are_told_apart(part: tuple[str, Simulator], cause: str) -> None:
    record = fly(part, 12.0, (5.0, "reset", cause), asked("f", 9.0))
    assert [told for _, told in record.resets] == ["power-on", cause]
    bit = {"brown-out": (0x02, 0x04), "external": (0x04, 0x02)}[cause][part[0] == "atmega328p"]
    assert answer(record)[-1] & bit


def test_a_crystal_that_stops_stops_the_seconds_and_the_watchdog_bites(part: tuple[str, Simulator]) -> None:
    record = fly(part, 40.0, (20.3, "crystal", None))
    assert all(at < 21 for at, _ in record.of("FLASH")[-1:]) or record.resets[1][1] == "watchdog"
    assert record.resets[1][0] > 22


def test_a_crystal_off_by_a_share_runs_off_by_it(part: tuple[str, Simulator]) -> None:
    true = fly(part, 300.0).of("A")[2][0]
    slow = fly(part, 300.0, crystal_ppm=-100.0).of("A")[2][0]
    assert slow - true == pytest.approx(260 * 100e-6, rel=0.1)


def test_memory_after_power_on_holds_anything_and_nothing_depends_on_it(part: tuple[str, Simulator]) -> None:
    runs = [fly(part, 15.0, seed=seed) for seed in (1, 2)]
    assert runs[0].edges == runs[1].edges


def test_what_happens_is_the_same_every_time(part: tuple[str, Simulator]) -> None:
    actions = (asked("w", 3.0), (5.0, "hang"), (12.0, "power", 1.0))
    first, second = fly(part, 30.0, *actions, seed=7), fly(part, 30.0, *actions, seed=7)
    assert (first.edges, first.said, first.eeprom, first.awake_s) == (
        second.edges,
        second.said,
        second.eeprom,
        second.awake_s,
    )


@pytest.mark.parametrize("model", MODELS)
@pytest.mark.parametrize("ppm", [0.0, 37.0])
def test_models_in_cpp_and_in_python_do_the_same_cycle_by_cycle(
    trial: Callable[[str], Target], model: str, ppm: float
) -> None:
    actions = (
        *(asked(letter, 3.0 + number) for number, letter in enumerate("twe")), (12.3, "hang"), (25.0, "power", 1.0),
        asked("a", 31.0), (33.7, "cut", 1, "torn", 0.5), asked("w", 34.0), (40.3, "reset", "external"),
        (50.2, "crystal", -90.0), (70.9, "crystal", None),
    )  # fmt: skip
    records = []
    for python in (False, True):
        with in_python(python), Simulator(trial(model)) as simulator:
            record = fly((model, simulator), 100.0, *actions, seed=5, crystal_ppm=ppm, internal_error=-0.04)
        assert record.native is not python
        records.append(asdict(record) | dict.fromkeys(("wall_s", "busy_s", "native")))
    assert records[0] == records[1]
    assert len(records[0]["edges"]) > 50
    assert len(records[0]["resets"]) > 5


def test_waking_and_sleeping_add_up(part: tuple[str, Simulator]) -> None:
    record = fly(part, 50.0)
    assert record.awake_s + sum(record.asleep_s.values()) == pytest.approx(50.0, abs=1e-3)


def test_the_user_row_reads_back(trial: Callable[[str], Target]) -> None:
    with Simulator(trial("atmega4809")) as simulator:
        record = fly(("atmega4809", simulator), 10.0, asked("w", 3.0), asked("r", 6.0))
    assert answer(record)[-1] == 0x77
    assert bytes.fromhex(record.row)[3] == 0x77


def test_a_protected_register_written_without_its_key_is_told(trial: Callable[[str], Target]) -> None:
    with Simulator(trial("atmega4809")) as simulator:
        record = fly(("atmega4809", simulator), 10.0, asked("p", 3.0))
    assert record.broken_rules == {"protected register 0x1000 written without its key": 2}


def test_a_crash_of_the_simulator_is_an_error_and_the_next_run_goes_on(part: tuple[str, Simulator]) -> None:
    simulator = part[1]
    crash = threading.Timer(0.3, os.kill, (simulator._process.pid, signal.SIGSEGV))
    crash.start()
    with pytest.raises(SimulatorFailed, match="SIGSEGV"):
        fly(part, 1e6)
    assert fly(part, 5.0).simulated_s == 5.0


def test_a_program_that_crashes_the_part_is_an_error(trial: Callable[[str], Target]) -> None:
    from dataclasses import replace

    target = trial("atmega4809")
    # st X, r16 to an address with no register: sts 0x0FF0, r16; jmp 0
    program = bytes.fromhex("0093f00f0c940000")
    with Simulator(replace(target, flash=program.hex())) as simulator, pytest.raises(SimulatorFailed, match="Crashed"):
        fly(("atmega4809", simulator), 1.0)


def test_three_hundred_power_cycles_leave_nothing_behind(trial: Callable[[str], Target]) -> None:
    with Simulator(trial("atmega4809")) as simulator:
        part = ("atmega4809", simulator)

        def grow(cycles: int) -> int:
            fly(part, 1.0 + cycles * 0.02, *((0.5 + k * 0.02, "power", 0.01) for k in range(cycles)))
            pages = Path(f"/proc/{simulator._process.pid}/statm").read_text(encoding="ascii").split()[1]
            return int(pages) * 4096

        grow(50)
        before = grow(50)
        assert grow(300) - before < 8_000_000  # a part that is just dropped keeps 0.24 MB: 72 MB
