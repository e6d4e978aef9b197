/* sense.h: water, bench lead, battery. */
#ifndef SENSE_H
#define SENSE_H

#include "state.h"

/* One second of the bench lead: sets lead, lead_holds and, while it holds, the wait after it. */
void sense_lead(void);

/* One second of the water contact: true in the second that completes a wet minute. */
bool sense_water(void);

/* One second of the battery: a measurement when one is due. */
void sense_pack(void);

/* Measures now. */
void sense_measure(void);

/* Where the voltage history goes on after a start or a reset. */
void sense_history_from(bool after_reset);

#endif
