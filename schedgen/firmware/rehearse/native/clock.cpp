/* clock.cpp: the real-time counter of the megaAVR 0-series, as part_rtc.py has it. */
#include <algorithm>
#include <cmath>
#include <cstdint>
#include <map>

#include "core/sim_device.h"
#include "core/sim_interrupt.h"
#include "core/sim_ioreg.h"
#include "core/sim_peripheral.h"
#include "core/sim_sleep.h"

YASIMAVR_USING_NAMESPACE

namespace {

constexpr cycle_count_t NEVER = 1LL << 62;

enum { CTRLA, STATUS, INTCTRL, INTFLAGS, TEMP, DBGCTRL, CALIB, CLKSEL, CNT, PER = 10, CMP = 12, PITCTRLA = 16, PITSTATUS,
       PITINTCTRL, PITINTFLAGS, PITDBGCTRL };

/* A count of ticks of a clock whose frequency may change, against processor cycles, without drift. */
struct ticks_t {
    double cycles_a_second = 1, hertz = 0, origin = 0, count = 0;

    double exact(cycle_count_t now) const { return count + (static_cast<double>(now) - origin) * hertz / cycles_a_second; }
    int64_t at(cycle_count_t now) const { return static_cast<int64_t>(exact(now) + 1e-6); }
    void set_hertz(double to, cycle_count_t now)
    {
        count = exact(now);
        origin = static_cast<double>(now);
        hertz = to;
    }
    cycle_count_t when(int64_t wanted) const
    {
        if (hertz == 0 || wanted >= NEVER) {
            return NEVER;
        }
        return static_cast<cycle_count_t>(std::ceil(origin + (static_cast<double>(wanted) - count) * cycles_a_second / hertz));
    }
};

int64_t modulo(int64_t value, int64_t span)
{
    const int64_t rest = value % span;
    return rest < 0 ? rest + span : rest;
}

class Rtc : public Peripheral {
public:
    Rtc(int counter_vector, int pit_vector, double hertz)
        : Peripheral("RTC"), m_hertz(hertz), m_vectors{counter_vector, pit_vector}, m_counter_timer(*this, &Rtc::fire_counter),
          m_pit_timer(*this, &Rtc::fire_pit)
    {
    }

    bool init(Device &device) override
    {
        bool ready = Peripheral::init(device);
        add(CTRLA, 0xFD);
        add(STATUS, 15, IORegister::RO);
        add(INTCTRL, 3);
        add(INTFLAGS, 3, IORegister::Strobe);
        add(TEMP, 255);
        add(DBGCTRL, 1);
        add(CALIB, 255);
        add(CLKSEL, 3);
        for (int offset = CNT; offset < CMP + 2; offset++) {
            add(offset, 255);
        }
        add(PITCTRLA, 0x79);
        add(PITSTATUS, 1, IORegister::RO);
        add(PITINTCTRL, 1);
        add(PITINTFLAGS, 1, IORegister::Strobe);
        add(PITDBGCTRL, 1);
        ready = m_counter_flag.init(device, at(INTCTRL, 3), at(INTFLAGS, 3), m_vectors[0]) && ready;
        return m_pit_flag.init(device, at(PITINTCTRL, 1), at(PITINTFLAGS, 1), m_vectors[1]) && ready;
    }

    void reset(int) override
    {
        m_ticks = m_pit_ticks = ticks_t();
        m_ticks.cycles_a_second = m_pit_ticks.cycles_a_second = m_hertz;
        m_period = 0xFFFF;
        m_compare = 0;
        m_offset = 0;
        m_overflow_at = m_compare_at = NEVER;
        m_pit_length = 0;
        m_on = m_asleep = false;
        m_waiting = 0;
        for (cycle_count_t &until : m_busy_until) {
            until = 0;
        }
        device()->cycle_manager()->cancel(m_counter_timer);
        device()->cycle_manager()->cancel(m_pit_timer);
    }

    void set_clocks(double crystal_hertz, double internal_hertz)
    {
        m_crystal_hertz = crystal_hertz;
        m_internal_hertz = internal_hertz;
        if (device() != nullptr && device()->cycle_manager() != nullptr) {
            retime();
        }
    }

