/* clock.c: megaAVR 0-series: the real-time counter makes 256 turns of 1/256 s. Its overflow is the second; its compare wakes
   within one, and rests at 0, where it comes together with the overflow. */
#include <util/delay.h>

#include "hardware.h"

#define CLOCK_WAIT_MS 2000U
#define WAKE GPIOR1 /* what the compare holds; both are 0 after a reset */

ISR(RTC_CNT_vect)
{
    const uint8_t flags = RTC.INTFLAGS;
    RTC.INTFLAGS = flags;
    if ((flags & RTC_OVF_bm) != 0U) {
        seconds++;
    }
    tell(EVENT_STIRRED);
}

uint8_t clock_count(void)
{
    return RTC.CNTL;
}

static void wait_for_counter(void)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && RTC.STATUS != 0U; turn++) {
    }
}

void clock_wake_at(uint8_t count)
{
    if (count != WAKE) {
        WAKE = count;
        wait_for_counter();
        RTC.CMP = count;
    }
}

void clock_sleeps(void)
{
}

void clock_woken(void)
{
}

static void run_from(uint8_t source)
{
    RTC.CLKSEL = source;
    wait_for_counter();
    RTC.PER = UINT8_MAX;
    RTC.INTCTRL = (uint8_t)(RTC_OVF_bm | RTC_CMP_bm);
    RTC.CTRLA = (uint8_t)(RTC_PRESCALER_DIV128_gc | RTC_RUNSTDBY_bm | RTC_RTCEN_bm);
}

#if CLOCK_CRYSTAL || CLOCK_EXTERNAL
bool clock_start(void)
{
    _PROTECTED_WRITE(CLKCTRL.XOSC32KCTRLA,
                     (uint8_t)(CLKCTRL_ENABLE_bm | CLKCTRL_RUNSTDBY_bm | (CLOCK_EXTERNAL ? CLKCTRL_SEL_bm : 0)));
    bool runs = false;
    for (uint16_t ms = 0; ms < CLOCK_WAIT_MS; ms++) {
        _delay_ms(1);
        if (runs) {
            if (RTC.CNTL >= 2U) {
                return true;
            }
        } else if ((CLKCTRL.MCLKSTATUS & CLKCTRL_XOSC32KS_bm) != 0U) {
            run_from(RTC_CLKSEL_TOSC32K_gc);
            runs = true;
        }
    }
    RTC.CTRLA = 0;
    run_from(RTC_CLKSEL_INT32K_gc);
    return false;
}
#else
bool clock_start(void)
{
    run_from(RTC_CLKSEL_INT32K_gc);
    return true;
}
#endif
