/* hardware.h: what the files of this port share. */
#ifndef HARDWARE_H
#define HARDWARE_H

#include "dive.h"


/* Outputs to their safe levels, then everything else. */
void hardware_start(void);

/* 1/64 s since the second began. */
uint8_t hardware_steps(void);

/* Whether the main clock has to go on while the CPU sleeps: a level is being made, or memory is being written. */
bool hardware_needs_clock(void);

#endif
