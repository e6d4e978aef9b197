"""Plays a scenario on the simulated part: the actions in their order, power cuts, and all that is to be recorded.

Imported only by the worker process.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from random import Random
from typing import Any

import yasimavr.lib.core as core

from schedgen.firmware.rehearse.pack import Analogue, ConverterInput, Noise, SimulatedPack
from schedgen.firmware.rehearse.part_crystal import Crystal
from schedgen.firmware.rehearse.part_device import SimulatedPart
from schedgen.firmware.rehearse.part_image import Image, Memories, Wiring
from schedgen.firmware.rehearse.part_memory import Tear, torn
from schedgen.firmware.rehearse.part_power import force_reset
from schedgen.firmware.rehearse.scenario import Mark, Record, Scenario, Target

_CAUSES = {1: "power-on", 2: "watchdog", 4: "brown-out", 8: "software", 16: "external"}
_FORCED = {
    "brown-out": core.Device.ResetFlag.BOD,
    "software": core.Device.ResetFlag.SW,
    "external": core.Device.ResetFlag.Ext,
}
_ASTRAY = bytes.fromhex("f8940000fecf")
"""`cli`, then a loop without end, put behind the program: where a program that runs astray ends up. (A jump to itself
would do, but the simulator takes it for a kind of sleep, at great cost.)"""
_ONE_OSCILLATOR = "atmega328p"
_SLICE_S = 300.0
_SAMPLE_S = 60.0
_TELL_EVERY_S = 0.25
_STRETCH_S = 0.05
"""Bytes that come closer together than this are one stretch of speech."""


class _Cut:
    """A power cut that waits for its write command."""

    def __init__(self, at: int, how: Tear, off_s: float) -> None:
        self.at, self.how, self.off_s = at, how, off_s
        self.before: Memories | None = None
        self.cycle = 0


class Player:
    """One scenario on one part, from power-on to its end."""

    def __init__(self, target: Target, scenario: Scenario, tell: Callable[[float], None] = lambda done: None) -> None:
        self.target, self.scenario, self.tell = target, scenario, tell
        self.record = Record()
        self.random = Random(scenario.seed)
        self.crystal = Crystal(
            scenario.crystal_ppm, scenario.crystal_startup_s, scenario.crystal_stopped, scenario.internal_error
        )
        flash = bytes.fromhex(target.flash)
        self.astray = len(flash) + len(flash) % 2
        self.image = Image(
            target.model,
            round(target.hertz * (1 + scenario.internal_error)) if target.model == _ONE_OSCILLATOR else target.hertz,
            flash.ljust(self.astray, bytes(1)) + _ASTRAY,
            bytes.fromhex(target.fuses),
            target.supply_v,
        )
        self.wiring = Wiring(dict(target.outputs), target.receive_pin, dict(target.pulls))
        self.levels: dict[str, str | float] = {}
        self.base_us = 0
        self.pack = None if scenario.supply is None else SimulatedPack(scenario.supply)
        noisy = scenario.noise or self.pack is not None
        self.analogue = Analogue(Noise(scenario.seed if scenario.noise else None), self.pack) if noisy else None
        self.cut: _Cut | None = None
        self._told = time.perf_counter()
        self._switch_on(Memories(bytes.fromhex(scenario.eeprom), bytes.fromhex(scenario.row)))

    def play(self) -> Record:
        """All of it. Raises RuntimeError where the simulated part crashes."""
        begun, busy = time.perf_counter(), time.process_time()
        try:
            for action in sorted(self.scenario.actions, key=lambda one: float(one[0])):
                if float(action[0]) > self.scenario.end_s:
                    break
                self.advance(float(action[0]))
                self.do(str(action[1]), *action[2:])
            self.advance(self.scenario.end_s)
            memories = self.part.memories()
        finally:
            self._switch_off()
        self.record.edges.sort(key=lambda edge: edge[0])
        self.record.native = self.part.native is not None
        self.record.eeprom, self.record.row = memories.eeprom.hex(), memories.row.hex()
        self.record.simulated_s, self.record.wall_s = self.scenario.end_s, time.perf_counter() - begun
        self.record.busy_s = time.process_time() - busy
        return self.record

    # --- power

    @property
    def hertz(self) -> int:
        """Processor cycles a second."""
        return self.image.hertz

    def _us(self, cycle: int) -> int:
        return self.base_us + cycle * 1_000_000 // self.hertz

    @property
    def now_s(self) -> float:
        """Seconds since the beginning of the scenario."""
        return self._us(self.part.now) / 1e6

    def _switch_on(self, memories: Memories) -> None:
        edges, pack = self.record.edges, self.pack
        if pack is not None:
            pack.rest(self.base_us / 1e6)
        base, hertz = self.base_us, self.hertz

        def edge(cycle: int, output: str, level: int) -> None:
            at_us = base + cycle * 1_000_000 // hertz
            edges.append((at_us, output, level))
            if pack is not None:
                pack.switched(at_us / 1e6, output, level)

        seed = self.random.randrange(1 << 30)
        self.part = SimulatedPart(self.image, memories, self.wiring, self.crystal, edge, seed, self._analogue())
        for pin, level in self.levels.items():
            self.part.set_pin(pin, level)

    def _analogue(self) -> ConverterInput | None:
        """What the converter of this power-on sees, by the cycle of the part."""
        analogue = self.analogue
        if analogue is None:
            return None
        return ConverterInput(lambda pin, cycle: analogue.volts(pin, self._us(cycle) / 1e6), analogue.code)

    def _switch_off(self, at_us: int | None = None) -> None:
        """Take the power away: outputs go off, what the part knows of itself goes into the record."""
        part, record = self.part, self.record
        part.watcher.add_up()
        record.awake_s += part.watcher.awake / self.hertz
        for mode in core.SleepMode:
            cycles, name = part.watcher.sleeping[mode], mode.name.lower()
            if cycles and mode:
                record.asleep_s[name] = record.asleep_s.get(name, 0.0) + cycles / self.hertz
        for rule, count in part.broken_rules.items():
            record.broken_rules[rule] = record.broken_rules.get(rule, 0) + count
        for cycle, flags in part.watcher.resets:
            cause = next((name for bit, name in _CAUSES.items() if flags & bit), str(flags))
            record.resets.append((self._us(cycle) / 1e6, cause))
        record.baud = part.usart.baud or record.baud
        record.lost_bytes += part.usart.lost
        self._collect_speech()
        last = {name: level for _, name, level in record.edges}
        off_us = self._us(part.now) if at_us is None else at_us
        if at_us is not None:
            record.edges += [(off_us, name, 0) for name, level in last.items() if level]
        part.close()

    def _sample(self) -> None:
        self.part.watcher.add_up()
        awake = self.record.awake_s + self.part.watcher.awake / self.hertz
        samples = self.record.samples
        if not samples or self.now_s - samples[-1][0] > _SAMPLE_S:
            samples.append((round(self.now_s, 3), round(awake, 6)))

    def _collect_speech(self) -> None:
        end = -1.0
        for cycle, byte in self.part.usart.said:
            at = self._us(cycle) / 1e6
            if at - end > _STRETCH_S:
                self.record.said.append((at, ""))
            self.record.said[-1] = (self.record.said[-1][0], self.record.said[-1][1] + f"{byte:02x}")
            end = at
        self.part.usart.said.clear()

    def _cycle_power(self, memories: Memories, cycle: int, off_s: float) -> None:
        off_us = self._us(cycle)
        self._switch_off(off_us)
        self.base_us = off_us + round(off_s * 1e6)
        self._switch_on(memories)

    # --- running

    def advance(self, second: float) -> None:
        """Run until `second` of the scenario."""
        while True:
            goal = round((second * 1e6 - self.base_us) * self.hertz / 1e6)
            if goal <= self.part.now:
                return
            self.part.run_to(min(goal, self.part.now + round(_SLICE_S * self.hertz)))
            self._sample()
            cut = self.cut
            if cut is not None and cut.before is not None:
                self.cut = None
                after = self.part.memories()
                left = Memories(
                    torn(cut.before.eeprom, after.eeprom, cut.how, self.random),
                    torn(cut.before.row, after.row, cut.how, self.random),
                )
                self._cycle_power(left, cut.cycle, cut.off_s)
            elif time.perf_counter() - self._told > _TELL_EVERY_S:
                self._told = time.perf_counter()
                self.tell(self.now_s)

    def do(self, verb: str, *given: Any) -> None:
        """One action now."""
        getattr(self, f"_do_{verb}")(*given)

    def _do_pin(self, pin: str, level: str | float) -> None:
        self.levels[pin] = level
        self.part.set_pin(pin, level)

    def _do_say(self, data: str) -> None:
        self.part.usart.send(bytes.fromhex(data))

    def _do_power(self, off_s: float) -> None:
        self._cycle_power(self.part.memories(), self.part.now, off_s)

    def _do_reset(self, cause: str) -> None:
        if cause == "software" and not self.part.is_megaavr:
            cause = "brown-out"  # the ATmega328P has no reset by software
        force_reset(self.part.device, _FORCED[cause])

    def _do_hang(self) -> None:
        self.part.probe.write_pc(self.astray)

    def _do_crystal(self, ppm: float | None) -> None:
        if ppm is None:
            self.crystal.change(stopped=True)
        else:
            self.crystal.change(ppm=ppm)

    def _do_cut(self, count: int, how: Tear, off_s: float) -> None:
        cut = self.cut = _Cut(self.part.tap.count + count, how, off_s)
        part = self.part

        def command(number: int) -> None:
            if number == cut.at and self.cut is cut:
                cut.before, cut.cycle = part.memories(), int(part.device.cycle())
                part.stop_here()

        part.tap.at_command = command

    def _do_flip(self, memory: str, bit: int) -> None:
        held = bytearray(self.part.read(memory))
        held[bit // 8] ^= 1 << bit % 8
        self.part.write(memory, bytes(held))

    def _do_memory(self, memory: str, content: str) -> None:
        self.part.write(memory, bytes.fromhex(content))

    def _do_mark(self, name: str) -> None:
        memories = self.part.memories()
        self.record.marks[name] = Mark(self.now_s, self.part.tap.count, memories.eeprom.hex(), memories.row.hex())
