/* link.c: frames on the serial line. COBS of sequence, kind, payload and CRC-16 (high byte first), closed by a zero, at most
   LINK_FRAME_SIZE bytes. Damaged and over-long ones are dropped without an answer. */
#include "link.h"

#include <string.h>

#include "sums.h"

#define SUM_BYTES 2U
#define LEAST (1U + 2U + SUM_BYTES)

static struct {
    uint8_t bytes[LINK_FRAME_SIZE]; /* decoded as they come; the first stands for the code before them. Then the answer */
    uint8_t held;                   /* LINK_FRAME_SIZE: too many */
    uint8_t left;                   /* bytes to come before the next code */
    uint8_t last[LINK_FRAME_SIZE];  /* the last answer, which begins with its sequence, and a zero */
    uint8_t last_length;
} line;

void link_reset(void)
{
    memset(&line, 0, sizeof line);
    ask_silence();
}

static void send_last(void)
{
    const uint8_t *from = line.last;
    uint8_t left = (uint8_t)(line.last_length + 1U);
    while (left > 0U) {
        uint8_t run = 0;
        while (from[run] != 0U) {
            run++;
        }
        run++;
        left = (uint8_t)(left - run);
        dive_port.send(run);
        while (--run > 0U) {
            dive_port.send(*from++);
        }
        from++;
    }
    dive_port.send(0);
}

/* A readable frame: sequence, kind, payload in length bytes, and room for the sum. */
static PORT_APART void obey(uint8_t *frame, uint8_t length)
{
    const uint8_t sequence = frame[0];
    if (frame[1] >= LINK_REPLY) {
        return; /* somebody else's answer, or our own come back */
    }
    if (sequence == 0U || sequence != line.last[0]) {
        length = requests_answer(frame, length);
        if (length == 0U) {
            return;
        }
        const uint16_t sum = sum16_of(frame, length);
        frame[length] = (uint8_t)(sum >> 8);
        frame[length + 1U] = (uint8_t)sum;
        frame[length + SUM_BYTES] = 0;
        memcpy(line.last, frame, sizeof line.last - 1U);
        line.last_length = (uint8_t)(length + SUM_BYTES);
    }
    state.frame_age = 0;
    send_last();
}

void link_byte(uint8_t byte)
{
    ask_byte(byte);
    if (byte != 0U) {
        if (line.held < LINK_FRAME_SIZE) {
            if (line.left == 0U) {
                line.left = byte;
                byte = 0;
            }
            line.left--;
            line.bytes[line.held++] = byte;
        }
        return;
    }
    const uint8_t held = line.held;
    const bool whole = line.left == 0U && held >= LEAST && held < LINK_FRAME_SIZE;
    line.held = line.left = 0;
    /* A checksum over its own bytes too leaves nothing. */
    if (whole && sum16_of(line.bytes + 1, (uint8_t)(held - 1U)) == 0U) {
        obey(line.bytes + 1, (uint8_t)(held - 1U - SUM_BYTES));
    }
}

void link_silence(void)
{
    line.held = line.left = 0;
    ask_silence();
}