    uint8_t ioreg_read_handler(reg_addr_t addr, uint8_t value) override
    {
        switch (addr - BASE) {
        case CNT:
            return low_byte(static_cast<uint16_t>(counted(now())));
        case PER:
            return low_byte(m_period);
        case CMP:
            return low_byte(m_compare);
        case CNT + 1:
        case PER + 1:
        case CMP + 1:
            return m_waiting;
        case STATUS:
            return busy(0, 4);
        case PITSTATUS:
            return busy(4, 5);
        default:
            return value;
        }
    }

    uint8_t ioreg_peek_handler(reg_addr_t, uint8_t value) override { return value; }

    void ioreg_write_handler(reg_addr_t addr, const ioreg_write_t &data) override
    {
        const int offset = addr - BASE;
        switch (offset) {
        case CNT:
        case PER:
        case CMP:
            m_waiting = data.value;
            break;
        case CNT + 1:
        case PER + 1:
        case CMP + 1:
            write_word(offset - 1, static_cast<uint16_t>(m_waiting | data.value << 8));
            break;
        case CTRLA:
            taking_over(CTRLA, 0);
            m_on = (data.value & 1) != 0;
            retime();
            break;
        case CLKSEL:
            retime();
            break;
        case PITCTRLA:
            taking_over(PITCTRLA, 4);
            start_pit();
            break;
        default:
            break;
        }
    }

    void sleep(bool on, SleepMode mode) override
    {
        const bool standby = mode == SleepMode::Standby;
        const bool stops = on && m_on && mode >= SleepMode::Standby && !(standby && (read_ioreg(reg_addr_t(BASE + CTRLA)) & 0x80) != 0);
        if (stops != m_asleep) {
            m_asleep = stops;
            retime();
        }
    }

    std::map<int, int> busy_writes; /* by register: how often it was written while it was busy */

private:
    static constexpr int BASE = 0x140;
    static constexpr double SYNC_TICKS = 3;

    double m_hertz, m_crystal_hertz = 0, m_internal_hertz = 32768;
    int m_vectors[2];
    InterruptFlag m_counter_flag, m_pit_flag;
    BoundFunctionCycleTimer<Rtc> m_counter_timer, m_pit_timer;
    ticks_t m_ticks, m_pit_ticks;
    uint16_t m_period = 0xFFFF, m_compare = 0;
    int64_t m_offset = 0, m_overflow_at = NEVER, m_compare_at = NEVER, m_next_pit = NEVER, m_pit_length = 0;
    cycle_count_t m_busy_until[5] = {};
    uint8_t m_waiting = 0; /* TEMP */
    bool m_on = false, m_asleep = false;

    void add(int offset, uint8_t mask, IORegister::BitMode mode = IORegister::RW)
    {
        add_ioreg(reg_addr_t(BASE + offset), bitmask_t(mask), mode);
    }
    static regmask_t at(int offset, uint8_t mask) { return regmask_t(reg_addr_t(BASE + offset), bitmask_t(mask)); }
    cycle_count_t now() const { return device()->cycle(); }
    int64_t counted(cycle_count_t now) const { return modulo(m_ticks.at(now) + m_offset, m_period + 1); }

    uint8_t low_byte(uint16_t word)
    {
        m_waiting = static_cast<uint8_t>(word >> 8);
        return static_cast<uint8_t>(word);
    }

    double source_hertz() const
    {
        const int selected = read_ioreg(reg_addr_t(BASE + CLKSEL)) & 3;
        if (selected >= 2) {
            return m_crystal_hertz;
        }
        return selected == 1 ? m_internal_hertz / 32 : m_internal_hertz;
    }

    double counter_hertz() const
    {
        if (!m_on || m_asleep) {
            return 0;
        }
        return source_hertz() / (1 << ((read_ioreg(reg_addr_t(BASE + CTRLA)) >> 3) & 15));
    }

    uint8_t busy(int first, int last) const
    {
        uint8_t bits = 0;
        for (int bit = first; bit < last; bit++) {
            bits |= static_cast<uint8_t>((m_busy_until[bit] > now() ? 1 : 0) << (bit - first));
        }
        return bits;
    }

