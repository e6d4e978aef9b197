/* main.c: megaAVR 0-series: time, sleep, interrupts, watchdog.

   The periodic interrupt of the real-time counter ticks once a second; its counter runs at 1024 Hz and its compare wakes
   the CPU within a second, only where the core asks for it. Asleep in STANDBY, or in IDLE while a level is made, memory is
   written or the serial line is in use. The watchdog runs from another oscillator than the crystal: where the ticks stop,
   it bites, and the next start goes on from the internal oscillator. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/delay.h>

#include "board.h"
#include "hardware.h"
#include "link_messages.h"
#include "pins.h"

#define STEP_COUNTS 16U /* of the counter, in 1/64 s */
#define SILENCE_COUNTS (LINK_SILENCE_MS * 1024UL / 1000UL + 1UL)
#define SERIAL_AWAKE_S 2U
#define CRYSTAL_WAIT_MS 2000U
#define TICKS_WAIT_MS 100U
#define SYNC_TURNS 20000U
#define RING 64U

static volatile uint8_t seconds, compared, button;
static volatile uint16_t second_began;
static volatile uint8_t ring[RING];
static volatile uint8_t ring_head;
static uint8_t ring_tail;
static uint8_t serial_awake;
static uint16_t last_byte;
static bool line_open; /* bytes have come and no silence since */

static uint16_t resets __attribute__((section(".noinit")));

ISR(RTC_PIT_vect)
{
    RTC.PITINTFLAGS = RTC_PI_bm;
    second_began = RTC.CNT;
    seconds++;
}

ISR(RTC_CNT_vect)
{
    RTC.INTFLAGS = (uint8_t)(RTC_CMP_bm | RTC_OVF_bm);
    RTC.INTCTRL = 0;
    compared = 1;
}

ISR(SERIAL_RXC_VECT)
{
    const uint8_t status = SERIAL_USART.STATUS;
    if ((status & USART_RXSIF_bm) != 0U) {
        SERIAL_USART.STATUS = USART_RXSIF_bm;
        serial_awake = SERIAL_AWAKE_S;
    }
    if ((status & USART_RXCIF_bm) != 0U) {
        const uint8_t byte = SERIAL_USART.RXDATAL;
        const uint8_t next = (uint8_t)((ring_head + 1U) % RING);
        ring[ring_head] = byte;
        if (next != ring_tail) {
            ring_head = next;
        }
        serial_awake = SERIAL_AWAKE_S;
    }
}

static void pin_changed(PORT_t *port)
{
    port->INTFLAGS = port->INTFLAGS;
    button = 1;
}

BUTTON_VECTORS(pin_changed)

/* The counter, read whole. */
static uint16_t counts(void)
{
    const uint8_t before = SREG;
    cli();
    const uint16_t now = RTC.CNT;
    SREG = before;
    return now;
}

static uint16_t began(void)
{
    const uint8_t before = SREG;
    cli();
    const uint16_t then = second_began;
    SREG = before;
    return then;
}

uint8_t hardware_steps(void)
{
    const uint16_t steps = (uint16_t)(counts() - began()) / STEP_COUNTS;
    return steps < 63U ? (uint8_t)steps : 63U;
}

static void wait_for_counter(uint8_t busy)
{
    for (uint16_t turn = 0; turn < SYNC_TURNS && (RTC.STATUS & busy) != 0U; turn++) {
    }
}

/* Asks for a wake-up when the counter reaches this; false where it has done so already. */
static bool wake_at(uint16_t count)
{
    wait_for_counter(RTC_CMPBUSY_bm);
    RTC.CMP = count;
    RTC.INTFLAGS = RTC_CMP_bm;
    RTC.INTCTRL = RTC_CMP_bm;
    return (int16_t)(count - counts()) > 1;
}

static void run_counter(uint8_t source)
{
    RTC.CLKSEL = source;
    wait_for_counter(RTC_CTRLABUSY_bm | RTC_PERBUSY_bm | RTC_CMPBUSY_bm);
    RTC.PER = 0xFFFF;
    RTC.CTRLA = (uint8_t)(RTC_PRESCALER_DIV32_gc | RTC_RUNSTDBY_bm | RTC_RTCEN_bm);
    for (uint16_t turn = 0; turn < SYNC_TURNS && (RTC.PITSTATUS & RTC_CTRLBUSY_bm) != 0U; turn++) {
    }
    RTC.PITCTRLA = (uint8_t)(RTC_PERIOD_CYC32768_gc | RTC_PITEN_bm);
    RTC.PITINTCTRL = RTC_PI_bm;
}

/* Whether the counter counts: the CPU's own oscillator tells how long to look. */
static bool ticks(void)
{
    const uint16_t before = RTC.CNT;
    for (uint8_t ms = 0; ms < TICKS_WAIT_MS; ms++) {
        _delay_ms(1);
        if ((uint16_t)(RTC.CNT - before) >= 4U) {
            return true;
        }
    }
    return false;
}

