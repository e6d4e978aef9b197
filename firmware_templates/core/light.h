/* light.h: words of blinks. A word is some long blinks, then some short ones. */
#ifndef LIGHT_H
#define LIGHT_H

#include "state.h"

/* Begins a word; what was being said ends. */
void light_say(uint8_t longs, uint8_t shorts);

/* The words: a change is made, and the number of the combination, counted from 1; refused, or not in order. */
#define LIGHT_CHANGE(choice) 2, (uint8_t)((choice) + 1U)
#define LIGHT_FAULT 0, 8

/* One long; then, after a gap, the dive code's first digit: its eights long, the rest short. */
void light_say_armed(void);

/* One second: says what there is to say, every 10 s. */
void light_second(void);

/* Steps of 1/64 s until the light changes, 0: it does not. */
uint8_t light_due(void);

/* So many steps have passed. */
void light_pass(uint8_t steps);

#endif
