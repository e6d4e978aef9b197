/* clock.c: ATmega328P: timer 2 makes 256 turns of 1/256 s from the crystal. Its overflow is the second; its compare wakes
   within one, and rests where it comes together with the overflow. Where the crystal fails, timer 2 takes the main oscillator, and its compare comes 64 times a second; the CPU
   then sleeps lightly. */
#include <util/delay.h>

#include "hardware.h"

#define CRYSTAL_WAIT_MS 2000U
#define WAKE GPIOR1 /* the count after the compare, 0 after a reset */
#define INTERNAL_STEP 4U
#define INTERNAL_TOP ((uint8_t)((F_CPU / 1024UL * INTERNAL_STEP + 128UL) / 256UL - 1UL))

#define TRIM_STEPS 32U /* of some 0.4 % */
#define TURN_COUNTS ((uint8_t)(F_CPU / 256UL / 256UL)) /* of 256 cycles in 1/256 s */

#define TAKING_OVER ((1U << OCR2AUB) | (1U << OCR2BUB))

#define internal_count GPIOR2 /* 1/256 s, where time comes from the main oscillator; 0 after a reset */

/* The timer's own clock comes from the crystal. */
static bool by_crystal(void)
{
    return (ASSR & (1U << AS2)) != 0U;
}

ISR(TIMER2_OVF_vect)
{
    seconds++;
    tell(EVENT_STIRRED);
}

ISR(TIMER2_COMPA_vect)
{
    tell(EVENT_STIRRED);
    if (!by_crystal()) {
        const uint8_t count = (uint8_t)(internal_count + INTERNAL_STEP);
        internal_count = count;
        if (count == 0U) {
            seconds++;
        }
    }
}

static void wait_for_timer(void)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (ASSR & TAKING_OVER) != 0U; turn++) {
    }
}

/* Right after sleep the counter shows an old value, until the write of clock_woken() has been taken over. */
uint8_t clock_count(void)
{
    if (!by_crystal()) {
        return internal_count;
    }
    wait_for_timer();
    return TCNT2;
}

void clock_wake_at(uint8_t count)
{
    if (count == WAKE || !by_crystal()) {
        return; /* the internal ticks wake often enough */
    }
    WAKE = count;
    wait_for_timer();
    OCR2A = (uint8_t)(count - 1U); /* the compare comes with the turn after */
}

/* Asleep before the timer has seen an edge of the crystal, it would not wake again. */
void clock_sleeps(void)
{
    wait_for_timer();
}

void clock_woken(void)
{
    OCR2B = UINT8_MAX;
}

static void start_timer(uint8_t source, uint8_t mode, uint8_t divider, uint8_t top)
{
    ASSR = source;
    OCR2A = top;
    TCCR2A = mode;
    TCCR2B = divider;
    TIMSK2 = (uint8_t)((1U << TOIE2) | (1U << OCIE2A));
}

static void wait_for_turn(void)
{
    const uint8_t now = TCNT2;
    for (uint16_t turn = 0; turn < BUSY_TURNS && TCNT2 == now; turn++) {
    }
}

/* Brings the main oscillator, which may be off by a tenth, to within 1 % for the serial line's sake: timer 0 counts it over
   one turn of the crystal's timer. */
static void trim(void)
{
    TCCR0B = (uint8_t)(1U << CS02);
    for (uint8_t n = 0; n < TRIM_STEPS; n++) {
        wait_for_turn();
        TCNT0 = 0;
        wait_for_turn();
        const uint8_t counts = TCNT0;
        if (counts < TURN_COUNTS) {
            OSCCAL++;
        } else if (counts > TURN_COUNTS + 1U) {
            OSCCAL--;
        } else {
            break;
        }
    }
    TCCR0B = 0;
}

bool clock_start(void)
{
    if (CLOCK_CRYSTAL) {
        start_timer((uint8_t)(1U << AS2), 0, (uint8_t)((1U << CS22) | (1U << CS20)), UINT8_MAX); /* a 128th of 32768 Hz */
        for (uint16_t ms = 0; ms < CRYSTAL_WAIT_MS; ms++) {
            _delay_ms(1);
            if (TCNT2 >= 2U) {
                trim();
                return true;
            }
        }
    }
    start_timer(0, (uint8_t)(1U << WGM21), (uint8_t)((1U << CS22) | (1U << CS21) | (1U << CS20)), INTERNAL_TOP);
    return CLOCK_CRYSTAL == 0;
}
