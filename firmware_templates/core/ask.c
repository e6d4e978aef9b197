/* ask.c: a question mark at the beginning of a line, then a newline, is answered with one sentence. While what came before
   may still be a frame, the answer waits. */
#include "link.h"

enum place {
    AT_START,       /* nothing, or newlines only, since a delimiter, a line of text or a silence */
    AT_ASKED,       /* a question mark at such a place */
    AT_TEXT,        /* bytes that cannot be a frame */
    AT_FRAME,       /* bytes that may be one */
    AT_FRAME_LINE,  /* the same, the last of them a newline */
    AT_FRAME_ASKED  /* the same, the last two a newline and a question mark */
};

static uint8_t place;
static bool waiting;

void ask_reset(void)
{
    place = AT_START;
    waiting = false;
}

bool ask_silence(void)
{
    const bool answer = waiting;
    waiting = false;
    place = place == AT_ASKED || place == AT_FRAME_ASKED ? AT_ASKED : AT_START;
    return answer;
}

static bool is_newline(uint8_t byte)
{
    return byte == 0x0AU || byte == 0x0DU;
}

static bool settle(bool no_frame)
{
    const bool answer = waiting && no_frame;
    waiting = false;
    place = AT_START;
    return answer;
}

static bool outside(uint8_t byte, bool may_be_frame)
{
    if (is_newline(byte)) {
        const bool asked = place == AT_ASKED;
        place = AT_START;
        return asked;
    }
    if (byte == (uint8_t)'?' && place == AT_START) {
        place = AT_ASKED;
    } else {
        place = may_be_frame ? AT_FRAME : AT_TEXT;
    }
    return false;
}

static void inside(uint8_t byte)
{
    if (is_newline(byte)) {
        waiting = waiting || place == AT_FRAME_ASKED;
        place = AT_FRAME_LINE;
    } else if (byte == (uint8_t)'?' && place == AT_FRAME_LINE) {
        place = AT_FRAME_ASKED;
    } else {
        place = AT_FRAME;
    }
}

bool ask_byte(uint8_t byte, bool was_frame, bool may_be_frame)
{
    if (byte == 0U) {
        return settle(!was_frame);
    }
    if (place == AT_START || place == AT_ASKED || place == AT_TEXT) {
        return outside(byte, may_be_frame);
    }
    if (!may_be_frame) {
        const bool answer = settle(true);
        place = AT_TEXT;
        return outside(byte, false) || answer;
    }
    inside(byte);
    return false;
}

static void say(const char *text)
{
    while (*text != '\0') {
        dive_port->send((uint8_t)*text);
        text++;
    }
}

static void say_number(uint32_t number, uint8_t digits)
{
    char text[11];
    uint8_t at = sizeof text - 1U;
    text[at] = '\0';
    do {
        text[--at] = (char)('0' + (char)(number % 10U));
        number /= 10U;
    } while (number != 0U || sizeof text - 1U - at < digits);
    say(text + at);
}

static const char *name_of(uint8_t number)
{
    static const char *const names[] = {LINK_STATE_NAMES};
    return number < sizeof names / sizeof names[0] ? names[number] : "";
}

static void say_code(uint32_t code)
{
    static const char digits[] = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
    for (uint8_t left = LAYOUT_ESSENTIALS_CODE_BITS; left > 0U;) {
        left = (uint8_t)(left - 5U);
        dive_port->send((uint8_t)digits[code >> left & 31U]);
    }
}

void ask_answer(void)
{
    say(BOARD_NAME " holds ");
    if (!state.armed && !state.has_block) {
        say("no dive");
    } else {
        say("dive ");
        say_code(state.code);
    }
    say(", state ");
    say(name_of(dive_state()));
    say(", pack ");
    say_number(state.pack_mv / 1000U, 1);
    say(".");
    say_number(state.pack_mv % 1000U / 10U, 2);
    say(" V, clock ");
    say_number(dive_started() ? state.elapsed : 0U, 1);
    say(" s.\r\n");
}
