"""A whole simulated part: our models in place of the stock ones, pins, memories, edges; closed without a leak."""

from __future__ import annotations

from collections.abc import Callable
from random import Random
from typing import Any

import yasimavr.lib.arch_avr as arch_avr
import yasimavr.lib.arch_xt as arch_xt
import yasimavr.lib.core as core
from yasimavr.lib import _sip

from schedgen.firmware.rehearse.pack import ConverterInput
from schedgen.firmware.rehearse.part_adc328 import Converter
from schedgen.firmware.rehearse.part_adcxt import NoisyResult
from schedgen.firmware.rehearse.part_crystal import Crystal
from schedgen.firmware.rehearse.part_image import Image, Memories, Wiring, program_of
from schedgen.firmware.rehearse.part_memory import MemoryTap, UserRow
from schedgen.firmware.rehearse.part_model import ADC_SLEEP, Hardware, PlainRegisters, discard
from schedgen.firmware.rehearse.part_native import NativeRtc, PinRecorder, RowMirror, SleepCounter, models, runner
from schedgen.firmware.rehearse.part_oscillator import Oscillator
from schedgen.firmware.rehearse.part_pinchange import PinChange
from schedgen.firmware.rehearse.part_power import BrownOut, ClockControl, Protection
from schedgen.firmware.rehearse.part_pwm import Dimmer, Tca, Timer1
from schedgen.firmware.rehearse.part_rtc import Rtc
from schedgen.firmware.rehearse.part_stock import UNBUILT_328, description, missing_pins, stock_device
from schedgen.firmware.rehearse.part_timer2 import Timer2
from schedgen.firmware.rehearse.part_usart import ATMEGA328, MEGAAVR, Usart
from schedgen.firmware.rehearse.part_watch import NativeWatcher, PythonWatcher, Watcher

ROW_SIZE = 64
_DIGITAL_CHANGE = int(core.Wire.SignalId.DigitalChange)
_NVM_KINDS = {"eeprom": "EEPROM", "row": "USERROW"}


