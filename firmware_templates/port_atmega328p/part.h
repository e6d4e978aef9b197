/* part.h: ATmega328P: names for what main.c needs. */
#ifndef PART_H
#define PART_H

#include <avr/io.h>

#define RESET_POWER (1U << PORF)
#define RESET_BROWN_OUT (1U << BORF)
#define RESET_WATCHDOG (1U << WDRF)
#define RESET_SOFTWARE 0U /* it has none */

#define SLEEP_REGISTER SMCR
#define SLEEP_LIGHT ((uint8_t)(1U << SE))
#define SLEEP_DEEP ((uint8_t)((1U << SM1) | (1U << SM0) | (1U << SE))) /* power-save: timer 2 goes on */

#define PART_RING 32U /* bytes that may wait on the serial line: 8 ms of them */

#define PART_LAST_VECTOR USART_RX_vect_num

#endif