#if CLOCK_CRYSTAL || CLOCK_EXTERNAL
static bool start_clock(void)
{
    _PROTECTED_WRITE(CLKCTRL.XOSC32KCTRLA,
                     (uint8_t)(CLKCTRL_ENABLE_bm | CLKCTRL_RUNSTDBY_bm | (CLOCK_EXTERNAL ? CLKCTRL_SEL_bm : 0)));
    for (uint16_t ms = 0; ms < CRYSTAL_WAIT_MS && (CLKCTRL.MCLKSTATUS & CLKCTRL_XOSC32KS_bm) == 0U; ms++) {
        _delay_ms(1);
    }
    if ((CLKCTRL.MCLKSTATUS & CLKCTRL_XOSC32KS_bm) != 0U) {
        run_counter(RTC_CLKSEL_TOSC32K_gc);
        if (ticks()) {
            return true;
        }
    }
    RTC.CTRLA = 0;
    RTC.PITCTRLA = 0;
    run_counter(RTC_CLKSEL_INT32K_gc);
    return false;
}
#else
static bool start_clock(void)
{
    run_counter(RTC_CLKSEL_INT32K_gc);
    (void)ticks();
    return true;
}
#endif

static enum port_reset reset_cause(void)
{
    const uint8_t flags = RSTCTRL.RSTFR;
    RSTCTRL.RSTFR = flags;
    if ((flags & RSTCTRL_PORF_bm) != 0U) {
        resets = 0;
        return PORT_RESET_POWER;
    }
    resets++;
    if ((flags & RSTCTRL_WDRF_bm) != 0U) {
        return PORT_RESET_WATCHDOG;
    }
    if ((flags & RSTCTRL_BORF_bm) != 0U) {
        return PORT_RESET_BROWN_OUT;
    }
    return (flags & RSTCTRL_SWRF_bm) != 0U ? PORT_RESET_SOFTWARE : PORT_RESET_POWER;
}

/* One thing that waits to be done; false where nothing does. */
static bool work(void)
{
    if (seconds != 0U) {
        cli();
        seconds--;
        sei();
        wdt_reset(); /* here and nowhere else: no tick, no food */
        serial_awake = serial_awake > 0U ? (uint8_t)(serial_awake - 1U) : 0U;
        dive_second();
        return true;
    }
    if (button != 0U) {
        button = 0;
        dive_button();
        return true;
    }
    if (ring_tail != ring_head) {
        const uint8_t byte = ring[ring_tail];
        ring_tail = (uint8_t)((ring_tail + 1U) % RING);
        last_byte = counts();
        line_open = true;
        link_byte(byte);
        return true;
    }
    if (line_open && (uint16_t)(counts() - last_byte) >= SILENCE_COUNTS) {
        line_open = false;
        link_silence();
        return true;
    }
    const uint8_t due = dive_fine_due();
    if (due != 0U && hardware_steps() >= due) {
        dive_fine();
        return true;
    }
    return false;
}

/* Whether there is time to sleep until the next thing that the core or the line asks for. */
static bool may_sleep(void)
{
    const uint8_t due = dive_fine_due();
    const uint16_t fine_at = (uint16_t)(began() + (uint16_t)due * STEP_COUNTS);
    const uint16_t silent_at = (uint16_t)(last_byte + SILENCE_COUNTS);
    if (due == 0U && !line_open) {
        RTC.INTCTRL = 0;
        return true;
    }
    if (due == 0U) {
        return wake_at(silent_at);
    }
    return wake_at(line_open && (int16_t)(silent_at - fine_at) < 0 ? silent_at : fine_at);
}

static void sleep_now(void)
{
    const bool light_sleep = hardware_needs_clock() || serial_awake != 0U || dive_listens();
    if (!may_sleep()) {
        return;
    }
    SLPCTRL.CTRLA = light_sleep ? (uint8_t)SLPCTRL_SMODE_IDLE_gc : (uint8_t)SLPCTRL_SMODE_STDBY_gc;
    cli();
    if (seconds == 0U && compared == 0U && button == 0U && ring_tail == ring_head) {
        SLPCTRL.CTRLA |= SLPCTRL_SEN_bm;
        sei();
        sleep_cpu();
        SLPCTRL.CTRLA &= (uint8_t)~SLPCTRL_SEN_bm;
    }
    compared = 0;
    sei();
}

int main(void)
{
    hardware_start();
    _PROTECTED_WRITE(WDT.CTRLA, WDT_PERIOD_8KCLK_gc);
    const enum port_reset cause = reset_cause();
    const bool clock_ok = start_clock();
    sei();
    dive_boot(cause, resets, clock_ok);
    for (;;) {
        if (!work()) {
            sleep_now();
        }
    }
}
