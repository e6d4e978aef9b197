/* main.c: AVR: what waits to be done, sleep, serial line, watchdog; the same for every port.

   The clock ticks once a second and wakes the CPU within a second only where the core, or silence on the line, asks for
   it. Deep asleep, or lightly while a level is made, memory is written or the line is in use. The watchdog runs from
   another oscillator than the crystal: where the ticks stop, it bites, and the next start goes on from the internal
   oscillator. */
#include <avr/sleep.h>
#include <avr/wdt.h>

#include "hardware.h"
#include "link_messages.h"

#define STEP_COUNTS 4U /* of the clock, in 1/64 s */
#define SILENCE_COUNTS ((uint8_t)(LINK_SILENCE_MS * 256UL / 1000UL + 1UL))
#define LINE_AWAKE_S 2U

volatile uint8_t seconds;

static volatile uint8_t ring[PART_RING];
static volatile uint8_t ring_head;
static uint8_t ring_tail;
static uint8_t line_awake; /* s for which the line is listened to */
static uint8_t last_byte;  /* when it came */
static bool line_open;     /* bytes have come and no silence since */

static uint16_t resets __attribute__((section(".noinit"))); /* starts that were gone through since the supply came up */

/* What comes faster than it is read falls over itself, and the checksum of its frame tells. */
void hardware_heard(uint8_t byte)
{
    const uint8_t head = ring_head;
    ring[head % PART_RING] = byte;
    ring_head = (uint8_t)(head + 1U);
}

uint8_t hardware_steps(void)
{
    return clock_count() / STEP_COUNTS;
}

static enum port_reset cause_of(uint8_t flags)
{
    if ((flags & RESET_POWER) != 0U) {
        resets = 0;
    }
    if (resets == 0U) { /* also where the pack's plug bounced while it started */
        return PORT_RESET_POWER;
    }
    if ((flags & RESET_WATCHDOG) != 0U) {
        return PORT_RESET_WATCHDOG;
    }
    if ((flags & RESET_BROWN_OUT) != 0U) {
        return PORT_RESET_BROWN_OUT;
    }
    return (flags & RESET_SOFTWARE) != 0U ? PORT_RESET_SOFTWARE : PORT_RESET_POWER;
}

/* One thing that waits to be done; false where nothing does. */
static bool work(void)
{
    take(EVENT_STIRRED); /* what stirs from here on keeps the CPU awake */
    if (told(EVENT_LINE)) {
        take(EVENT_LINE);
        line_awake = LINE_AWAKE_S;
    }
    if (seconds != 0U) {
        cli();
        seconds--;
        sei();
        wdt_reset(); /* here and nowhere else: no tick, no food */
        if (line_awake != 0U) {
            line_awake--;
        }
        dive_second();
        return true;
    }
    if (told(EVENT_BUTTON)) {
        take(EVENT_BUTTON);
        dive_button();
        return true;
    }
    if (ring_tail != ring_head) {
        const uint8_t byte = ring[ring_tail % PART_RING];
        ring_tail++;
        last_byte = clock_count();
        line_open = true;
        link_byte(byte);
        return true;
    }
    return false;
}

static void sleep_until(uint8_t count)
{
    const bool deep = line_awake == 0U && !hardware_needs_clock() && !dive_listens();
    clock_wake_at(count);
    SLEEP_REGISTER = SLEEP_LIGHT;
    if (deep) {
        clock_sleeps();
        SLEEP_REGISTER = SLEEP_DEEP;
    }
    cli();
    if (EVENTS == 0U) {
        sei();
        sleep_cpu();
        if (deep) {
            clock_woken();
        }
    }
    sei();
}

/* Does what falls due within the second, or sleeps until then. */
static void rest(void)
{
    uint8_t until = 0;
    const uint8_t due = (uint8_t)(dive_fine_due() * STEP_COUNTS);
    if (due != 0U || line_open) {
        const uint8_t now = clock_count();
        if (line_open) {
            if ((uint8_t)(now - last_byte) >= SILENCE_COUNTS) {
                line_open = false;
                link_silence();
                return;
            }
            until = (uint8_t)(last_byte + SILENCE_COUNTS);
        }
        if (due != 0U) {
            if (now >= due) {
                dive_fine();
                return;
            }
            if (until <= now || due < until) {
                until = due;
            }
        }
        if ((uint8_t)(until - now) < 2U) {
            return; /* too near to be slept up to */
        }
    }
    sleep_until(until);
}

/* Stands right behind what start.c begins with, which runs into it; nothing is saved for nobody waits. */
__attribute__((used, OS_main, section(".init9"))) int main(void)
{
    const enum port_reset cause = cause_of(hardware_start());
    const bool clock_ok = clock_start();
    sei();
    dive_boot(cause, resets, clock_ok);
    resets++;
    for (;;) {
        if (!work()) {
            rest();
        }
    }
}
