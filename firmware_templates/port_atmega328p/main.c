/* main.c: ATmega328P: time, sleep, interrupts, watchdog.

   Timer 2 counts the crystal at 256 Hz: its overflow ticks once a second, its compare wakes the CPU within a second, only
   where the core asks for it. Asleep in power-save, or in idle while a level is made or the serial line is in use. The
   watchdog runs from another oscillator than the crystal: where the ticks stop, it bites, and the next start goes on from
   the main oscillator, in idle. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>
#include <util/delay.h>

#include "board.h"
#include "hardware.h"
#include "link_messages.h"
#include "pins.h"

#define STEP_COUNTS 4U /* of the timer, in 1/64 s */
#define SILENCE_COUNTS ((uint8_t)(LINK_SILENCE_MS * 256UL / 1000UL + 1UL))
#define SERIAL_AWAKE_S 2U
#define CRYSTAL_WAIT_MS 2000U
#define SYNC_TURNS 20000U
#define RING 32U
#define INTERNAL_TOP 124U /* 1024 x 125 cycles a turn */
#define INTERNAL_CYCLES (1024UL * (INTERNAL_TOP + 1UL))

static volatile uint8_t seconds, button;
static volatile bool internal; /* time comes from the main oscillator */
static volatile uint32_t cycles; /* since the second began, where it does */
static volatile uint8_t ring[RING];
static volatile uint8_t ring_head;
static uint8_t ring_tail;
static volatile uint8_t serial_awake;
static uint8_t last_byte;
static bool line_open; /* bytes have come and no silence since */

static uint16_t resets __attribute__((section(".noinit")));
static uint8_t reset_flags;

ISR(TIMER2_OVF_vect)
{
    seconds++;
}

ISR(TIMER2_COMPA_vect)
{
    if (internal) {
        cycles += INTERNAL_CYCLES;
        if (cycles >= F_CPU) {
            cycles -= F_CPU;
            seconds++;
        }
    } else {
        TIMSK2 = (uint8_t)(1U << TOIE2);
    }
}

ISR(USART_RX_vect)
{
    const uint8_t byte = UDR0;
    const uint8_t next = (uint8_t)((ring_head + 1U) % RING);
    ring[ring_head] = byte;
    if (next != ring_tail) {
        ring_head = next;
    }
    serial_awake = SERIAL_AWAKE_S;
}

ISR(PCINT2_vect)
{
    if ((PIND & 1U) == 0U) {
        serial_awake = SERIAL_AWAKE_S;
    }
    button = 1;
}
ISR(PCINT0_vect, ISR_ALIASOF(PCINT2_vect));
ISR(PCINT1_vect, ISR_ALIASOF(PCINT2_vect));

/* 1/256 s since the second began. */
static uint8_t counts(void)
{
    if (!internal) {
        return TCNT2;
    }
    const uint8_t before = SREG;
    cli();
    const uint32_t now = cycles;
    SREG = before;
    return (uint8_t)(now / (F_CPU / 256UL));
}

uint8_t hardware_steps(void)
{
    return counts() / STEP_COUNTS;
}

static void wait_for_timer(uint8_t busy)
{
    for (uint16_t turn = 0; turn < SYNC_TURNS && (ASSR & busy) != 0U; turn++) {
    }
}

/* Asks for a wake-up at this count of the second; false where it has come already. */
static bool wake_at(uint8_t count)
{
    if (internal) {
        return count > counts(); /* its ticks wake often enough */
    }
    wait_for_timer((uint8_t)(1U << OCR2AUB));
    OCR2A = count;
    TIFR2 = (uint8_t)(1U << OCF2A);
    TIMSK2 = (uint8_t)((1U << TOIE2) | (1U << OCIE2A));
    wait_for_timer((uint8_t)(1U << OCR2AUB));
    return count > counts();
}

static bool start_crystal(void)
{
    TIMSK2 = 0;
    ASSR = (uint8_t)(1U << AS2);
    TCNT2 = 0;
    TCCR2A = 0;
    TCCR2B = (uint8_t)((1U << CS22) | (1U << CS20)); /* a 128th of 32768 Hz */
    for (uint16_t ms = 0; ms < CRYSTAL_WAIT_MS; ms++) {
        _delay_ms(1);
        if (TCNT2 >= 4U) {
            TIFR2 = (uint8_t)((1U << TOV2) | (1U << OCF2A));
            TIMSK2 = (uint8_t)(1U << TOIE2);
            return true;
        }
    }
    return false;
}

static void start_internal(void)
{
    internal = true;
    ASSR = 0;
    TCCR2A = (uint8_t)(1U << WGM21);
    TCCR2B = (uint8_t)((1U << CS22) | (1U << CS21) | (1U << CS20)); /* a 1024th of the main clock */
    OCR2A = INTERNAL_TOP;
    TCNT2 = 0;
    TIFR2 = (uint8_t)((1U << TOV2) | (1U << OCF2A));
    TIMSK2 = (uint8_t)(1U << OCIE2A);
}

static bool start_clock(void)
{
    if (CLOCK_CRYSTAL && start_crystal()) {
        return true;
    }
    start_internal();
    return CLOCK_CRYSTAL == 0;
}

static enum port_reset reset_cause(void)
{
    if ((reset_flags & (1U << PORF)) != 0U) {
        resets = 0;
        return PORT_RESET_POWER;
    }
    resets++;
    if ((reset_flags & (1U << WDRF)) != 0U) {
        return PORT_RESET_WATCHDOG;
    }
    return (reset_flags & (1U << BORF)) != 0U ? PORT_RESET_BROWN_OUT : PORT_RESET_POWER;
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
    if (line_open && (uint8_t)(counts() - last_byte) >= SILENCE_COUNTS) {
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
    const uint8_t now = counts();
    const uint8_t silent_in = (uint8_t)(SILENCE_COUNTS - (uint8_t)(now - last_byte));
    uint8_t at = (uint8_t)(due * STEP_COUNTS);
    if (line_open && now + (uint16_t)silent_in < 256U && (due == 0U || (uint8_t)(now + silent_in) < at)) {
        at = (uint8_t)(now + silent_in);
    }
    if (at == 0U) {
        if (!internal) {
            TIMSK2 = (uint8_t)(1U << TOIE2);
        }
        return true;
    }
    return wake_at(at);
}

static void sleep_now(void)
{
    const bool light_sleep = internal || hardware_needs_clock() || serial_awake != 0U || dive_listens();
    if (!may_sleep()) {
        return;
    }
    if (!light_sleep) {
        OCR2B = 0; /* the timer must have seen one edge since the last wake-up, or it would not wake again */
        wait_for_timer((uint8_t)(1U << OCR2BUB));
    }
    SMCR = light_sleep ? 0U : (uint8_t)((1U << SM1) | (1U << SM0));
    cli();
    if (seconds == 0U && button == 0U && ring_tail == ring_head) {
        SMCR |= (uint8_t)(1U << SE);
        sei();
        sleep_cpu();
        SMCR &= (uint8_t)~(1U << SE);
    }
    sei();
}

int main(void)
{
    reset_flags = MCUSR;
    MCUSR = 0;
    wdt_enable(WDTO_8S); /* first of all: after a reset by the watchdog it goes on at its shortest period, 16 ms */
    hardware_start();
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
