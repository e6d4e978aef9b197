/* buttons.h: two buttons.

   While armed and before start (button trigger: and for 60 s after it) a short press of a takes the next value of the
   first field change, of b that of the second (with one change: the previous value); the light says the number. Both
   together, shortly, confirm. With trigger `button`, b held for 3 s starts the clock. Both held for 5 s stand the board
   down, before splash, after surfacing, and in the hold after a power-on reset. */
#ifndef BUTTONS_H
#define BUTTONS_H

#include "state.h"

/* A pin has changed, or a second has passed. */
void buttons_wake(void);

/* Whether they are being looked at in each 1/64 s. */
bool buttons_watched(void);

/* One such look; steps since the last. */
void buttons_pass(uint8_t steps);

/* Whether anything may come of a press now. */
bool buttons_act(void);

#endif
