/* A small firmware of the tests' own: uses each piece of hardware that the simulated part models.
 * Seconds from the periodic interrupt, a flash by RTC compare, PWM, ADC, EEPROM, user row, serial line, watchdog. */
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

volatile uint8_t seconds, ticked, byte_in, has_byte, readings, level_low;
volatile uint16_t reading;

ISR(RTC_PIT_vect) { RTC.PITINTFLAGS = RTC_PI_bm; seconds++; ticked = 1; }
ISR(RTC_CNT_vect) { RTC.INTFLAGS = RTC_CMP_bm | RTC_OVF_bm; PORTA.OUTTGL = PIN5_bm; }
ISR(ADC0_RESRDY_vect) { reading = ADC0.RES; ADC0.INTFLAGS = ADC_RESRDY_bm; readings++; }
ISR(BOD_VLM_vect) { BOD.INTFLAGS = BOD_VLMIF_bm; level_low++; }
ISR(USART0_RXC_vect)
{
    if (USART0.STATUS & USART_RXSIF_bm) USART0.STATUS = USART_RXSIF_bm;
    if (USART0.STATUS & USART_RXCIF_bm) { byte_in = USART0.RXDATAL; has_byte = 1; }
}

static void say(uint8_t byte)
{
    while (!(USART0.STATUS & USART_DREIF_bm)) { }
    USART0.STATUS = USART_TXCIF_bm;
    USART0.TXDATAL = byte;
    while (!(USART0.STATUS & USART_TXCIF_bm)) { }
}

static void store(volatile uint8_t *at, uint8_t byte)
{
    while (NVMCTRL.STATUS & NVMCTRL_EEBUSY_bm) { }
    *at = byte;
    _PROTECTED_WRITE_SPM(NVMCTRL.CTRLA, NVMCTRL_CMD_PAGEERASEWRITE_gc);
    while (NVMCTRL.STATUS & NVMCTRL_EEBUSY_bm) { }
}

static void answer(uint8_t asked)
{
    volatile uint8_t *eeprom = (volatile uint8_t *)EEPROM_START, *row = (volatile uint8_t *)&USERROW;
    if (asked == 't') say(seconds);
    if (asked == 'a') { say((uint8_t)(reading >> 8)); say((uint8_t)reading); }
    if (asked == 'r') say(row[3]);
    if (asked == 'e') say(eeprom[9]);
    if (asked == 'f') say(RSTCTRL.RSTFR);
    if (asked == 'v') say(level_low);
    if (asked == 'h') { cli(); for (;;) { } }
    if (asked == 'w') { store(&eeprom[8], 0x5A); store(&eeprom[9], 0xA5); store(&row[3], 0x77); say('k'); }
    if (asked == 'p') { NVMCTRL.CTRLA = NVMCTRL_CMD_PAGEBUFCLR_gc; say('k'); }
}

int main(void)
{
    _PROTECTED_WRITE(CLKCTRL.XOSC32KCTRLA, CLKCTRL_ENABLE_bm | CLKCTRL_RUNSTDBY_bm);
    uint16_t patience = 60000;
    while (!(CLKCTRL.MCLKSTATUS & CLKCTRL_XOSC32KS_bm) && --patience) { }
    _PROTECTED_WRITE(WDT.CTRLA, WDT_PERIOD_4KCLK_gc);
    PORTA.OUTCLR = PIN4_bm | PIN5_bm;
    PORTA.DIRSET = PIN4_bm | PIN5_bm | PIN0_bm;
    PORTD.DIRSET = PIN0_bm;
    VREF.CTRLA = VREF_ADC0REFSEL_2V5_gc;
    ADC0.CTRLC = ADC_SAMPCAP_bm | ADC_REFSEL_INTREF_gc | ADC_PRESC_DIV4_gc;
    ADC0.MUXPOS = ADC_MUXPOS_AIN3_gc;
    ADC0.INTCTRL = ADC_RESRDY_bm;
    ADC0.CTRLA = ADC_ENABLE_bm | ADC_RUNSTBY_bm;
    BOD.VLMCTRLA = BOD_VLMLVL_15ABOVE_gc;
    BOD.INTCTRL = BOD_VLMIE_bm | BOD_VLMCFG_CROSS_gc;
    USART0.BAUD = (uint16_t)((64UL * F_CPU + 8UL * 115200UL) / (16UL * 115200UL));
    USART0.CTRLA = USART_RXCIE_bm | USART_RXSIE_bm;
    USART0.CTRLB = USART_RXEN_bm | USART_TXEN_bm | USART_SFDEN_bm;
    while (RTC.STATUS || RTC.PITSTATUS) { wdt_reset(); if (!--patience) break; }
    RTC.CLKSEL = RTC_CLKSEL_TOSC32K_gc;
    RTC.PER = 0xFFFF;
    RTC.CMP = 16384;
    RTC.INTCTRL = RTC_CMP_bm | RTC_OVF_bm;
    RTC.CTRLA = RTC_RTCEN_bm | RTC_RUNSTDBY_bm;
    RTC.PITINTCTRL = RTC_PI_bm;
    RTC.PITCTRLA = RTC_PERIOD_CYC32768_gc | RTC_PITEN_bm;
    PORTMUX.TCAROUTEA = PORTMUX_TCA0_PORTD_gc;
    TCA0.SINGLE.PER = 999;
    TCA0.SINGLE.CMP0BUF = 700;
    sei();
    for (;;) {
        cli();
        if (!ticked && !has_byte) {
            set_sleep_mode(TCA0.SINGLE.CTRLA ? SLEEP_MODE_IDLE : SLEEP_MODE_STANDBY);
            sleep_enable();
            sei();
            sleep_cpu();
            sleep_disable();
        }
        sei();
        if (ticked) {
            ticked = 0;
            wdt_reset();
            ADC0.COMMAND = ADC_STCONV_bm;
            if (seconds == 5) PORTA.OUTSET = PIN4_bm;
            if (seconds == 8) PORTA.OUTCLR = PIN4_bm;
            if (seconds == 10) {
                TCA0.SINGLE.CTRLB = TCA_SINGLE_CMP0EN_bm | TCA_SINGLE_WGMODE_SINGLESLOPE_gc;
                TCA0.SINGLE.CTRLA = TCA_SINGLE_ENABLE_bm;
            }
            if (seconds == 12) {
                TCA0.SINGLE.CTRLB = TCA_SINGLE_WGMODE_SINGLESLOPE_gc;
                TCA0.SINGLE.CTRLA = 0;
            }
        }
        if (has_byte) { has_byte = 0; answer(byte_in); }
    }
}
