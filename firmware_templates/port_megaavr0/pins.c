/* pins.c: megaAVR 0-series: what the core asks of the hardware. All parts of the family have the same registers; what differs
   (pins, EEPROM page) comes from the part's header and the board's. */
#include <util/delay.h>

#include "hardware.h"

#define PORT_OF(name) JOIN(PORT, PIN_##name##_PORT)
#define QUICK_OF(name) JOIN(VPORT, PIN_##name##_PORT) /* the same port, for instructions that reach one bit */
#define CONTROL_OF(name) (&PORT_OF(name).PIN0CTRL)[PIN_##name##_BIT]

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

/* ---- interrupts ---- */

ISR(SERIAL_RXC_VECT)
{
    tell(EVENT_LINE);
    SERIAL_USART.STATUS = USART_RXSIF_bm;
    if ((SERIAL_USART.STATUS & USART_RXCIF_bm) != 0U) {
        hardware_heard(SERIAL_USART.RXDATAL);
    }
}

/* Nothing here needs a register or touches the flags, so that none is saved. */
#define BUTTON_CLEARED(letter, bit)                                                                                    \
    __asm__ volatile("sbi %0, %1" ::"I"(_SFR_IO_ADDR(VPORT##letter.INTFLAGS)), "I"(bit));
#define BUTTON_VECTOR(letter, cleared)                                                                                 \
    ISR(PORT##letter##_PORT_vect, ISR_NAKED)                                                                           \
    {                                                                                                                  \
        cleared __asm__ volatile("sbi %0, %1\n\treti" ::"I"(_SFR_IO_ADDR(EVENTS)), "I"(EVENT_BUTTON));                 \
    }
BUTTON_VECTORS(BUTTON_VECTOR, BUTTON_CLEARED)

/* ---- outputs ---- */

/* The ports lie 32 bytes apart, all in one page of addresses. */
enum { PORT_A = 0x00, PORT_B = 0x20, PORT_C = 0x40, PORT_D = 0x60, PORT_E = 0x80, PORT_F = 0xA0 };
/* In each the eight registers that control its pins. */
enum { FIRST_CONTROL = 0x10, CONTROL_BITS = 0x18, END_OF_CONTROLS = PORT_F + FIRST_CONTROL + 8 };

struct pin {
    uint8_t port, mask;
    uint8_t kind; /* bit 0: this level switches on; with a channel of the timer, its enabling bit */
};

#define PIN_ROW(number, letter, bit, high, timer, channel)                                                             \
    {PORT_##letter, (uint8_t)(1U << (bit)), (uint8_t)((high) | ((timer) == 0 ? TCA_SINGLE_CMP0EN_bm << (channel) : 0))},
static const struct pin pins[BOARD_OUTPUTS] = {BOARD_OUTPUT_PINS(PIN_ROW)};
#define CHANNELS (TCA_SINGLE_CMP0EN_bm | TCA_SINGLE_CMP1EN_bm | TCA_SINGLE_CMP2EN_bm)

static PORT_t *port_at(uint8_t offset)
{
    return (PORT_t *)((uintptr_t)&PORTA + offset);
}

/* Compare value for a share of on-time; where low switches on, the rest of it. */
static uint16_t compare_of(uint8_t kind, uint8_t percent)
{
    const uint8_t share = (kind & 1U) != 0U ? percent : (uint8_t)(100U - percent);
    return (uint16_t)(LEVEL_STEPS % 100UL == 0UL ? (uint16_t)(LEVEL_STEPS / 100UL) * share : LEVEL_STEPS * share / 100UL);
}

/* The level first, then the direction; a pin that a channel holds follows that instead. */
static void output(uint8_t number, uint8_t percent)
{
    const struct pin *const pin = &pins[number];
    const uint8_t mask = pin->mask, kind = pin->kind, channel = kind & CHANNELS;
    PORT_t *const port = port_at(pin->port);
    if ((percent != 0U) == ((kind & 1U) != 0U)) {
        port->OUTSET = mask;
    } else {
        port->OUTCLR = mask;
    }
    port->DIRSET = mask;
    if (channel == 0U) {
        return;
    }
    uint8_t on = (uint8_t)(TCA0.SINGLE.CTRLB & (uint8_t)~channel);
    if (percent != 0U && percent < 100U) {
        (&TCA0.SINGLE.CMP0BUF)[channel >> 5] = compare_of(kind, percent);
        on |= channel;
    }
    TCA0.SINGLE.CTRLB = on;
    TCA0.SINGLE.CTRLA = (on & CHANNELS) != 0U ? (uint8_t)(LEVEL_CLOCK | TCA_SINGLE_ENABLE_bm) : (uint8_t)LEVEL_CLOCK;
}

/* A level is being made, or memory is being written. */
bool hardware_needs_clock(void)
{
    return (TCA0.SINGLE.CTRLA & TCA_SINGLE_ENABLE_bm) != 0U || (NVMCTRL.STATUS & NVMCTRL_EEBUSY_bm) != 0U;
}

static void light(bool lit)
{
    if (lit == (LIGHT_ON != 0)) {
        QUICK_OF(LIGHT).OUT |= MASK_OF(LIGHT);
    } else {
        QUICK_OF(LIGHT).OUT &= (uint8_t)~MASK_OF(LIGHT);
    }
}

/* ---- memory ---- */

#if BOARD_EEPROM_SIZE != 256 || MAPPED_EEPROM_START - USER_SIGNATURES_START != 256
#error "the user row is taken to lie 256 bytes below the EEPROM, and to be addressed behind it"
#endif

static volatile uint8_t *memory_at(uint16_t address)
{
    const uint8_t page = (uint8_t)((MAPPED_EEPROM_START >> 8) - (uint8_t)(address >> 8));
    return (volatile uint8_t *)(uintptr_t)((uint16_t)(page << 8) | (uint8_t)address);
}

static inline void wait_for_memory(void)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (NVMCTRL.STATUS & NVMCTRL_EEBUSY_bm) != 0U; turn++) {
    }
}

static uint8_t load(uint16_t address)
{
    wait_for_memory();
    return *memory_at(address);
}

/* Writes what differs, a page at a time: one command a page, which the hardware finishes while the CPU goes on. */
static void store(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    volatile uint8_t *place = memory_at(address);
    while (count != 0U) {
        bool differs = false;
        wait_for_memory();
        do {
            if (*place != *bytes) {
                *place = *bytes;
                differs = true;
            }
            place++;
            bytes++;
            count--;
        } while (count != 0U && (uint8_t)(uintptr_t)place % EEPROM_PAGE_SIZE != 0U);
        if (differs) {
            _PROTECTED_WRITE_SPM(NVMCTRL.CTRLA, NVMCTRL_CMD_PAGEERASEWRITE_gc);
        }
    }
}

/* ---- senses ---- */

/* Four conversions, added up by the hardware: 12 bits, here moved to the top of 16. */
static uint16_t pack_mv(void)
{
    ADC0.CTRLA = ADC_ENABLE_bm;
    ADC0.COMMAND = ADC_STCONV_bm;
    for (uint16_t turn = 0; turn < BUSY_TURNS && (ADC0.INTFLAGS & ADC_RESRDY_bm) == 0U; turn++) {
    }
    const uint16_t sum = (uint16_t)(ADC0.RES << 4);
    ADC0.INTFLAGS = ADC_RESRDY_bm;
    ADC0.CTRLA = 0;
    return (uint16_t)((uint32_t)sum * (uint16_t)SENSE_FULL_MV >> 16);
}

/* The contacts are looked at with pull-ups for a moment only: less current, and less of them eaten by sea water. */
static uint8_t contacts(void)
{
    uint8_t seen = PORT_LEAD | PORT_WET;
    CONTROL_OF(LEAD) = LEAD_ACTIVE != 0 ? 0U : PORT_PULLUPEN_bm;
#if BOARD_WATER
    CONTROL_OF(WATER) = WATER_ACTIVE != 0 ? 0U : PORT_PULLUPEN_bm;
#endif
    _delay_us(SETTLE_US);
    if (((QUICK_OF(LEAD).IN & MASK_OF(LEAD)) != 0U) != (LEAD_ACTIVE != 0)) {
        seen = PORT_WET;
    }
#if BOARD_WATER
    if (((QUICK_OF(WATER).IN & MASK_OF(WATER)) != 0U) != (WATER_ACTIVE != 0)) {
        seen &= (uint8_t)~PORT_WET;
    }
    CONTROL_OF(WATER) = PORT_ISC_INPUT_DISABLE_gc;
#else
    seen &= (uint8_t)~PORT_WET;
#endif
    CONTROL_OF(LEAD) = PORT_ISC_INPUT_DISABLE_gc;
    return seen;
}

static uint8_t buttons(void)
{
    uint8_t pressed = 0;
    if (((QUICK_OF(BUTTON_A).IN & MASK_OF(BUTTON_A)) == 0U) == (BUTTON_A_PULL_UP != 0)) {
        pressed |= 1U;
    }
    if (((QUICK_OF(BUTTON_B).IN & MASK_OF(BUTTON_B)) == 0U) == (BUTTON_B_PULL_UP != 0)) {
        pressed |= 2U;
    }
    return pressed;
}

static void send(uint8_t byte)
{
    for (uint16_t turn = 0; turn < BUSY_TURNS && (SERIAL_USART.STATUS & USART_DREIF_bm) == 0U; turn++) {
    }
    SERIAL_USART.TXDATAL = byte;
}

const struct board_port dive_port = {output, light, load, store, pack_mv, contacts, buttons, hardware_steps, send};

/* ---- at the start ---- */

#define SERIAL_DIVIDER ((uint16_t)((64UL * F_CPU + 8UL * SERIAL_BAUD) / (16UL * SERIAL_BAUD)))
#define LEVEL_TOP ((uint16_t)(LEVEL_STEPS - 1UL))

struct setting {
    volatile uint8_t *place;
    uint8_t value;
};

/* What is set once, in this order; of registers of two bytes the low one first. */
static const struct setting settings[] = {
    {LIGHT_ON != 0 ? &PORT_OF(LIGHT).OUTCLR : &PORT_OF(LIGHT).OUTSET, MASK_OF(LIGHT)},
    {&PORT_OF(LIGHT).DIRSET, MASK_OF(LIGHT)},
    {&PORT_OF(TRANSMIT).OUTSET, MASK_OF(TRANSMIT)},
    {&PORT_OF(TRANSMIT).DIRSET, MASK_OF(TRANSMIT)},
    {&CONTROL_OF(RECEIVE), PORT_PULLUPEN_bm},
    {&CONTROL_OF(BUTTON_A), PORT_ISC_BOTHEDGES_gc | (BUTTON_A_PULL_UP != 0 ? PORT_PULLUPEN_bm : 0)},
    {&CONTROL_OF(BUTTON_B), PORT_ISC_BOTHEDGES_gc | (BUTTON_B_PULL_UP != 0 ? PORT_PULLUPEN_bm : 0)},
    {&PORTMUX.TCAROUTEA, JOIN(JOIN(PORTMUX_TCA0_PORT, LEVEL_PORT), _gc)},
    {&TCA0.SINGLE.CTRLB, TCA_SINGLE_WGMODE_SINGLESLOPE_gc},
    {&TCA0.SINGLE.PERL, (uint8_t)LEVEL_TOP},
    {&TCA0.SINGLE.PERH, (uint8_t)(LEVEL_TOP >> 8)},
    {&PORTMUX.USARTROUTEA, SERIAL_ROUTE},
    {&SERIAL_USART.BAUDL, (uint8_t)SERIAL_DIVIDER},
    {&SERIAL_USART.BAUDH, (uint8_t)(SERIAL_DIVIDER >> 8)},
    {&SERIAL_USART.CTRLA, USART_RXCIE_bm | USART_RXSIE_bm},
    {&SERIAL_USART.CTRLB, USART_RXEN_bm | USART_TXEN_bm | USART_SFDEN_bm},
    {&VREF.CTRLA, SENSE_VREF},
    {&ADC0.CTRLB, ADC_SAMPNUM_ACC4_gc},
    {&ADC0.CTRLC, ADC_SAMPCAP_bm | ADC_REFSEL_INTREF_gc | ADC_PRESC_DIV4_gc},
    {&ADC0.CTRLD, ADC_INITDLY_DLY64_gc},
    {&ADC0.SAMPCTRL, 31},
    {&ADC0.MUXPOS, PIN_SENSE_CHANNEL},
};

uint8_t hardware_start(void)
{
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        output(n, 0);
    }
    /* 20 MHz by 4: fast enough for flash edges to be in time, and any voltage above the brown-out level does for it. */
    _PROTECTED_WRITE(CLKCTRL.MCLKCTRLB, (uint8_t)(CLKCTRL_PDIV_4X_gc | CLKCTRL_PEN_bm));
    _PROTECTED_WRITE(WDT.CTRLA, WDT_PERIOD_8KCLK_gc);
    for (uint8_t at = FIRST_CONTROL; at < END_OF_CONTROLS; at++) {
        if ((at & CONTROL_BITS) == FIRST_CONTROL) {
            *(volatile uint8_t *)port_at(at) = PORT_ISC_INPUT_DISABLE_gc;
        }
    }
    for (uint8_t n = 0; n < sizeof settings / sizeof settings[0]; n++) {
        *settings[n].place = settings[n].value;
    }
    const uint8_t flags = RSTCTRL.RSTFR;
    RSTCTRL.RSTFR = flags;
    return flags;
}
