/* schedule.h: what each output does in one elapsed second, by closed forms from the block: the same as
   schedgen/plan/evaluate.py, which is the specification. */
#ifndef SCHEDULE_H
#define SCHEDULE_H

#include <stdbool.h>
#include <stdint.h>

#include "block.h"

/* What is known at a second: how far edges have moved, where the firing command cuts, when the dive ends. */
struct face {
    second_t shift;   /* of edges that move: 0, or negative after an early command */
    second_t cut;     /* FOREVER where none is expected */
    second_t end;
};

/* Percent, and the flash pattern in 1/64 s where there is one: lit while phase < lit. Every and lit are 0 where nothing was
   said of a pattern, and STEADY where something drives the output without one, which outdoes those that have one. */
struct output_state {
    uint8_t level;
    uint16_t every, lit;
    uint16_t phase;      /* at the beginning of the second */
};

#define STEADY 1U

/* Fills the states of all outputs for the present second, releases left at 0, and finds the next second at which anything
   may change. Where the dive is reduced, outputs outside the keep mask, and what follows them, are off. */
void schedule_look(void);

#endif
