/* port.c: ATmega328P. What the core asks of the hardware; time and sleep are in main.c. */
#include "hardware.h"

#include <avr/interrupt.h>
#include <avr/io.h>
#include <util/delay.h>

#include "board.h"
#include "pins.h"

#define JOINED(a, b) a##b
#define JOIN(a, b) JOINED(a, b)
#define PORT_OF(name) JOIN(PORT, PIN_##name##_PORT)
#define DIRECTION_OF(name) JOIN(DDR, PIN_##name##_PORT)
#define INPUT_OF(name) JOIN(PIN, PIN_##name##_PORT)
#define MASK_OF(name) ((uint8_t)(1U << PIN_##name##_BIT))

#define PCMSK_OF_B PCMSK0
#define PCMSK_OF_C PCMSK1
#define PCMSK_OF_D PCMSK2

#define NO_TIMER 255U
#define BUSY_TURNS 60000U /* no wait is longer than this many turns, tens of milliseconds */
#define SETTLE_US 50

#if F_CPU / LEVEL_HZ > 65535UL
#define LEVEL_DIVIDER 8UL
#define LEVEL_CLOCK 2U
#else
#define LEVEL_DIVIDER 1UL
#define LEVEL_CLOCK 1U
#endif
#define LEVEL_STEPS (F_CPU / LEVEL_DIVIDER / LEVEL_HZ)

#if SENSE_REFERENCE_MV != 1100
#error "the converter is used with its reference of 1.1 V"
#endif

struct pin {
    volatile uint8_t *port, *direction;
    uint8_t mask;
    bool high; /* this level switches on */
    uint8_t timer, channel;
};

#define PIN_ROW(number, letter, bit, high, timer, channel)                                                             \
    {&PORT##letter, &DDR##letter, (uint8_t)(1U << (bit)), (high) != 0, timer, channel},
static const struct pin pins[] = {BOARD_OUTPUT_PINS(PIN_ROW)};

static uint8_t levels_on; /* bit n: output n */

static void drive(const struct pin *pin, bool on)
{
    const uint8_t before = SREG;
    cli();
    if (on == pin->high) {
        *pin->port |= pin->mask;
    } else {
        *pin->port &= (uint8_t)~pin->mask;
    }
    SREG = before;
}

/* Timer 1 counts to LEVEL_STEPS, timer 0 to 256 at the nearest frequency; where low switches on, the pin is inverted. */
static void modulate(const struct pin *pin, uint8_t percent)
{
    const bool on = percent != 0U && percent < 100U;
    const uint8_t mode = (uint8_t)((pin->high ? 2U : 3U) << (pin->channel == 0U ? 6U : 4U));
    const uint8_t both = (uint8_t)(3U << (pin->channel == 0U ? 6U : 4U));
    drive(pin, percent != 0U);
    if (pin->timer == 1U) {
        const uint16_t compare = (uint16_t)((uint32_t)LEVEL_STEPS * percent / 100U);
        if (pin->channel == 0U) {
            OCR1A = compare;
        } else {
            OCR1B = compare;
        }
        TCCR1A = (uint8_t)((TCCR1A & (uint8_t)~both) | (on ? mode : 0U));
    } else {
        const uint8_t compare = (uint8_t)(256U * percent / 100U - 1U);
        if (pin->channel == 0U) {
            OCR0A = compare;
        } else {
            OCR0B = compare;
        }
        TCCR0A = (uint8_t)((TCCR0A & (uint8_t)~both) | (on ? mode : 0U));
    }
}

static void output(uint8_t number, uint8_t percent)
{
    if (number >= sizeof pins / sizeof pins[0]) {
        return;
    }
    const uint8_t bit = (uint8_t)(1U << number);
    levels_on &= (uint8_t)~bit;
    if (pins[number].timer == NO_TIMER) {
        drive(&pins[number], percent != 0U);
        return;
    }
    modulate(&pins[number], percent);
    if (percent != 0U && percent < 100U) {
        levels_on |= bit;
    }
}

bool hardware_needs_clock(void)
{
    return levels_on != 0U;
}

static void light(bool lit)
{
    if (lit == (LIGHT_ON != 0)) {
        PORT_OF(LIGHT) |= MASK_OF(LIGHT);
    } else {
        PORT_OF(LIGHT) &= (uint8_t)~MASK_OF(LIGHT);
    }
}

static void wait_for_memory(void)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (EECR & (1U << EEPE)) != 0U; turn++) {
    }
}

static uint8_t load(uint16_t address)
{
    wait_for_memory();
    EEAR = address;
    EECR |= (uint8_t)(1U << EERE);
    return EEDR;
}

static void store(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    for (; count > 0U; count--, address++, bytes++) {
        if (load(address) == *bytes) {
            continue;
        }
        EEDR = *bytes;
        const uint8_t before = SREG;
        cli();
        EECR = (uint8_t)(1U << EEMPE);
        EECR = (uint8_t)((1U << EEMPE) | (1U << EEPE));
        SREG = before;
    }
}

