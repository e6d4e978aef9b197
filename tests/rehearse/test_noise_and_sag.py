"""The simulated converter's noise, and the pack behind it that sags with what is on."""

from __future__ import annotations

import math
from dataclasses import replace
from statistics import fmean, stdev
from struct import iter_unpack

import pytest

from schedgen.board.load import load_board
from schedgen.board.model import Board
from schedgen.files.quantity import Quantity
from schedgen.firmware.build import build
from schedgen.firmware.rehearse.pack import Analogue, Noise, SimulatedPack
from schedgen.firmware.rehearse.rehearsal import Build, target_for
from schedgen.firmware.rehearse.scenario import Draw, Scenario, Supply, plain, scenario_from
from schedgen.firmware.rehearse.supervisor import Simulator
from schedgen.firmware.rehearse.supply import draws_of
from schedgen.firmware.rehearse.target import Hands
from schedgen.link.frames import Frame, FrameDecoder, encode_frame
from schedgen.link.messages import READINGS, REPLIES, REQUESTS, decode, encode
from schedgen.measured.connection import Setup, conversions_of, step_of

SUPPLY = Supply(
    "PD3", 0.1, 12.0, 0.05, 0.10, 40.0,
    {"OUT1": (Draw(24.0, until_s=4.0), Draw(12.0)), "REL1": (Draw(0.0, 0.25),)},
)  # fmt: skip
ASKED = 10


def test_noise_is_that_of_its_seed_and_about_half_a_step() -> None:
    once = [Noise(3).steps(0.5) for _ in range(1)] + [Noise(4).steps(0.5)]
    assert once[0] == Noise(3).steps(0.5) != once[1]
    noise = Noise(3)
    # expected: 0.5 step at the input; with the 0.3 of the reference at full scale 0.58, by hand
    for share, expected in ((0.0, 0.5), (1.0, 0.583)):
        many = [noise.steps(share) for _ in range(20_000)]
        assert fmean(many) == pytest.approx(0.0, abs=0.02)
        assert stdev(many) == pytest.approx(expected, rel=0.03)
    assert Noise(None).steps(1.0) == 0.0


def test_the_mean_of_noisy_conversions_tells_a_tenth_of_a_step() -> None:
    analogue = Analogue(Noise(1), None)
    for tenth in range(10):
        volts = 2.5 * (500 + tenth / 10) / 1024
        mean = fmean(analogue.code(volts, 2.5) for _ in range(20_000))
        assert mean + 0.5 == pytest.approx(500 + tenth / 10, abs=0.03)  # a conversion rounds down


def test_a_pack_sags_at_once_and_slowly_and_comes_back() -> None:
    pack = SimulatedPack(SUPPLY)
    assert pack.volts(10.0) == 12.0
    pack.switched(10.0, "OUT1", 100)
    # 24 W: V = (12 + sqrt(144 - 4 x 0.05 x 24)) / 2, by hand
    assert pack.volts(10.0) == pytest.approx((12 + math.sqrt(144 - 4.8)) / 2)
    assert pack.volts(14.0) > pack.volts(13.9)  # the surge is over
    slow = pack.volts(1000.0)
    # settled: 0.15 ohm behind 12 W
    assert slow == pytest.approx((12 + math.sqrt(144 - 4 * 0.15 * 12)) / 2, abs=1e-3)
    pack.switched(1000.0, "OUT1", 0)
    back = pack.volts(1000.0)
    assert 12 - back == pytest.approx(0.1 * 12 / slow, rel=0.01)  # the slow part is still there
    assert 12 - pack.volts(1040.0) == pytest.approx((12 - back) / math.e, rel=0.01)


def test_a_level_is_a_share_and_a_resistor_counts_by_the_voltage() -> None:
    pack = SimulatedPack(SUPPLY)
    pack.switched(0.0, "REL1", 100)
    assert pack.volts(0.0) == pytest.approx(12 / (1 + 0.05 * 0.25))
    pack.switched(0.0, "REL1", 40)
    assert pack.volts(0.0) == pytest.approx(12 / (1 + 0.05 * 0.10))
    pack.rest(0.0)
    assert pack.volts(0.0) == 12.0


def test_a_scenario_with_a_supply_goes_over_the_pipe() -> None:
    import json

    scenario = Scenario("00", "", 1.0, noise=True, supply=SUPPLY)
    assert scenario_from(json.loads(json.dumps(plain(scenario)))) == replace(scenario, actions=[])  # type: ignore[arg-type]


@pytest.fixture(scope="module", params=["halyard-4809", "cleat-328p"])
def board(request: pytest.FixtureRequest) -> Board:
    return load_board(request.param)


