/* port.c: megaAVR 0-series. What the core asks of the hardware; time and sleep are in main.c. All parts of the family have
   the same registers; what differs (pins, EEPROM page, row) comes from the part's header and the board's. */
#include "hardware.h"

#include <avr/io.h>
#include <util/delay.h>

#include "board.h"
#include "pins.h"

#define JOINED(a, b) a##b
#define JOIN(a, b) JOINED(a, b)
#define PORT_OF(name) JOIN(PORT, PIN_##name##_PORT)
#define MASK_OF(name) ((uint8_t)(1U << PIN_##name##_BIT))
#define CONTROL_OF(name) (&PORT_OF(name).PIN0CTRL)[PIN_##name##_BIT]

#define NO_TIMER 255U
#define BUSY_TURNS 60000U /* no wait is longer than this many turns, tens of milliseconds */
#define SETTLE_US 50

#if F_CPU / LEVEL_HZ > 65535UL * 16UL
#define LEVEL_DIVIDER 64UL
#define LEVEL_CLOCK TCA_SINGLE_CLKSEL_DIV64_gc
#elif F_CPU / LEVEL_HZ > 65535UL
#define LEVEL_DIVIDER 16UL
#define LEVEL_CLOCK TCA_SINGLE_CLKSEL_DIV16_gc
#else
#define LEVEL_DIVIDER 1UL
#define LEVEL_CLOCK TCA_SINGLE_CLKSEL_DIV1_gc
#endif
#define LEVEL_STEPS (F_CPU / LEVEL_DIVIDER / LEVEL_HZ)

#if SENSE_REFERENCE_MV == 550
#define SENSE_VREF VREF_ADC0REFSEL_0V55_gc
#elif SENSE_REFERENCE_MV == 1100
#define SENSE_VREF VREF_ADC0REFSEL_1V1_gc
#elif SENSE_REFERENCE_MV == 1500
#define SENSE_VREF VREF_ADC0REFSEL_1V5_gc
#elif SENSE_REFERENCE_MV == 2500
#define SENSE_VREF VREF_ADC0REFSEL_2V5_gc
#else
#error "the converter has no such reference: 0.55 V, 1.1 V, 1.5 V or 2.5 V"
#endif

struct pin {
    PORT_t *port;
    uint8_t mask;
    bool high; /* this level switches on */
    uint8_t timer, channel;
};

#define PIN_ROW(number, letter, bit, high, timer, channel) {&PORT##letter, (uint8_t)(1U << (bit)), (high) != 0, timer, channel},
static const struct pin pins[] = {BOARD_OUTPUT_PINS(PIN_ROW)};

static uint8_t channels_on; /* of the timer, bit n: channel n */

static void drive(const struct pin *pin, bool on)
{
    if (on == pin->high) {
        pin->port->OUTSET = pin->mask;
    } else {
        pin->port->OUTCLR = pin->mask;
    }
}

/* Compare value for a share of on-time; where low switches on, the rest of it. */
static uint16_t compare_of(const struct pin *pin, uint8_t percent)
{
    const uint8_t share = pin->high ? percent : (uint8_t)(100U - percent);
    return (uint16_t)((uint32_t)LEVEL_STEPS * share / 100U);
}

static void modulate(const struct pin *pin, uint8_t percent)
{
    const uint8_t enable = (uint8_t)(TCA_SINGLE_CMP0EN_bm << pin->channel);
    if (percent == 0U || percent >= 100U) {
        TCA0.SINGLE.CTRLB &= (uint8_t)~enable;
        channels_on &= (uint8_t)~(1U << pin->channel);
        drive(pin, percent != 0U);
    } else {
        (&TCA0.SINGLE.CMP0BUF)[pin->channel] = compare_of(pin, percent);
        TCA0.SINGLE.CTRLB |= enable;
        channels_on |= (uint8_t)(1U << pin->channel);
    }
    TCA0.SINGLE.CTRLA = channels_on != 0U ? (uint8_t)(LEVEL_CLOCK | TCA_SINGLE_ENABLE_bm) : (uint8_t)LEVEL_CLOCK;
}

