/* models.cpp: what the simulator calls most often, without a call into Python: the loop itself, the sleep counter, the
   outputs' edges, the user row; in clock.cpp the real-time counter. Each does what its Python model does, cycle by cycle.
   Built on the user's computer against the simulator's headers; where that fails, the Python models do the work. */
#include <cstdint>
#include <vector>

#include "core/sim_core.h"
#include "core/sim_device.h"
#include "core/sim_ioreg.h"
#include "core/sim_peripheral.h"
#include "core/sim_pin.h"
#include "core/sim_sleep.h"
#include "ioctrl_common/sim_port.h"

YASIMAVR_BEGIN_NAMESPACE

/* In place of the simulator's own, which does the same but first puts a debug message together for each of eight pins, at
   every write to a port: a sixth of all time. It takes effect where this library is loaded before the simulator is. */
void Port::set_pin_internal_state(uint8_t num, const Pin::controls_t &controls)
{
    if ((m_pinmask & static_cast<uint8_t>(1U << num)) != 0) {
        m_pins[num]->set_gpio_controls(controls);
    }
}

YASIMAVR_END_NAMESPACE

YASIMAVR_USING_NAMESPACE

namespace {

constexpr int MODES = 16;

/* ---- sleep ---- */

using tell_t = void (*)(int on, int mode);

class SleepCounter : public Peripheral {
public:
    explicit SleepCounter(tell_t tell) : Peripheral("SLEEPS"), m_tell(tell) {}

    void reset(int) override
    {
        add_up();
        m_mode = 0;
    }

    void sleep(bool on, SleepMode mode) override
    {
        add_up();
        m_mode = on ? static_cast<int>(mode) : 0;
        if (static_cast<int>(mode) >= least) {
            m_tell(on ? 1 : 0, static_cast<int>(mode));
        }
    }

    void add_up()
    {
        const cycle_count_t now = device()->cycle();
        cycles[m_mode] += now - m_since;
        m_since = now;
    }

    int mode() const { return m_mode; }

    cycle_count_t cycles[MODES] = {}; /* by mode; 0: awake */
    int least = 99;

private:
    tell_t m_tell;
    cycle_count_t m_since = 0;
    int m_mode = 0;
};

/* ---- edges of pins ---- */

struct edge_t {
    cycle_count_t cycle;
    int32_t number, high;
};

class PinRecorder : public SignalHook {
public:
    explicit PinRecorder(Device &device) : m_device(device) {}

    void add(const char *pin, int number) { m_device.find_pin(pin_id_t(pin))->signal().connect(*this, number); }

    void raised(const signal_data_t &data, int number) override
    {
        if (data.sigid == Wire::Signal_DigitalChange) {
            edges.push_back({m_device.cycle(), number, data.data.as_uint() != 0 ? 1 : 0});
        }
    }

    std::vector<edge_t> edges;

private:
    Device &m_device;
};

/* ---- the user row, which the stock model shows as zeros ---- */

using refill_t = void (*)();

class RowMirror : public IORegHandler {
public:
    RowMirror(Device &device, int base, int size, refill_t refill) : bytes(static_cast<size_t>(size)), m_base(base), m_refill(refill)
    {
        for (int offset = 0; offset < size; offset++) {
            device.add_ioreg_handler(reg_addr_t(base + offset), *this, bitmask_t(0), IORegister::RW);
        }
    }

    uint8_t ioreg_read_handler(reg_addr_t addr, uint8_t) override
    {
        if (stale) {
            m_refill();
            stale = false;
        }
        return bytes[static_cast<size_t>(addr - m_base)];
    }

    uint8_t ioreg_peek_handler(reg_addr_t, uint8_t value) override { return value; }
    void ioreg_write_handler(reg_addr_t, const ioreg_write_t &) override {}

    std::vector<uint8_t> bytes;
    bool stale = true;

private:
    int m_base;
    refill_t m_refill;
};

} // namespace

extern "C" {

/* Run to a cycle, or to where the device breaks or ends. */
void schedgen_run(Device *device, cycle_count_t goal)
{
    CycleManager &manager = *device->cycle_manager();
    Core &core = device->core();
    while (manager.cycle() < goal) {
        cycle_count_t steps = device->state() == Device::State_Running ? core.exec_cycle() : device->exec_cycle();
        const cycle_count_t now = manager.cycle();
        cycle_count_t next = manager.next_when();
        if (next >= 0 && next <= now) {
            manager.process_timers();
            next = manager.next_when();
        }
        const Device::State state = device->state();
        if (state == Device::State_Sleeping) {
            if (next < 0 || next >= goal) {
                manager.increment_cycle(goal - now);
                return;
            }
            if (next > now) {
                steps = next - now;
            }
        } else if (state >= Device::State_Break) {
            return;
        }
        manager.increment_cycle(steps);
    }
}

SleepCounter *schedgen_sleep_new(Device *device, tell_t tell)
{
    auto *made = new SleepCounter(tell);
    device->attach_peripheral(*made);
    return made;
}
void schedgen_sleep_mind(SleepCounter *counter, int least) { counter->least = least; }
int schedgen_sleep_mode(const SleepCounter *counter) { return counter->mode(); }
void schedgen_sleep_read(SleepCounter *counter, int64_t *cycles)
{
    counter->add_up();
    for (int mode = 0; mode < MODES; mode++) {
        cycles[mode] = counter->cycles[mode];
    }
}

PinRecorder *schedgen_pins_new(Device *device) { return new PinRecorder(*device); }
void schedgen_pins_add(PinRecorder *pins, const char *pin, int number) { pins->add(pin, number); }
int schedgen_pins_count(const PinRecorder *pins) { return static_cast<int>(pins->edges.size()); }
const edge_t *schedgen_pins_edges(const PinRecorder *pins) { return pins->edges.data(); }
void schedgen_pins_forget(PinRecorder *pins) { pins->edges.clear(); }
void schedgen_pins_delete(PinRecorder *pins) { delete pins; }

RowMirror *schedgen_row_new(Device *device, int base, int size, refill_t refill)
{
    return new RowMirror(*device, base, size, refill);
}
uint8_t *schedgen_row_bytes(RowMirror *row) { return row->bytes.data(); }
void schedgen_row_forget(RowMirror *row) { row->stale = true; }
void schedgen_row_delete(RowMirror *row) { delete row; }
}
