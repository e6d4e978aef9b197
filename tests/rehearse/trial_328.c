/* A small firmware of the tests' own for the ATmega328P: seconds from timer 2 on the crystal, power-save, a compare,
 * PWM by timer 1, ADC, EEPROM, serial line woken by its pin, watchdog. */
#include <avr/eeprom.h>
#include <avr/interrupt.h>
#include <avr/io.h>
#include <avr/sleep.h>
#include <avr/wdt.h>

volatile uint8_t seconds, ticked, byte_in, has_byte, awake;
static uint8_t cause;

ISR(TIMER2_OVF_vect) { seconds++; ticked = 1; PORTD |= (1 << 6); }
ISR(TIMER2_COMPA_vect) { PORTD &= (uint8_t)~(1 << 6); }
ISR(PCINT2_vect) { awake = 2; }
ISR(USART_RX_vect) { byte_in = UDR0; has_byte = 1; awake = 2; }

static void say(uint8_t byte)
{
    while (!(UCSR0A & (1 << UDRE0))) { }
    UCSR0A |= (1 << TXC0);
    UDR0 = byte;
    while (!(UCSR0A & (1 << TXC0))) { }
}

static void answer(uint8_t asked)
{
    if (asked == 't') say(seconds);
    if (asked == 'a') {
        ADMUX = (1 << REFS1) | (1 << REFS0);
        ADCSRA = (1 << ADEN) | (1 << ADSC) | 6;
        while (ADCSRA & (1 << ADSC)) { }
        { uint16_t code = ADC; say((uint8_t)(code >> 8)); say((uint8_t)code); }
    }
    if (asked == 'e') say(eeprom_read_byte((uint8_t *)9));
    if (asked == 'f') say(cause);
    if (asked == 'h') { cli(); for (;;) { } }
    if (asked == 'w') { eeprom_update_byte((uint8_t *)8, 0x5A); eeprom_update_byte((uint8_t *)9, 0xA5); say('k'); }
}

int main(void)
{
    cause = MCUSR;
    MCUSR = 0;
    wdt_enable(WDTO_4S);
    DDRD = (1 << 5) | (1 << 6) | (1 << 1);
    DDRB = (1 << 1);
    PRR = (1 << PRTWI) | (1 << PRSPI);
    UBRR0 = (uint16_t)((F_CPU + 4UL * 38400UL) / (8UL * 38400UL) - 1UL);
    UCSR0A = (1 << U2X0);
    UCSR0B = (1 << RXEN0) | (1 << TXEN0) | (1 << RXCIE0);
    PCICR = (1 << PCIE2);
    PCMSK2 = (1 << 0);
    ASSR = (1 << AS2);
    OCR2A = 63;
    TCCR2A = 0;
    TCCR2B = (1 << CS22) | (1 << CS20);
    uint16_t patience = 60000;
    while ((ASSR & 0x1F) && --patience) { }
    TIFR2 = 7;
    TIMSK2 = (1 << TOIE2) | (1 << OCIE2A);
    sei();
    for (;;) {
        cli();
        if (!ticked && !has_byte) {
            set_sleep_mode(awake || TCCR1B ? SLEEP_MODE_IDLE : SLEEP_MODE_PWR_SAVE);
            sleep_enable();
            sei();
            sleep_cpu();
            sleep_disable();
        }
        sei();
        if (ticked) {
            ticked = 0;
            wdt_reset();
            if (awake) awake--;
            OCR2A = 63;
            while (ASSR & 0x1F) { }
            if (seconds == 5) PORTD |= (1 << 5);
            if (seconds == 8) PORTD &= (uint8_t)~(1 << 5);
            if (seconds == 10) {
                ICR1 = 999;
                OCR1A = 699;
                TCCR1A = (1 << COM1A1) | (1 << WGM11);
                TCCR1B = (1 << WGM13) | (1 << WGM12) | 1;
            }
            if (seconds == 12) { TCCR1A = 0; TCCR1B = 0; }
        }
        if (has_byte) { has_byte = 0; answer(byte_in); }
    }
}
