/* sense.h: bench lead, battery, and the voltage history: a byte a reading, each cell written at most once a dive, with a
   spacing that lets the cells reach to the end. */
#ifndef SENSE_H
#define SENSE_H

#include "state.h"

/* One second of the contacts: the bench lead, and the wait after it. Returns whether the water contact is closed. */
bool sense_contacts(void);

/* The battery, where a sample is due. */
void sense_pack(void);

/* Measures now. */
void sense_measure(void);

/* The voltage history up to the present second; without write it only finds where it goes on after a reset. */
void sense_history(bool write);

#endif