    void taking_over(int offset, int bit)
    {
        const double hertz = source_hertz();
        if (m_busy_until[bit] > now()) {
            busy_writes[offset]++;
        }
        m_busy_until[bit] = hertz > 0 ? now() + static_cast<cycle_count_t>(SYNC_TICKS * m_hertz / hertz) : NEVER;
    }

    void write_word(int offset, uint16_t word)
    {
        taking_over(offset, offset == CNT ? 1 : offset == PER ? 2 : 3);
        int64_t value = counted(now());
        if (offset == CMP) {
            m_compare = word;
        } else {
            if (offset == PER) {
                m_period = word;
            } else {
                value = word;
            }
            m_offset = value - m_ticks.at(now());
        }
        plan_counter();
    }

    void retime()
    {
        m_ticks.set_hertz(counter_hertz(), now());
        m_pit_ticks.set_hertz(m_pit_length != 0 ? source_hertz() : 0, now());
        plan_counter();
        plan_pit();
    }

    void schedule(CycleTimer &timer, const ticks_t &ticks, int64_t count)
    {
        const cycle_count_t when = ticks.when(count);
        if (when < NEVER) {
            device()->cycle_manager()->schedule(timer, std::max(when, now() + 1));
        } else {
            device()->cycle_manager()->cancel(timer);
        }
    }

    void plan_counter()
    {
        const int64_t here = m_ticks.at(now()), span = m_period + 1;
        const int64_t value = modulo(here + m_offset, span);
        const int64_t away = modulo(m_compare - value, span);
        m_overflow_at = here + span - value;
        m_compare_at = m_compare <= m_period ? here + (away != 0 ? away : span) : NEVER;
        schedule(m_counter_timer, m_ticks, std::min(m_overflow_at, m_compare_at));
    }

    cycle_count_t fire_counter(cycle_count_t when)
    {
        const int64_t here = m_ticks.at(when), span = m_period + 1;
        int hit = 0;
        if (here >= m_overflow_at) {
            hit |= 1;
            m_overflow_at += span;
        }
        if (here >= m_compare_at) {
            hit |= 2;
            m_compare_at += span;
        }
        if (hit != 0) {
            m_counter_flag.set_flag(bitmask_t(static_cast<uint8_t>(hit)));
        }
        const cycle_count_t following = m_ticks.when(std::min(m_overflow_at, m_compare_at));
        return following < NEVER ? std::max(following, when + 1) : 0;
    }

    void plan_pit()
    {
        if (m_pit_length == 0) {
            device()->cycle_manager()->cancel(m_pit_timer);
            return;
        }
        m_next_pit = (m_pit_ticks.at(now()) / m_pit_length + 1) * m_pit_length;
        schedule(m_pit_timer, m_pit_ticks, m_next_pit);
    }

    cycle_count_t fire_pit(cycle_count_t)
    {
        m_pit_flag.set_flag(bitmask_t(1));
        m_next_pit += m_pit_length;
        const cycle_count_t following = m_pit_ticks.when(m_next_pit);
        return following < NEVER ? following : 0;
    }

    void start_pit()
    {
        const int control = read_ioreg(reg_addr_t(BASE + PITCTRLA)), period = (control >> 3) & 15;
        m_pit_length = (control & 1) != 0 && period != 0 ? 1LL << (period + 1) : 0;
        m_pit_ticks = ticks_t();
        m_pit_ticks.cycles_a_second = m_hertz;
        m_pit_ticks.set_hertz(m_pit_length != 0 ? source_hertz() : 0, now());
        plan_pit();
    }
};

} // namespace

extern "C" {

Rtc *schedgen_rtc_new(Device *device, int counter_vector, int pit_vector, double hertz)
{
    auto *made = new Rtc(counter_vector, pit_vector, hertz);
    device->attach_peripheral(*made);
    return made;
}
void schedgen_rtc_clocks(Rtc *rtc, double crystal_hertz, double internal_hertz) { rtc->set_clocks(crystal_hertz, internal_hertz); }
int schedgen_rtc_busy_writes(const Rtc *rtc, int offset)
{
    const auto found = rtc->busy_writes.find(offset);
    return found == rtc->busy_writes.end() ? 0 : found->second;
}
}
