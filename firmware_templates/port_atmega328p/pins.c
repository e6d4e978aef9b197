/* pins.c: ATmega328P: what the core asks of the hardware. */
#include <avr/pgmspace.h>
#include <avr/wdt.h>
#include <util/delay.h>

#include "hardware.h"

#define PORT_OF(name) JOIN(PORT, PIN_##name##_PORT)
#define DIRECTION_OF(name) JOIN(DDR, PIN_##name##_PORT)
#define INPUT_OF(name) JOIN(PIN, PIN_##name##_PORT)

#define PCMSK_OF_B PCMSK0
#define PCMSK_OF_C PCMSK1
#define PCMSK_OF_D PCMSK2

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

/* ---- interrupts ---- */

ISR(USART_RX_vect)
{
    tell(EVENT_LINE);
    hardware_heard(UDR0);
}

/* A button, or the line from which a byte begins. Nothing here needs a register or touches the flags, so that none is
   saved. */
ISR(PCINT2_vect, ISR_NAKED)
{
    __asm__ volatile("sbis %0, 0\n\t"
                     "sbi %1, %2\n\t"
                     "sbi %1, %3\n\t"
                     "reti" ::"I"(_SFR_IO_ADDR(PIND)),
                     "I"(_SFR_IO_ADDR(EVENTS)), "I"(EVENT_LINE), "I"(EVENT_BUTTON));
}
ISR(PCINT0_vect, ISR_ALIASOF(PCINT2_vect));
ISR(PCINT1_vect, ISR_ALIASOF(PCINT2_vect));

/* ---- outputs ---- */

/* Of each port the registers for input, direction and output stand one after the other. */
enum { PORT_B = 0, PORT_C = 3, PORT_D = 6 };
struct port {
    volatile uint8_t in, direction, out;
};

struct pin {
    uint8_t port, mask;
    uint8_t kind; /* bit 0: this level switches on, bit 1: timer 1; where it has levels, the mode bits of its channel */
};

#define MODE_A ((1U << COM1A1) | (1U << COM1A0)) /* the same bits for both timers */
#define MODE_B ((1U << COM1B1) | (1U << COM1B0))
#define INVERTED ((1U << COM1A0) | (1U << COM1B0))
#define KIND_TIMER_1 2U
#define PIN_ROW(number, letter, bit, high, timer, channel)                                                             \
    {PORT_##letter, (uint8_t)(1U << (bit)),                                                                            \
     (uint8_t)((high) | ((timer) == 1 ? KIND_TIMER_1 : 0U) | ((timer) > 1 ? 0U : (channel) == 0 ? MODE_A : MODE_B))},
static const struct pin pins[BOARD_OUTPUTS] PROGMEM = {BOARD_OUTPUT_PINS(PIN_ROW)};

#define OR_TIMER_0(number, letter, bit, high, timer, channel) || (timer) == 0
#define TIMER_0_USED (0 BOARD_OUTPUT_PINS(OR_TIMER_0))
#define LEVEL_BITS ((uint8_t)(MODE_A | MODE_B))

static volatile struct port *port_at(uint8_t offset)
{
    return (volatile struct port *)((uintptr_t)&PINB + offset);
}

/* No interrupt writes to a port. */
static void drive(volatile struct port *port, uint8_t mask, bool high)
{
    if (high) {
        port->out |= mask;
    } else {
        port->out &= (uint8_t)~mask;
    }
}

/* Timer 1 counts to LEVEL_STEPS, timer 0 to 256 at the nearest frequency; where low switches on, the pin is inverted. */
static void modulate(uint8_t kind, uint8_t percent)
{
    const uint8_t bits = kind & LEVEL_BITS;
    uint8_t mode = 0;
    if (percent != 0U && percent < 100U) {
        mode = (kind & 1U) != 0U ? (uint8_t)(bits & (uint8_t)~INVERTED) : bits;
    }
    if (TIMER_0_USED && (kind & KIND_TIMER_1) == 0U) {
        const uint8_t compare = (uint8_t)(256U * percent / 100U - 1U);
        if (bits == MODE_A) {
            OCR0A = compare;
        } else {
            OCR0B = compare;
        }
        TCCR0A = (uint8_t)((TCCR0A & (uint8_t)~bits) | mode);
        return;
    }
    const uint16_t compare =
        (uint16_t)(LEVEL_STEPS % 100UL == 0UL ? (uint16_t)(LEVEL_STEPS / 100UL) * percent : LEVEL_STEPS * percent / 100UL);
    if (bits == MODE_A) {
        OCR1A = compare;
    } else {
        OCR1B = compare;
    }
    TCCR1A = (uint8_t)((TCCR1A & (uint8_t)~bits) | mode);
}

static void output(uint8_t number, uint8_t percent)
{
    const uint8_t kind = pgm_read_byte(&pins[number].kind);
    drive(port_at(pgm_read_byte(&pins[number].port)), pgm_read_byte(&pins[number].mask), (percent != 0U) == ((kind & 1U) != 0U));
    if ((kind & LEVEL_BITS) != 0U) {
        modulate(kind, percent);
    }
}

/* Power-save stops the crystal's stand-in, and a level that is being made. */
bool hardware_needs_clock(void)
{
    return (ASSR & (1U << AS2)) == 0U || ((TCCR1A | (TIMER_0_USED ? TCCR0A : 0U)) & LEVEL_BITS) != 0U;
}

