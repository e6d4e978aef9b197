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

/* Says a text that stands where constants do. */
static void say(const char *text)
{
    for (char letter = (char)PORT_CONST_BYTE(text); letter != '\0'; letter = (char)PORT_CONST_BYTE(text)) {
        dive_port.send((uint8_t)letter);
        text++;
    }
}

static void say_number(second_t number)
{
    uint8_t digits[10];
    uint8_t count = 0;
    do {
        digits[count++] = (uint8_t)('0' + number % 10);
        number /= 10;
    } while (number != 0);
    while (count > 0U) {
        dive_port.send(digits[--count]);
    }
}

static void say_state(uint8_t number)
{
    static const char PORT_CONST names[] = LINK_STATE_NAMES;
    const char *name = names;
    while (number > 0U) {
        if (PORT_CONST_BYTE(name) == (uint8_t)'\0') {
            number--;
        }
        name++;
    }
    say(name);
}

static void say_code(uint32_t code)
{
    static const char PORT_CONST letters[] = "0123456789ABCDEFGHJKMNPQRSTVWXYZ";
    code <<= 32U - LAYOUT_ESSENTIALS_CODE_BITS;
    for (uint8_t left = LAYOUT_ESSENTIALS_CODE_BITS / 5U; left > 0U; left--) {
        dive_port.send((uint8_t)PORT_CONST_BYTE(letters + (uint8_t)(code >> 27)));
        code <<= 5;
    }
}

void ask_answer(void)
{
    say(PORT_TEXT(BOARD_NAME " holds "));
    if (!state.armed && !state.has_block) {
        say(PORT_TEXT("no dive"));
    } else {
        say(PORT_TEXT("dive "));
        say_code(state.code);
    }
    say(PORT_TEXT(", state "));
    say_state(dive_state());
    say(PORT_TEXT(", pack "));
    say_number(state.pack_mv / 1000U);
    dive_port.send((uint8_t)'.');
    dive_port.send((uint8_t)('0' + state.pack_mv / 100U % 10U));
    dive_port.send((uint8_t)('0' + state.pack_mv / 10U % 10U));
    say(PORT_TEXT(" V, clock "));
    say_number(dive_started() ? state.elapsed : 0);
    say(PORT_TEXT(" s.\r\n"));
}
