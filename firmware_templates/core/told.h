/* told.h: what the board tells of its last dive. Each fills an answer and returns how long it is. */
#ifndef TOLD_H
#define TOLD_H

#include "state.h"

uint8_t told_journal(uint8_t *answer);
uint8_t told_history(uint8_t *answer, uint8_t first);

#endif
