#include "history.h"

#define CELL_LEAST_MV 2000U /* of a cell; stored as 1 */
#define CELL_STEP_MV 10U
#define CODE_MOST 255U

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
    const uint16_t behind = (uint16_t)(1U + state.said.length + BOARD_SUM_BYTES);
    return (uint16_t)(cell < room() ? BOARD_SLOT_A + behind + cell : BOARD_SLOT_B + behind + cell - room());
}

uint8_t history_cells(void)
{
    if (!state.has_block || 2U * room() < FEWEST) {
        return 0;
    }
    return (uint8_t)(2U * room());
}
#endif

second_t history_spacing(void)
{
    const second_t span = state.has_block ? state.said.end : state.said.latest;
    const uint8_t cells = history_cells();
    return cells == 0U ? span + 1 : span / cells + 1;
}

uint16_t history_step(void)
{
    return (uint16_t)(CELL_STEP_MV * (state.said.series != 0U ? state.said.series : 1U));
}

void history_put(uint8_t cell, uint16_t pack_mv)
{
    uint8_t code = 0;
    if (pack_mv != 0U) {
        const uint16_t of_cell = (uint16_t)(pack_mv / (history_step() / CELL_STEP_MV));
        const uint16_t steps = of_cell < CELL_LEAST_MV ? 0U : (uint16_t)((of_cell - CELL_LEAST_MV) / CELL_STEP_MV);
        code = steps + 1U < CODE_MOST ? (uint8_t)(steps + 1U) : (uint8_t)CODE_MOST;
    }
    dive_port.store(address_of(cell), &code, 1);
}

uint16_t history_get(uint8_t cell)
{
    const uint8_t code = dive_port.load(address_of(cell));
    if (code == 0U) {
        return 0;
    }
    return (uint16_t)((CELL_LEAST_MV / CELL_STEP_MV + code - 1U) * history_step());
}
