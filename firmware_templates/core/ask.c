/* ask.c: a question mark at the beginning of a line, then a newline, is answered with one sentence once the line is silent:
   the bytes of a frame may look the same, but are never followed by a silence. */
#include "link.h"

static enum { AT_START, AT_ASKED, AT_ANSWER, AT_TEXT } place;

void ask_byte(uint8_t byte)
{
    if (byte == 0U) {
        place = AT_START;
    } else if (byte == 0x0AU || byte == 0x0DU) {
        place = place == AT_ASKED || place == AT_ANSWER ? AT_ANSWER : AT_START;
    } else {
        place = byte == (uint8_t)'?' && (place == AT_START || place == AT_ANSWER) ? AT_ASKED : AT_TEXT;
    }
}

/* Says a text that stands where constants do. */
static void say(const char *text)
{
    for (;;) {
        const uint8_t letter = (uint8_t)PORT_CONST_BYTE(text);
        if (letter == 0U) {
            return;
        }
        dive_port.send(letter);
        text++;
    }
}

/* With a point before the last so many digits; 0: none. */
static void say_number(span_t number, uint8_t behind)
{
    PORT_SAVES;
    uint8_t digits[10];
    uint8_t count = 0;
    do {
        if (behind != 0U && count == behind) {
            digits[count++] = '.';
        }
        digits[count++] = (uint8_t)('0' + number % 10U);
        number /= 10U;
    } while (number != 0U || (behind != 0U && count <= behind));
    while (count > 0U) {
        dive_port.send(digits[--count]);
    }
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

static void say_state(uint8_t number)
{
    static const char PORT_CONST names[] = LINK_STATE_NAMES;
    const char *name = names;
    for (; number > 0U; name++) {
        if (PORT_CONST_BYTE(name) == '\0') {
            number--;
        }
    }
    say(name);
}

static void answer(void)
{
    say(link_about.board);
    if (!state.armed && !state.has_block) {
        say(PORT_TEXT(" holds no dive"));
    } else {
        say(PORT_TEXT(" holds dive "));
        say_code(state.code);
    }
    say(PORT_TEXT(", state "));
    say_state(dive_state());
    say(PORT_TEXT(", pack "));
    say_number(state.pack_mv, 3);
    say(PORT_TEXT(" V, clock "));
    say_number(dive_started() ? (span_t)state.elapsed : 0U, 0);
    say(PORT_TEXT(" s.\r\n"));
}

void ask_silence(void)
{
    if (place == AT_ANSWER) {
        answer();
    }
    place = place == AT_ASKED ? AT_ASKED : AT_START;
}
