"""The compiled firmware flies the demo on the simulated part, its loads 15 % above the plan; its journal tells it."""

from __future__ import annotations

from dataclasses import replace
from importlib import resources
from pathlib import Path

import pytest
from flown import fly

from schedgen.firmware.build import build
from schedgen.firmware.rehearse.flight import flight
from schedgen.firmware.rehearse.rehearsal import Build, target_for
from schedgen.firmware.rehearse.supervisor import Simulator
from schedgen.firmware.rehearse.target import Hands
from schedgen.link.client import Client
from schedgen.link.eeprom import Memory, Nameplate, blank_image
from schedgen.link.frames import Frame, FrameDecoder, encode_frame
from schedgen.link.last_dive import last_dive
from schedgen.link.messages import CHUNK, REPLIES, REQUESTS, decode, encode
from schedgen.link.ports import VirtualPort
from schedgen.link.virtual import VirtualBoard
from schedgen.load import LoadedDive, load_text
from schedgen.measured.connection import step_of
from schedgen.measured.course import Model
from schedgen.measured.fit import Sense, fit
from schedgen.measured.journal import Journal
from schedgen.settings.code import from_crockford
from schedgen.settings.eeprom import layout_of
from schedgen.settings.slot import eeprom_image

FACTOR = 1.15


@pytest.fixture(scope="module")
def demo() -> LoadedDive:
    text = resources.files("schedgen.dive").joinpath("demo.yaml").read_text(encoding="utf-8")
    return load_text(text.replace("wait: 48 h", "wait: 8 h"), Path("demo.yaml"))  # the nights of flashing take longest


@pytest.fixture(scope="module")
def told(demo: LoadedDive) -> Journal:
    """What the board tells after a flight whose pack sags as 15 % more load makes it."""
    image, settings, plan = build(demo.board), demo.settings(), demo.plan()
    made = Build(image.flash, image.hertz, b"", settings.code, image.fuse_bytes)
    eeprom = eeprom_image(settings.block, layout_of(round(demo.board.eeprom.size.nominal)))
    at = fly(demo, FACTOR)
    course: list[tuple[float, float]] = []
    for second in range(0, plan.end_s, 300):
        if not course or abs(at(second) - course[-1][1]) >= 0.004:
            course.append((float(second), at(second)))
    flying = flight(plan, demo.board, eeprom, settings.code, course)
    plate = Nameplate.of(demo.board)
    whole = range(0, plate.memory_size, CHUNK)
    asked = [("identify", {"token": 7}), ("disarm", {}), *(("read", {"address": at, "length": CHUNK}) for at in whole)]
    after = flying.scenario.end_s
    actions = [*flying.scenario.actions, (after, "pin", *Hands(demo.board).lead(True))]
    for k, (name, values) in enumerate(asked):
        line = b"\0" + encode_frame(Frame(k, REQUESTS[name].number, encode(REQUESTS[name], values)))  # type: ignore[arg-type]
        actions.append((after + 3.0 + k, "say", line.hex()))
    scenario = replace(flying.scenario, actions=tuple(actions), end_s=after + 5.0 + len(asked))
    with Simulator(target_for(demo.board, made)) as simulator:
        record = simulator.play(scenario)
    decoder = FrameDecoder()
    frames = [frame for second, text in record.said if second > after for frame in decoder.feed(bytes.fromhex(text))]
    answers = [decode(REPLIES[name], frame.payload) for (name, _), frame in zip(asked, frames, strict=True)]
    memory = bytearray(blank_image(plate))
    for at, one in zip(whole, answers[2:], strict=True):
        assert one is not None
        memory[at : at + CHUNK] = one.data()
    journal = last_dive(Client(VirtualPort(VirtualBoard(Memory(bytes(memory))))))
    assert journal is not None
    return journal


def test_the_journal_tells_of_the_dive_that_was_flown(demo: LoadedDive, told: Journal) -> None:
    plan = demo.plan()
    assert from_crockford(told.code) == from_crockford(demo.settings().code)
    assert told.state == "over"
    assert told.first_firing_s is not None
    assert abs(told.first_firing_s - plan.release_s) <= 60
    assert told.tries >= 3
    assert len(told.readings) >= 24


def test_the_fifteen_percent_are_found_within_three(demo: LoadedDive, told: Journal) -> None:
    sense = Sense(told.step_v, step_of(demo.board), demo.board.pack_sense.tolerance.high)
    model = Model.of(demo.dive, demo.board, demo.cell, demo.plan())
    found = fit(model, "loads", told.readings, sense)
    assert found.value == pytest.approx(FACTOR, abs=0.03)
    assert found.misfit < 2
