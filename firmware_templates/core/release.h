/* release.h: when a release may fire, and its tries. */
#ifndef RELEASE_H
#define RELEASE_H

#include "state.h"

/* Planned first firing command, UNKNOWN_S where the controller fires nothing. */
uint32_t release_planned(void);

/* One second of both releases: interlocks, tries, journal. Sets .on; drives nothing. */
void release_second(void);

/* What a reset left: tries begun before it count, the next one comes when it was planned, or after a pause. */
void release_resume(enum port_reset cause);

/* End of the last try of the first release, elapsed s; UNKNOWN_S before the first. */
uint32_t release_last_end(void);

bool release_any_on(void);

#endif
