/* link.h: what the files of the link share. */
#ifndef LINK_H
#define LINK_H

#include "state.h"

void link_reset(void);

/* Puts a number of width bytes into an answer, low byte first. */
void link_put(uint8_t *answer, uint8_t at, uint8_t width, uint32_t number);

/* Answers the request of length bytes (sequence, kind, payload) in body; puts the answer there and returns its length,
   0 for none. body has room for LINK_FRAME_SIZE bytes. */
uint8_t requests_answer(uint8_t *body, uint8_t length);

/* The question of a bare terminal: one byte of the line. Whether it is to be answered now. */
bool ask_byte(uint8_t byte, bool was_frame, bool may_be_frame);
bool ask_silence(void);
void ask_reset(void);

/* Says the one sentence. */
void ask_answer(void);

#endif
