/* release.h: when a release may fire, and its tries. */
#ifndef RELEASE_H
#define RELEASE_H

#include "state.h"

/* Works out the seconds that the dive hangs on, from what the block says and the chosen change. */
void release_lay_out(void);

/* The crystal failed at clock_failed: not_before comes later, `at` and latest earlier. */
void release_clock_off(void);

/* Both releases at the present second: interlocks, tries. What has to end has ended in state.fires; true where a try
   begins, which is to be written down and then begun. */
bool release_second(void);
void release_begin(void);

/* What a reset left of a dive that had fired: tries begun before it count, and everything else is off while the next
   ones fire. */
void release_resume(void);

#endif
