/* release.h: when a release may fire, and its tries. */
#ifndef RELEASE_H
#define RELEASE_H

#include "state.h"

/* Works out the seconds that the dive hangs on, from what the block says and the chosen change. since: where time comes from the
   internal oscillator, from when on. */
void release_lay_out(second_t since);

/* The crystal failed at that second: the planned seconds behind it are uncertain by the internal oscillator's tolerance. */
void release_clock_off(second_t since);

/* Both releases at the present second: interlocks, tries. What has to end has ended in state.fires; true where a try
   begins, which is to be written down and then begun. */
bool release_second(void);
void release_put_early(void);
void release_begin(void);

/* What a reset left of a dive that had fired: tries begun before it count, and everything else is off while the next
   ones fire. */
void release_resume(void);

/* The hold after a power-on reset, and what is left of it after another. */
void release_hold_after(enum port_reset cause);

/* So that it is known after a reset what is left of the hold: once a second. */
void release_keep_hold(void);

#endif