static void light(bool lit)
{
    if (lit == (LIGHT_ON != 0)) {
        PORT_OF(LIGHT) |= MASK_OF(LIGHT);
    } else {
        PORT_OF(LIGHT) &= (uint8_t)~MASK_OF(LIGHT);
    }
}

/* ---- memory ---- */

static uint8_t load(uint16_t address)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (EECR & (1U << EEPE)) != 0U; turn++) {
    }
    EEAR = address;
    EECR |= (uint8_t)(1U << EERE);
    return EEDR;
}

static void store(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    for (uint8_t n = 0; n < count; n++) {
        const uint8_t byte = bytes[n];
        if (load((uint16_t)(address + n)) != byte) {
            EEDR = byte;
            cli();
            EECR |= (uint8_t)(1U << EEMPE);
            EECR |= (uint8_t)(1U << EEPE);
            sei();
        }
    }
}

/* ---- senses ---- */

/* Ten bits at the top of 16, of the second conversion: the first after switching on is not good. */
static uint16_t pack_mv(void)
{
    ADCSRA = (uint8_t)((1U << ADEN) | (1U << ADPS2) | (1U << ADPS1)); /* a 64th of 8 MHz */
    for (uint8_t n = 0; n < 2U; n++) {
        ADCSRA |= (uint8_t)(1U << ADSC);
        for (uint16_t turn = 0; turn < BUSY_TURNS && (ADCSRA & (1U << ADSC)) != 0U; turn++) {
        }
    }
    const uint16_t code = ADC;
    ADCSRA = 0;
    return (uint16_t)((uint32_t)code * (uint16_t)SENSE_FULL_MV >> 16);
}

/* The contacts are looked at with pull-ups for a moment only: less current, and less of them eaten by sea water. */
static uint8_t contacts(void)
{
    uint8_t seen = PORT_LEAD | PORT_WET;
    if (LEAD_ACTIVE == 0) {
        PORT_OF(LEAD) |= MASK_OF(LEAD);
    }
#if BOARD_WATER
    if (WATER_ACTIVE == 0) {
        PORT_OF(WATER) |= MASK_OF(WATER);
    }
#endif
    _delay_us(SETTLE_US);
    if (((INPUT_OF(LEAD) & MASK_OF(LEAD)) != 0U) != (LEAD_ACTIVE != 0)) {
        seen = PORT_WET;
    }
#if BOARD_WATER
    if (((INPUT_OF(WATER) & MASK_OF(WATER)) != 0U) != (WATER_ACTIVE != 0)) {
        seen &= (uint8_t)~PORT_WET;
    }
    PORT_OF(WATER) &= (uint8_t)~MASK_OF(WATER);
#else
    seen &= (uint8_t)~PORT_WET;
#endif
    PORT_OF(LEAD) &= (uint8_t)~MASK_OF(LEAD);
    return seen;
}

static uint8_t buttons(void)
{
    uint8_t pressed = 0;
    if (((INPUT_OF(BUTTON_A) & MASK_OF(BUTTON_A)) == 0U) == (BUTTON_A_PULL_UP != 0)) {
        pressed |= 1U;
    }
    if (((INPUT_OF(BUTTON_B) & MASK_OF(BUTTON_B)) == 0U) == (BUTTON_B_PULL_UP != 0)) {
        pressed |= 2U;
    }
    return pressed;
}

static void send(uint8_t byte)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (UCSR0A & (1U << UDRE0)) == 0U; turn++) {
    }
    UDR0 = byte;
}

const struct board_port dive_port = {output, light, load, store, pack_mv, contacts, buttons, hardware_steps, send};

/* ---- at the start ---- */

static void start_levels(void)
{
    ICR1 = (uint16_t)(LEVEL_STEPS - 1UL);
    TCCR1A = (uint8_t)(1U << WGM11);
    TCCR1B = (uint8_t)((1U << WGM13) | (1U << WGM12) | LEVEL_CLOCK);
    if (TIMER_0_USED) {
        TCCR0A = (uint8_t)((1U << WGM01) | (1U << WGM00));
        TCCR0B = F_CPU / 256UL / LEVEL_HZ > 22UL ? (uint8_t)((1U << CS01) | (1U << CS00)) : (uint8_t)(1U << CS01);
    }
}

static void start_inputs(void)
{
    PORTD |= (uint8_t)(1U << 0); /* a pull-up for the receiver */
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

uint8_t hardware_start(void)
{
    const uint8_t flags = MCUSR;
    MCUSR = 0;
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        output(n, 0); /* the level first, then the direction */
        port_at(pgm_read_byte(&pins[n].port))->direction |= pgm_read_byte(&pins[n].mask);
    }
    wdt_enable(WDTO_8S); /* after a reset by the watchdog it goes on at its shortest period, 16 ms */
    light(false);
    DIRECTION_OF(LIGHT) |= MASK_OF(LIGHT);
    ADMUX = (uint8_t)((1U << REFS1) | (1U << REFS0) | (1U << ADLAR) | PIN_SENSE_CHANNEL);
    start_levels();
    start_inputs();
    UBRR0L = (uint8_t)((F_CPU + 4UL * SERIAL_BAUD) / (8UL * SERIAL_BAUD) - 1UL);
    UCSR0A = (uint8_t)(1U << U2X0);
    UCSR0B = (uint8_t)((1U << RXCIE0) | (1U << RXEN0) | (1U << TXEN0));
    return flags;
}