@pytest.fixture(scope="module")
def simulator(board: Board) -> Simulator:  # type: ignore[misc]
    image = build(board)
    with Simulator(target_for(board, Build(image.flash, image.hertz, b"", "", image.fuse_bytes))) as simulator:
        yield simulator


def measured(simulator: Simulator, board: Board, **changed: object) -> list[int]:
    """What `measure` answers with a pack of 12.0 V, asked `ASKED` times: readings in mV."""
    hands, request = Hands(board), REQUESTS["measure"]
    asks = [b"\0" + encode_frame(Frame(n, request.number, encode(request, {}))) for n in range(1, ASKED + 1)]
    says = [(2.0 + 0.2 * n, "say", ask.hex()) for n, ask in enumerate(asks)]
    actions = ((0.0, "pin", *hands.lead(True)), (0.0, "pin", *hands.pack(12.0)), *says)
    size = round(board.eeprom.size.nominal)
    scenario = Scenario("ff" * size, "ff" * 64, 4.0 + 0.2 * ASKED, actions, **changed)  # type: ignore[arg-type]
    record = simulator.play(scenario)
    decoder = FrameDecoder()
    frames = [frame for _, text in record.said for frame in decoder.feed(bytes.fromhex(text))]
    told = [decode(REPLIES["measure"], frame.payload) for frame in frames]
    many = [mv for values in told if values is not None for (mv,) in iter_unpack("<H", values.data("readings"))]
    assert len(many) == ASKED * READINGS
    return many


def mean_and_spread(readings: list[int]) -> tuple[float, float]:
    """V, of one reading."""
    return fmean(readings) / 1000, stdev(readings) / 1000


def seen_v(board: Board, volts: float) -> float:
    """The megaAVR gives 1023 x V / reference (data sheet, from memory), of which the firmware takes 1024."""
    return volts if board.part == "ATmega328P" else volts * 1023 / 1024


def test_without_noise_all_readings_of_a_part_are_the_same(simulator: Simulator, board: Board) -> None:
    mean, spread = mean_and_spread(measured(simulator, board))
    assert spread == 0.0
    assert seen_v(board, 12.0) - step_of(board) - 0.002 <= mean <= seen_v(board, 12.0)


def test_with_noise_the_readings_of_a_part_scatter_and_their_mean_is_better_than_a_step(
    simulator: Simulator, board: Board
) -> None:
    mean, spread = mean_and_spread(measured(simulator, board, noise=True, seed=1))
    step = step_of(board)
    # half a step, the reference's part and rounding (1 / sqrt(12)), over the root of the conversions to a reading
    share = 12.0 / (1024 * step)
    one = math.hypot(0.5, 0.3 * share, 12**-0.5) * step
    assert spread == pytest.approx(one / math.sqrt(conversions_of(board)), rel=0.15)
    # within four standard errors; the firmware rounds down to whole millivolts
    error = 4 * spread / math.sqrt(ASKED * READINGS)
    assert error < 0.2 * step
    assert mean + step / 2 + 0.0005 == pytest.approx(seen_v(board, 12.0), abs=error)
    assert mean_and_spread(measured(simulator, board, noise=True, seed=1)) == (mean, spread)
    assert mean_and_spread(measured(simulator, board, noise=True, seed=2)) != (mean, spread)


def test_the_sense_of_a_part_reads_its_simulated_pack(simulator: Simulator, board: Board) -> None:
    sense = board.pack_sense
    supply = replace(SUPPLY, pin=sense.pin, ratio=sense.ratio, open_v=11.0)
    mean, spread = mean_and_spread(measured(simulator, board, noise=True, supply=supply))
    error = 4 * spread / math.sqrt(ASKED * READINGS)
    assert mean + step_of(board) / 2 + 0.0005 == pytest.approx(seen_v(board, 11.0), abs=error)


def test_draws_are_those_of_the_dives_loads() -> None:
    from importlib import resources

    from schedgen.load import load_text

    text = resources.files("schedgen.dive").joinpath("demo.yaml").read_text(encoding="utf-8")
    loaded = load_text(text, "demo.yaml")
    setup = Setup(loaded.dive, loaded.board, loaded.cell, Quantity(20.0, 20.0, 20.0))
    surge, steady = draws_of(setup, "OUT1")
    # the demo's camera: 7.4 W, 12 W for the first 4 s; its board's rail for it is 90 % efficient or the pack itself
    rail = loaded.board.rails[loaded.board.outputs["OUT1"].rail]
    share = 1.0 if rail.efficiency is None else rail.efficiency.nominal
    assert (surge.watt, surge.until_s) == (pytest.approx(12 / share), 4.0)
    assert (steady.watt, steady.until_s) == (pytest.approx(7.4 / share), None)
    assert draws_of(setup, "OUT3") == ()
