/* release.h: when a release may fire, and its tries. */
#ifndef RELEASE_H
#define RELEASE_H

#include "state.h"

/* Works out the seconds that the dive hangs on, from what the block says, the chosen change, and what has happened. */
void release_lay_out(void);

/* One second of both releases: interlocks, tries, journal. Sets .on; drives nothing. */
void release_second(void);

/* What a reset left: tries begun before it count, and everything else is off while the next ones fire. */
void release_resume(enum port_reset cause);

bool release_any_on(void);

#endif
