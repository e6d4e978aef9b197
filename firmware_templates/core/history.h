/* history.h: the voltage history of a dive, a byte a reading, each cell written at most once a dive. The spacing is
   chosen at the start so that the cells reach to `end`. */
#ifndef HISTORY_H
#define HISTORY_H

#include "state.h"

/* Cells there are for the block that is flown; 0 where the board has no room for 24. */
uint8_t history_cells(void);

/* Elapsed seconds from reading to reading, 1 or more. */
second_t history_spacing(void);

/* By how many steps a cell's voltage is above 2 V; most at most. */
uint8_t history_code(uint16_t pack_mv, uint8_t step_mv, uint8_t most);

void history_put(uint8_t cell, uint16_t pack_mv);

#endif
