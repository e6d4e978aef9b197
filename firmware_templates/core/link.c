/* link.c: frames on the serial line. COBS of sequence, kind, payload and CRC-16 (high byte first), closed by a zero, at most
   LINK_FRAME_SIZE bytes. Damaged and over-long ones are dropped without an answer. */
#include "link.h"

#include <string.h>

#include "sums.h"

#define SUM_BYTES 2U
#define LEAST_BODY (2U + SUM_BYTES)

static struct {
    uint8_t bytes[LINK_FRAME_SIZE]; /* encoded, then decoded in place, then the answer */
    uint8_t held;
    bool too_long;
    uint8_t last[LINK_FRAME_SIZE]; /* the last answer, encoded */
    uint8_t last_length;
    uint8_t last_sequence;
} line;

void link_reset(void)
{
    memset(&line, 0, sizeof line);
    ask_reset();
}

static void send_last(void)
{
    for (uint8_t n = 0; n < line.last_length; n++) {
        dive_port.send(line.last[n]);
    }
}

/* Decodes in place; 0 where it is no such encoding. What is decoded is never longer than what was read. */
static uint8_t unstuff(uint8_t *bytes, uint8_t length)
{
    uint8_t from = 0, to = 0;
    while (from < length) {
        const uint8_t code = bytes[from];
        if (code == 0U || code > length - from) {
            return 0;
        }
        for (uint8_t n = 1; n < code; n++) {
            bytes[to++] = bytes[from + n];
        }
        from = (uint8_t)(from + code);
        if (from < length) {
            bytes[to++] = 0;
        }
    }
    return to;
}

/* Encodes length bytes of body into line.last, with its closing zero. */
static void stuff(const uint8_t *body, uint8_t length)
{
    uint8_t code_at = 0, to = 1;
    for (uint8_t n = 0; n < length; n++) {
        if (body[n] == 0U) {
            line.last[code_at] = (uint8_t)(to - code_at);
            code_at = to++;
        } else {
            line.last[to++] = body[n];
        }
    }
    line.last[code_at] = (uint8_t)(to - code_at);
    line.last[to++] = 0;
    line.last_length = to;
}

/* Length of the readable frame in line.bytes without its checksum, 0 where there is none. */
static uint8_t readable(void)
{
    if (line.too_long || line.held == 0U) {
        return 0;
    }
    const uint8_t length = unstuff(line.bytes, line.held);
    if (length < LEAST_BODY) {
        return 0;
    }
    return sum16_of(line.bytes, length) == 0U ? (uint8_t)(length - SUM_BYTES) : 0U;
}

static void obey(uint8_t length)
{
    const uint8_t sequence = line.bytes[0];
    if (line.bytes[1] >= LINK_REPLY) {
        return; /* somebody else's answer, or our own come back */
    }
    if (sequence != 0U && sequence == line.last_sequence) {
        state.frame_age = 0;
        send_last();
        return;
    }
    const uint8_t answer = requests_answer(line.bytes, length);
    if (answer == 0U) {
        return;
    }
    state.frame_age = 0;
    const uint16_t sum = sum16_of(line.bytes, answer);
    line.bytes[answer] = (uint8_t)(sum >> 8);
    line.bytes[answer + 1U] = (uint8_t)sum;
    stuff(line.bytes, (uint8_t)(answer + SUM_BYTES));
    line.last_sequence = sequence;
    send_last();
}

static bool may_be_frame(void)
{
    return line.held > 0U && line.bytes[0] < LINK_FRAME_SIZE && !line.too_long;
}

void link_byte(uint8_t byte)
{
    uint8_t length = 0;
    if (byte == 0U) {
        length = readable();
        line.held = 0;
        line.too_long = false;
    } else if (line.too_long || line.held >= LINK_FRAME_SIZE - 1U) {
        line.held = 0;
        line.too_long = true;
    } else {
        line.bytes[line.held++] = byte;
    }
    const bool asked = ask_byte(byte, length != 0U, may_be_frame());
    if (length != 0U) {
        obey(length);
    } else if (asked) {
        ask_answer();
    }
}

void link_silence(void)
{
    line.held = 0;
    line.too_long = false;
    if (ask_silence()) {
        ask_answer();
    }
}