static void output(uint8_t number, uint8_t percent)
{
    if (number >= sizeof pins / sizeof pins[0]) {
        return;
    }
    if (pins[number].timer == NO_TIMER) {
        drive(&pins[number], percent != 0U);
    } else {
        modulate(&pins[number], percent);
    }
}

bool hardware_needs_clock(void)
{
    return channels_on != 0U || (NVMCTRL.STATUS & NVMCTRL_EEBUSY_bm) != 0U;
}

static void light(bool lit)
{
    if (lit == (LIGHT_ON != 0)) {
        PORT_OF(LIGHT).OUTSET = MASK_OF(LIGHT);
    } else {
        PORT_OF(LIGHT).OUTCLR = MASK_OF(LIGHT);
    }
}

static void wait_for_memory(void)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (NVMCTRL.STATUS & NVMCTRL_EEBUSY_bm) != 0U; turn++) {
    }
}

static volatile uint8_t *memory_at(uint16_t address)
{
    return address < BOARD_EEPROM_SIZE ? (volatile uint8_t *)(MAPPED_EEPROM_START + address)
                                       : (volatile uint8_t *)(USER_SIGNATURES_START + address - BOARD_EEPROM_SIZE);
}

static uint8_t load(uint16_t address)
{
    wait_for_memory();
    return *memory_at(address);
}

/* Writes what differs, a page at a time: one command a page, which the hardware finishes while the CPU goes on. */
static void store(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    uint8_t done = 0;
    while (done < count) {
        bool differs = false;
        wait_for_memory();
        do {
            volatile uint8_t *place = memory_at((uint16_t)(address + done));
            if (*place != bytes[done]) {
                *place = bytes[done];
                differs = true;
            }
            done++;
        } while (done < count && (address + done) % EEPROM_PAGE_SIZE != 0U && address + done != BOARD_EEPROM_SIZE);
        if (differs) {
            _PROTECTED_WRITE_SPM(NVMCTRL.CTRLA, NVMCTRL_CMD_PAGEERASEWRITE_gc);
        }
    }
}

static uint16_t pack_mv(void)
{
    VREF.CTRLA = SENSE_VREF;
    ADC0.CTRLB = ADC_SAMPNUM_ACC4_gc;
    ADC0.CTRLC = (uint8_t)(ADC_SAMPCAP_bm | ADC_REFSEL_INTREF_gc | ADC_PRESC_DIV4_gc);
    ADC0.CTRLD = ADC_INITDLY_DLY64_gc;
    ADC0.SAMPCTRL = 31;
    ADC0.MUXPOS = PIN_SENSE_CHANNEL;
    ADC0.CTRLA = ADC_ENABLE_bm;
    ADC0.COMMAND = ADC_STCONV_bm;
    for (uint16_t turn = 0; turn < BUSY_TURNS && (ADC0.INTFLAGS & ADC_RESRDY_bm) == 0U; turn++) {
    }
    const uint16_t sum = ADC0.RES;
    ADC0.INTFLAGS = ADC_RESRDY_bm;
    ADC0.CTRLA = 0;
    return (uint16_t)((uint32_t)sum * (uint32_t)SENSE_FULL_MV / (4UL * 1024UL));
}

/* A contact is looked at with a pull-up for a moment only: less current, and less of it eaten by sea water. */
static bool closed(PORT_t *port, uint8_t mask, volatile uint8_t *control, bool high)
{
    *control = high ? 0U : PORT_PULLUPEN_bm;
    _delay_us(SETTLE_US);
    const bool level = (port->IN & mask) != 0U;
    *control = PORT_ISC_INPUT_DISABLE_gc;
    return level == high;
}