class SimulatedPart:
    """One power-on of one part. `on_edge` hears (cycle, output, level in percent) of every change of an output."""

    def __init__(
        self,
        image: Image,
        memories: Memories,
        wiring: Wiring,
        crystal: Crystal,
        on_edge: Callable[[int, str, int], None],
        seed: int = 0,
        analogue: ConverterInput | None = None,
    ) -> None:
        self.analogue = analogue
        self.image, self.wiring, self.crystal, self.on_edge = image, wiring, crystal, on_edge
        self.is_megaavr = image.model != "atmega328p"
        self.errors: list[str] = []
        self.pin_change: PinChange | None = None
        self._outside: dict[str, str | float] = {}
        self._hooks: list[Any] = []
        self._native_rtc: NativeRtc | None = None
        self._row: RowMirror | None = None
        self._models: list[Hardware] = []
        self._watching: list[Hardware] = []
        crystal.running = False
        crystal.before_change.clear()
        crystal.after_change.clear()
        self._build(description(image.model))
        self.loop = core.SimLoop(self.device)
        self.loop.set_fast_mode(True)
        self.device.load_firmware(program_of(self.image))
        self.probe = core.DeviceDebugProbe(self.device)
        self.device.reset() if image.fuses else None
        self.write("eeprom", memories.eeprom)
        if memories.row and self.is_megaavr:
            self.write("row", memories.row)
        self._fill_ram(seed)
        self._recorder: PinRecorder | None = None
        self._run = None if self.native is None else runner(self.native, self.device)
        self._levels: dict[str, int] = {}
        self._states: dict[str, Callable[[], bool]] = {}
        self._duties: dict[int, float | None] = {}
        self._wire()

    # --- building

    def _build(self, descriptor: Any) -> None:
        self.device = stock_device(descriptor, self.is_megaavr)
        vector = descriptor.interrupt_map.vectors.index
        self.native = models()
        self.watcher: Watcher = PythonWatcher()
        if self.native is not None:
            self.watcher = watcher = NativeWatcher()
            watcher.counter = SleepCounter(self.native, self.device, watcher.minding)
        self.watcher.opens_memory = self.is_megaavr
        if self.is_megaavr:
            self._build_megaavr(vector)
        else:
            self._build_328(vector)
        for model in (*self._models, self.watcher):
            model.hertz = self.image.hertz
            model.minding = self.watcher.minding
            if type(model).slept is not Hardware.slept:
                model.mind(ADC_SLEEP)  # until it says otherwise
            self.device.attach_peripheral(model)
        self._models.append(self.watcher)

    def _build_megaavr(self, vector: Callable[[str], int]) -> None:
        vectors = vector("RTC_CNT"), vector("RTC_PIT")
        if self.native is not None:
            self._native_rtc = NativeRtc(self.native, self.device, vectors, self.image.hertz, self.crystal)
        rtc = [] if self.native is not None else Rtc.whole(vectors, self.crystal)
        usart = tuple(vector(f"USART0_{what}") for what in ("RXC", "DRE", "TXC"))
        self.usart = Usart(MEGAAVR, (usart[0], usart[1], usart[2]), self.wiring.receive_pin)
        self.brown_out: BrownOut | None = BrownOut(vector("BOD"))
        self.dimmer: Dimmer = Tca("TCA0")
        self.clock_control: ClockControl | None = ClockControl(self.crystal)
        missing = PlainRegisters("NOPINS", missing_pins(self.device._descriptor_))
        self._models = [*rtc, self.usart, self.brown_out, self.dimmer, self.clock_control, missing]
        self.tap = MemoryTap(0x1000, lambda value: bool(value & 7))
        guard = Protection()
        if self.native is not None:
            self._row = RowMirror(self.native, self.device, UserRow.base, ROW_SIZE, lambda: self.read("row"))
            self.tap.changes = self._row.forget
        else:
            row = UserRow(ROW_SIZE, lambda: self.read("row"))
            self.tap.changes = row.forget
            row.watch(self.device)
            self._watching.append(row)
        self.tap.watch(self.device)
        guard.watch(self.device)
        self._watching += [self.tap, guard]
        if self.analogue is not None:
            noisy = NoisyResult(self.analogue.code, self._seen, self._peek, self.image.supply_v)
            noisy.watch(self.device)
            self._watching.append(noisy)

    def _build_328(self, vector: Callable[[str], int]) -> None:
        timer2 = Timer2((vector("TIMER2_COMPA"), vector("TIMER2_COMPB"), vector("TIMER2_OVF")), self.crystal)
        usart = (vector("USART_RX"), vector("USART_UDRE"), vector("USART_TX"))
        self.usart = Usart(ATMEGA328, usart, self.wiring.receive_pin)
        self.brown_out, self.clock_control = None, None
        self.pin_change = PinChange((vector("PCINT0"), vector("PCINT1"), vector("PCINT2")))
        self.dimmer = Timer1("TC1")
        converter = Converter(
            vector("ADC"), self._volts, self.image.supply_v, self.analogue.code if self.analogue else None
        )
        self._models = [
            *timer2.parts,
            timer2,
            self.usart,
            self.dimmer,
            converter,
            self.pin_change,
            Oscillator(self.crystal),
            PlainRegisters("PLAIN", UNBUILT_328),
        ]
        self.tap = MemoryTap(0x1F, lambda value: value & 6 == 6)
        self.tap.watch(self.device)
        self._watching = [self.tap]

    def _fill_ram(self, seed: int) -> None:
        """Memory after power-on holds anything."""
        ram = self.device._descriptor_.mem.data_segments["ram"]
        first, last = int(ram[0]), int(ram[1])
        self.probe.write_data(first, Random(seed).randbytes(last - first + 1))

    # --- pins

    def _wire(self) -> None:
        self.usart.move_pin = lambda level: self.set_pin(self.wiring.receive_pin, level)
        self.set_pin(self.wiring.receive_pin, "H")
        for pin, pull in self.wiring.pulls.items():
            self.set_pin(pin, pull)
        self.dimmer.told = self._dimmed
        if not self.is_megaavr:
            self.watcher.after_reset = self._show_inputs
        if self.native is not None and self.analogue is None:  # a pack that sags wants to hear of an edge at once
            self._recorder = PinRecorder(self.native, self.device)
        for name, (pin, _, channel) in self.wiring.outputs.items():
            self._duties[-1 if channel is None else channel] = None
            self._states[name] = self.device.find_pin(pin).digital_state
            self._levels[name] = 0
            self._listen(name, pin)
            self._settle(name)

    def _listen(self, name: str, pin: str) -> None:
        _, active_high, channel = self.wiring.outputs[name]
        if self._recorder is not None and channel is None:
            self._recorder.add(pin, list(self.wiring.outputs).index(name))
            return
        state, cycle, levels, on_edge = self._states[name], self.device.cycle, self._levels, self.on_edge

        def changed(data: Any, tag: int) -> None:
            try:
                if channel is not None:
                    self._settle(name)
                    return
                level = 100 if state() == active_high else 0
                if levels[name] != level:
                    levels[name] = level
                    on_edge(cycle(), name, level)
            except Exception as error:
                self.errors.append(repr(error))

        # Of the three signals that a pin gives at each change, only the one of its digital level comes through.
        digital = core.DataSignalMux()
        digital.add_mux(self.device.find_pin(pin).signal(), _DIGITAL_CHANGE)
        hook = core.CallableSignalHook(changed)
        digital.signal().connect(hook, 0)
        self._hooks += [hook, digital]

    def _dimmed(self, channel: int, duty: float | None) -> None:
        self._duties[channel] = duty
        for name, (_, _, own) in self.wiring.outputs.items():
            if own == channel:
                self._settle(name)

    def _settle(self, name: str) -> None:
        """Find an output's level and tell when it has changed."""
        _, active_high, channel = self.wiring.outputs[name]
        duty = None if channel is None else self._duties.get(channel)
        if duty is None:
            level = 100 if self._states[name]() == active_high else 0
        else:
            level = round(100 * (duty if active_high else 1 - duty))
        if self._levels[name] != level:
            self._levels[name] = level
            self.on_edge(self.device.cycle(), name, level)

    def set_pin(self, pin: str, level: str | float) -> None:
        """Drive a pin from outside: H, L, Z (let go), U or D (pulled), or volts."""
        found = self.device.find_pin(pin)
        before = found.digital_state()
        self._outside[pin] = level
        if isinstance(level, str):
            found.set_external_state(level)
        else:
            found.set_external_state("A", min(1.0, max(0.0, level / self.image.supply_v)))
        if self.pin_change is not None and found.digital_state() != before:
            self.pin_change.changed(pin)

    def _show_inputs(self) -> None:
        """The stock ports of the ATmega328P forget at a reset what their pins are driven to, until it changes."""
        driven = {pin for pin, _, _ in self.wiring.outputs.values()}
        for pin, level in self._outside.items():
            if pin not in driven and isinstance(level, str):
                found = self.device.find_pin(pin)
                found.set_external_state("H" if level in ("L", "D") else "L")
                found.set_external_state(level)

    def _peek(self, address: int) -> int:
        return int(self.probe.read_ioreg(core.reg_addr_t(address)))

    def _volts(self, channel: int) -> float:
        return self._seen(f"PC{channel}")

    def _seen(self, pin: str) -> float:
        """Volts at a pin, as the converter meets them now."""
        simulated = None if self.analogue is None else self.analogue.volts(pin, int(self.device.cycle()))
        if simulated is not None:
            return simulated
        level = self._outside.get(pin, 0.0)
        return (self.image.supply_v if level in ("H", "U") else 0.0) if isinstance(level, str) else level

    # --- memories

    def _memory(self, which: str) -> Any:
        kinds = arch_xt.ArchXT_Core.ArchXT_NVM if self.is_megaavr else arch_avr.ArchAVR_Core.ArchAVR_NVM
        request = core.ctlreq_data_t()
        request.index = int(getattr(kinds, _NVM_KINDS[which]))
        _, answer = self.device.ctlreq(core.IOCTL_CORE, core.CTLREQ_CORE_NVM, request)
        return answer.data.value(core.NonVolatileMemory)

    def read(self, which: str) -> bytes:
        """The whole EEPROM, or the user row."""
        memory = self._memory(which)
        return bytes(memory.read(0, memory.size()))

    def write(self, which: str, data: bytes) -> None:
        """Set the EEPROM or the user row."""
        self._memory(which).program(bytes(data), 0)
        self.tap.changes()

    def memories(self) -> Memories:
        """What stays when the power goes now."""
        return Memories(self.read("eeprom"), self.read("row") if self.is_megaavr else b"")

    # --- running

    @property
    def now(self) -> int:
        """Cycles since power-on."""
        return int(self.loop.cycle())

    def run_to(self, cycle: int) -> None:
        """Run until `cycle`. Raises RuntimeError where the program has crashed the simulated part."""
        left = cycle - self.now
        if left > 0 and self._run is not None:
            self._run(cycle)
            self._take_edges()
        elif left > 0:
            self.loop.run(left)
        state = self.device.state()
        if state in (core.Device.State.Crashed, core.Device.State.Done):
            raise RuntimeError(
                f"the simulated part stopped ({state.name}) at program address {self.probe.read_pc():#x}"
            )
        if self.errors:
            raise RuntimeError(self.errors[0])

    def _take_edges(self) -> None:
        """Tell the edges that the recorder in C++ has kept."""
        if self._recorder is None:
            return
        by_number = [(name, (0, 100) if high else (100, 0)) for name, (_, high, _) in self.wiring.outputs.items()]
        told, on_edge = self._levels, self.on_edge
        for cycle, number, high in self._recorder.take():
            name, levels = by_number[number]
            level = levels[high]
            if told[name] != level:
                told[name] = level
                on_edge(cycle, name, level)

    def stop_here(self) -> None:
        """Let `run_to` return after the present instruction."""
        self.watcher.freeze()
        self.probe.set_device_state(core.Device.State.Break)

    @property
    def broken_rules(self) -> dict[str, int]:
        """Rules of the hardware that the firmware broke, with how often."""
        found: dict[str, int] = {}
        models: list[Hardware | NativeRtc] = [*self._models, *self._watching]
        if self._native_rtc is not None:
            models.append(self._native_rtc)
        for model in models:
            for rule, count in model.broken_rules.items():
                found[rule] = found.get(rule, 0) + count
        return found

    def close(self) -> None:
        """Take everything apart in the order that neither leaks nor crashes."""
        self.probe.detach()
        self._hooks.clear()
        self._states.clear()
        self.usart.move_pin = lambda level: None
        self.dimmer.told = lambda channel, duty: None
        self.tap.changes = lambda: None
        for model in (*self._models, *self._watching):
            discard(model)
            model.let_go()
        self.crystal.before_change.clear()
        self.crystal.after_change.clear()
        self.watcher.minding.models.clear()
        self.watcher.minding.now = lambda: 0
        self.watcher.minding.changed = lambda least: None
        if self._recorder is not None:
            self._recorder.close()
        self._run = None
        self.watcher.after_reset = lambda: None
        device, loop = self.device, self.loop
        del self.device, self.loop
        _sip.delete(device)
        _sip.delete(loop)
        if self._row is not None:
            self._row.close()
        self._models, self._watching = [], []
