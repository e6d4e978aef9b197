/* hardware.h: what main.c, the clock and the pins of an AVR port share. Each port has its own clock.c, pins.c and part.h. */
#ifndef HARDWARE_H
#define HARDWARE_H

#include <avr/interrupt.h>
#include <avr/io.h>

#include "board.h"
#include "dive.h"
#include "part.h"
#include "pins.h"

#define JOINED(a, b) a##b
#define JOIN(a, b) JOINED(a, b)
#define MASK_OF(name) ((uint8_t)(1U << PIN_##name##_BIT))

#define BUSY_TURNS 60000U /* no wait is longer than this many turns, tens of milliseconds */

/* What interrupts have to tell, in a register of which one instruction sets or clears a bit; it is 0 after a reset. The CPU
   falls asleep only while all of it is 0. */
#define EVENTS GPIOR0
#define EVENT_STIRRED 0 /* the clock has ticked, or its compare has come */
#define EVENT_BUTTON 1
#define EVENT_LINE 2 /* the serial line is alive */
#define tell(event) (EVENTS |= (uint8_t)(1U << (event)))
#define take(event) (EVENTS &= (uint8_t)~(1U << (event)))
#define told(event) ((EVENTS & (1U << (event))) != 0U)

/* Ticks that have not been worked off. */
extern volatile uint8_t seconds;

/* A byte has come on the serial line; from its interrupt. */
void hardware_heard(uint8_t byte);

/* Outputs to their safe levels, then everything else; returns why the part was reset, in the bits of part.h. */
uint8_t hardware_start(void);

/* Whether the main clock has to go on while the CPU sleeps. */
bool hardware_needs_clock(void);

/* Starts the ticks; false where they come from the internal oscillator by a fault. */
bool clock_start(void);

/* 1/256 s since the second began. */
uint8_t clock_count(void);

/* Asks to be woken at this count, 0: with the second. It must lie at least two counts ahead. */
void clock_wake_at(uint8_t count);

/* Before deep sleep, and right after it: some clocks need a moment in between. */
void clock_sleeps(void);
void clock_woken(void);

/* 1/64 s since the second began. */
uint8_t hardware_steps(void);

#endif