static uint16_t convert(void)
{
    ADCSRA |= (uint8_t)(1U << ADSC);
    for (uint16_t turn = 0; turn < BUSY_TURNS && (ADCSRA & (1U << ADSC)) != 0U; turn++) {
    }
    return ADC;
}

static uint16_t pack_mv(void)
{
    uint16_t sum = 0;
    ADMUX = (uint8_t)((1U << REFS1) | (1U << REFS0) | PIN_SENSE_CHANNEL);
    ADCSRA = (uint8_t)((1U << ADEN) | (1U << ADPS2) | (1U << ADPS1)); /* a 64th of 8 MHz */
    _delay_us(SETTLE_US);
    (void)convert(); /* the first after switching on is not good */
    for (uint8_t n = 0; n < 4U; n++) {
        sum = (uint16_t)(sum + convert());
    }
    ADCSRA = 0;
    return (uint16_t)((uint32_t)sum * (uint32_t)SENSE_FULL_MV / (4UL * 1024UL));
}

/* A contact is looked at with a pull-up for a moment only: less current, and less of it eaten by sea water. */
#define CLOSED(name, high) closed(&PORT_OF(name), &INPUT_OF(name), MASK_OF(name), (high) != 0)
static bool closed(volatile uint8_t *port, const volatile uint8_t *input, uint8_t mask, bool high)
{
    if (!high) {
        *port |= mask;
    }
    _delay_us(SETTLE_US);
    const bool level = (*input & mask) != 0U;
    *port &= (uint8_t)~mask;
    return level == high;
}

static bool wet(void)
{
#if BOARD_WATER
    return CLOSED(WATER, WATER_ACTIVE);
#else
    return false;
#endif
}

static bool lead(void)
{
    return CLOSED(LEAD, LEAD_ACTIVE);
}

static uint8_t buttons(void)
{
    const bool a = ((INPUT_OF(BUTTON_A) & MASK_OF(BUTTON_A)) == 0U) == (BUTTON_A_PULL_UP != 0);
    const bool b = ((INPUT_OF(BUTTON_B) & MASK_OF(BUTTON_B)) == 0U) == (BUTTON_B_PULL_UP != 0);
    return (uint8_t)((a ? 1U : 0U) | (b ? 2U : 0U));
}

static void send(uint8_t byte)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (UCSR0A & (1U << UDRE0)) == 0U; turn++) {
    }
    UDR0 = byte;
}

static uint8_t contacts(void)
{
    return (uint8_t)((lead() ? PORT_LEAD : 0U) | (wet() ? PORT_WET : 0U));
}

const struct board_port dive_port = {output, light, load, store, pack_mv, contacts, buttons, hardware_steps, send};

/* ---- at the start ---- */

static void start_outputs(void)
{
    for (uint8_t n = 0; n < sizeof pins / sizeof pins[0]; n++) {
        drive(&pins[n], false); /* the level first, then the direction */
        *pins[n].direction |= pins[n].mask;
    }
    light(false);
    DIRECTION_OF(LIGHT) |= MASK_OF(LIGHT);
}

static void start_levels(void)
{
    ICR1 = (uint16_t)(LEVEL_STEPS - 1UL);
    TCCR1A = (uint8_t)(1U << WGM11);
    TCCR1B = (uint8_t)((1U << WGM13) | (1U << WGM12) | LEVEL_CLOCK);
    TCCR0A = (uint8_t)((1U << WGM01) | (1U << WGM00));
    TCCR0B = F_CPU / 256UL / LEVEL_HZ > 22UL ? (uint8_t)((1U << CS01) | (1U << CS00)) : (uint8_t)(1U << CS01);
}

static void start_serial(void)
{
    PORTD |= (uint8_t)(1U << 0); /* a pull-up for the receiver */
    UBRR0 = (uint16_t)((F_CPU + 4UL * SERIAL_BAUD) / (8UL * SERIAL_BAUD) - 1UL);
    UCSR0A = (uint8_t)(1U << U2X0);
    UCSR0C = (uint8_t)((1U << UCSZ01) | (1U << UCSZ00));
    UCSR0B = (uint8_t)((1U << RXCIE0) | (1U << RXEN0) | (1U << TXEN0));
}

static void start_buttons(void)
{
    if (BUTTON_A_PULL_UP != 0) {
        PORT_OF(BUTTON_A) |= MASK_OF(BUTTON_A);
    }
    if (BUTTON_B_PULL_UP != 0) {
        PORT_OF(BUTTON_B) |= MASK_OF(BUTTON_B);
    }
    JOIN(PCMSK_OF_, PIN_BUTTON_A_PORT) |= MASK_OF(BUTTON_A);
    JOIN(PCMSK_OF_, PIN_BUTTON_B_PORT) |= MASK_OF(BUTTON_B);
    PCMSK2 |= (uint8_t)(1U << 0); /* the receiver's pin wakes too: asleep it hears nothing */
    PCICR = (uint8_t)((1U << PCIE0) | (1U << PCIE1) | (1U << PCIE2));
}

void hardware_start(void)
{
    start_outputs();
    start_levels();
    start_serial();
    start_buttons();
}
