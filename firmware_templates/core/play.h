/* play.h: the settings that count, run on the bench many times as fast, with the loads but never a release. Nothing is
   armed and nothing is written. The dive waits at each change of an output until it was told. */
#ifndef PLAY_H
#define PLAY_H

#include "state.h"

bool play_on(void);
void play_begin(uint16_t speed);
void play_stop(void);

/* One second of real time. */
void play_second(void);

/* Fills the answer to `follow` and returns how long it is. */
uint8_t play_follow(uint8_t *answer);

#endif
