#include "history.h"

#define CELL_STEP_MV 10U
#define CELL_LEAST_MV 2000U
#define CODE_MOST 254U

PORT_APART uint8_t history_code(uint16_t pack_mv, uint8_t step_mv, uint8_t most)
{
    const uint8_t series = state.said.series;
    const uint16_t least = (uint16_t)(CELL_LEAST_MV * series), step = (uint16_t)(step_mv * series);
    uint8_t code = 0;
    if (pack_mv < least) {
        return code;
    }
    pack_mv = (uint16_t)(pack_mv - least);
    while (pack_mv >= step && code < most) {
        pack_mv = (uint16_t)(pack_mv - step);
        code++;
    }
    return code;
}

/* Where the board has no place of its own for it, the history stands behind the settings in both slots: while it is
   armed nothing else is written there. */
#if BOARD_HISTORY_SIZE > 0
static uint16_t address_of(uint8_t cell)
{
    return (uint16_t)(BOARD_HISTORY + cell);
}

uint8_t history_cells(void)
{
    return BOARD_HISTORY_SIZE;
}
#else
#define FEWEST 24U

static uint8_t room(void)
{
    return (uint8_t)(BOARD_BLOCK_MOST - state.said.length);
}

static uint16_t address_of(uint8_t cell)
{
    const uint16_t behind = (uint16_t)(BOARD_SLOT_SIZE - room()), place = (uint16_t)(BOARD_SLOT_A + behind + cell);
    return cell < room() ? place : (uint16_t)(place + behind); /* slot B begins where A ends */
}

uint8_t history_cells(void)
{
    if (2U * room() < FEWEST) {
        return 0;
    }
    return (uint8_t)(2U * room());
}
#endif

second_t history_spacing(void)
{
    const uint8_t cells = history_cells();
    return cells == 0U ? FOREVER : (second_t)((span_t)state.said.end / cells + 1U);
}

void history_put(uint8_t cell, uint16_t pack_mv)
{
    const uint8_t code = (uint8_t)(1U + history_code(pack_mv, CELL_STEP_MV, CODE_MOST));
    dive_port.store(address_of(cell), &code, 1);
}
