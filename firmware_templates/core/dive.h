/* dive.h: what a port calls. The core is one state machine; nothing here may be called from an interrupt. */
#ifndef DIVE_H
#define DIVE_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "port.h"

/* What the hardware does: one constant, so that the compiler may call its functions without going through it. */
extern const struct board_port dive_port;

/* Once after every reset, outputs being at their safe levels: finds out what the board holds and where it was.
   resets: those since the supply came up; clock_ok: false where time comes from the internal oscillator by a fault. */
void dive_boot(enum port_reset cause, uint16_t resets, bool clock_ok);

/* Once a second. */
void dive_second(void);

/* In which 1/64 s of this second dive_fine() is to be called next, 1 to 63; 0: not before the next second. */
uint8_t dive_fine_due(void);
void dive_fine(void);

/* A button's pin has changed. */
void dive_button(void);

/* The crystal's ticks have stopped and time goes on from the internal oscillator. */
void dive_clock_failed(void);

/* One byte from the serial line; 100 ms without any. */
void link_byte(uint8_t byte);
void link_silence(void);

/* Whether the serial line must be listened to at the cost of power. */
bool dive_listens(void);

#endif
