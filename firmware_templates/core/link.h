/* link.h: what the files of the link share. */
#ifndef LINK_H
#define LINK_H

#include "state.h"

#define LINK_DONE 0U /* in place of the reason of a refusal */
#define LINK_OUTPUTS (LINK_REPLY_PLAY_SIZE - LINK_REPLY_PLAY_LEVELS_AT)

/* What a board tells of itself, always the same, and a zero behind its name. */
struct about {
    uint8_t numbers[LINK_REPLY_IDENTIFY_BOARD_AT - LINK_REPLY_IDENTIFY_PROTOCOL_AT];
    char board[LINK_NAME_SIZE];
    char end;
};
extern const PORT_CONST struct about link_about;

void link_reset(void);

/* Answers the request of length bytes (sequence, kind, payload) in frame; puts the answer there and returns its length,
   0 for none. There is room for a frame of any length. */
uint8_t requests_answer(uint8_t *frame, uint8_t length);

/* Why the four bytes are not the dive code of the settings that count; LINK_DONE where they are. */
uint8_t link_check_code(const uint8_t *code);

/* The question of a bare terminal: one byte of the line; 100 ms without any. */
void ask_byte(uint8_t byte);
void ask_silence(void);

#endif