#if BOARD_WATER
static bool wet(void)
{
    return closed(&PORT_OF(WATER), MASK_OF(WATER), &CONTROL_OF(WATER), WATER_ACTIVE != 0);
}
#else
static bool wet(void)
{
    return false;
}
#endif

static bool lead(void)
{
    return closed(&PORT_OF(LEAD), MASK_OF(LEAD), &CONTROL_OF(LEAD), LEAD_ACTIVE != 0);
}

static uint8_t buttons(void)
{
    const bool a = ((PORT_OF(BUTTON_A).IN & MASK_OF(BUTTON_A)) == 0U) == (BUTTON_A_PULL_UP != 0);
    const bool b = ((PORT_OF(BUTTON_B).IN & MASK_OF(BUTTON_B)) == 0U) == (BUTTON_B_PULL_UP != 0);
    return (uint8_t)((a ? 1U : 0U) | (b ? 2U : 0U));
}

static void send(uint8_t byte)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (SERIAL_USART.STATUS & USART_DREIF_bm) == 0U; turn++) {
    }
    SERIAL_USART.TXDATAL = byte;
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
        pins[n].port->DIRSET = pins[n].mask;
    }
    light(false);
    PORT_OF(LIGHT).DIRSET = MASK_OF(LIGHT);
}

static void quieten(PORT_t *port)
{
    for (uint8_t bit = 0; bit < 8U; bit++) {
        (&port->PIN0CTRL)[bit] = PORT_ISC_INPUT_DISABLE_gc;
    }
}

static void start_levels(void)
{
    PORTMUX.TCAROUTEA = JOIN(JOIN(PORTMUX_TCA0_PORT, LEVEL_PORT), _gc);
    TCA0.SINGLE.CTRLB = TCA_SINGLE_WGMODE_SINGLESLOPE_gc;
    TCA0.SINGLE.PER = (uint16_t)(LEVEL_STEPS - 1UL);
    TCA0.SINGLE.CTRLA = LEVEL_CLOCK;
}

static void start_serial(void)
{
    PORT_OF(TRANSMIT).OUTSET = MASK_OF(TRANSMIT);
    PORT_OF(TRANSMIT).DIRSET = MASK_OF(TRANSMIT);
    CONTROL_OF(RECEIVE) = PORT_PULLUPEN_bm;
    PORTMUX.USARTROUTEA = SERIAL_ROUTE;
    SERIAL_USART.BAUD = (uint16_t)((64UL * F_CPU + 8UL * SERIAL_BAUD) / (16UL * SERIAL_BAUD));
    SERIAL_USART.CTRLA = (uint8_t)(USART_RXCIE_bm | USART_RXSIE_bm);
    SERIAL_USART.CTRLB = (uint8_t)(USART_RXEN_bm | USART_TXEN_bm | USART_SFDEN_bm);
}

void hardware_start(void)
{
    start_outputs();
    /* 20 MHz by 4: fast enough for flash edges to be in time, and any voltage above the brown-out level does for it. */
    _PROTECTED_WRITE(CLKCTRL.MCLKCTRLB, (uint8_t)(CLKCTRL_PDIV_4X_gc | CLKCTRL_PEN_bm));
    quieten(&PORTA);
    quieten(&PORTC);
    quieten(&PORTD);
    quieten(&PORTF);
#ifdef PORTB
    quieten(&PORTB);
#endif
#ifdef PORTE
    quieten(&PORTE);
#endif
    CONTROL_OF(BUTTON_A) = (uint8_t)(PORT_ISC_BOTHEDGES_gc | (BUTTON_A_PULL_UP != 0 ? PORT_PULLUPEN_bm : 0));
    CONTROL_OF(BUTTON_B) = (uint8_t)(PORT_ISC_BOTHEDGES_gc | (BUTTON_B_PULL_UP != 0 ? PORT_PULLUPEN_bm : 0));
    start_levels();
    start_serial();
}
