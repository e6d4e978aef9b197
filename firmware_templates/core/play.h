/* play.h: single seconds of the settings that count, shown on the bench with the loads, but never with a release: the
   light is lit in its place. Nothing is armed and nothing is written. */
#ifndef PLAY_H
#define PLAY_H

#include "state.h"

bool play_on(void);
void play_stop(void);

/* One second of real time: ends it where nothing was asked for too long, or without the bench lead. */
void play_second(void);

/* Shows the elapsed second that the request in body asks for, and puts the answer there; the reason of a refusal. */
uint8_t play_show(uint8_t *body);

#endif
