/* extreme_blocks.c: see test_extreme_blocks.py. Reads blocks, looks at seconds of them, and says how many levels are not
   those expected; the numbers are in cases.h. */
#include <avr/io.h>

#include "cases.h"
#include "dive.h"
#include "state.h"

struct state state;

static uint8_t no_load(uint16_t address)
{
    (void)address;
    return 0;
}

const struct board_port dive_port = {.load = no_load};

static void say(uint8_t byte)
{
    while (!(USART0.STATUS & USART_DREIF_bm)) { }
    USART0.STATUS = USART_TXCIF_bm;
    USART0.TXDATAL = byte;
    while (!(USART0.STATUS & USART_TXCIF_bm)) { }
}

static void say_number(uint16_t number)
{
    say((uint8_t)(number >> 8));
    say((uint8_t)number);
}

static bool look_is_right(const struct a_case *one)
{
    const uint8_t *block = blocks[one->block];
    bits_open(block, 0, block[0]);
    if (!block_open(&state.said)) {
        return false;
    }
    block_choose(&state.said, one->choice);
    state.elapsed = (second_t)one->t;
    state.face.shift = (second_t)one->shift;
    state.face.cut = (second_t)one->cut;
    state.face.end = state.said.end + state.face.shift;
    schedule_look();
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        if (!bit_set(BOARD_RELEASES, n) && state.outputs[n].level != one->levels[n]) {
            return false;
        }
    }
    return state.next_look > state.elapsed;
}

int main(void)
{
    uint16_t wrong = 0, first = 0xFFFF;
    USART0.BAUD = (uint16_t)((64UL * F_CPU + 8UL * 115200UL) / (16UL * 115200UL));
    PORTA.DIRSET = PIN0_bm;
    USART0.CTRLB = USART_TXEN_bm;
    for (uint16_t n = 0; n < CASES; n++) {
        if (!look_is_right(&cases[n])) {
            first = wrong == 0U ? n : first;
            wrong++;
        }
    }
    say_number(wrong);
    say_number(first);
    say('k');
    for (;;) { }
}
