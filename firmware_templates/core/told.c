#include "told.h"

#include <string.h>

#include "history.h"
#include "journal.h"
#include "link.h"
#include "play.h"
#include "release.h"
#include "store.h"

/* Reads the last dive that was armed into state, as far as it is not there anyway, and gives its code. False where none
   was started, or where other settings count since: its history has gone with them. */
static bool recall(void)
{
    struct essentials essentials;
    if (state.armed) {
        return dive_started();
    }
    store_essentials(&essentials);
    if (play_on() || !essentials.valid || !state.has_block || essentials.code != state.code) {
        return false;
    }
    dive_read_block();
    if (!block_header(&state.said) || !journal_read(state.code) || state.stage == STAGE_ARMED
        || (state.stage == STAGE_OVER && state.elapsed == 0U)) {
        state.stage = STAGE_ARMED;
        return false;
    }
    dive_read_block();
    block_choose(&state.said, state.choice);
    release_lay_out();
    return true;
}

static uint8_t state_told(void)
{
    if (state.armed) {
        return dive_state();
    }
    return state.stage == STAGE_OVER ? LINK_STATE_OVER : state.reduced ? LINK_STATE_SURFACE_ONLY : LINK_STATE_ON_DECK;
}

/* Readings that were due by now. */
static uint8_t readings(void)
{
    const second_t due = state.elapsed / history_spacing();
    return due < history_cells() ? (uint8_t)due : history_cells();
}

uint8_t told_journal(uint8_t *answer)
{
    memset(answer, 0, LINK_REPLY_JOURNAL_SIZE);
    if (!recall()) {
        link_put(answer, LINK_REPLY_JOURNAL_CODE_AT, 4, LINK_NO_CODE);
        return LINK_REPLY_JOURNAL_SIZE;
    }
    const uint8_t tries = (uint8_t)(state.primary.tries + state.backup.tries);
    const uint32_t fired = tries != 0U ? (uint32_t)(state.planned - journal_early()) : LINK_NO_FIRING;
    dive_read_block();
    const bool changed = state.choice != block_unchanged(&state.said);
    link_put(answer, LINK_REPLY_JOURNAL_CODE_AT, 4, state.code);
    link_put(answer, LINK_REPLY_JOURNAL_STATE_AT, 1, state_told());
    link_put(answer, LINK_REPLY_JOURNAL_ELAPSED_AT, 3, (uint32_t)state.elapsed);
    link_put(answer, LINK_REPLY_JOURNAL_RESETS_AT, 2, state.resets);
    link_put(answer, LINK_REPLY_JOURNAL_TRIES_AT, 1, tries);
    link_put(answer, LINK_REPLY_JOURNAL_LOWEST_MV_AT, 2, state.lowest_mv == UINT16_MAX ? 0U : state.lowest_mv);
    link_put(answer, LINK_REPLY_JOURNAL_FIRST_FIRING_AT, 3, fired);
    link_put(answer, LINK_REPLY_JOURNAL_CHOICE_AT, 1, changed ? state.choice : LINK_UNCHANGED);
    link_put(answer, LINK_REPLY_JOURNAL_FAULTS_AT, 2, state.faults);
    link_put(answer, LINK_REPLY_JOURNAL_READINGS_AT, 1, readings());
    link_put(answer, LINK_REPLY_JOURNAL_SPACING_AT, 3, (uint32_t)history_spacing());
    return LINK_REPLY_JOURNAL_SIZE;
}

uint8_t told_history(uint8_t *answer, uint8_t first)
{
    uint8_t at = LINK_REPLY_HISTORY_DATA_AT;
    answer[LINK_REPLY_HISTORY_FIRST_AT] = first;
    link_put(answer, LINK_REPLY_HISTORY_STEP_MV_AT, 2, history_step());
    if (recall()) {
        for (const uint8_t end = readings(); first < end && at < LINK_REPLY_HISTORY_DATA_AT + LINK_CHUNK; first++) {
            link_put(answer, at, 2, history_get(first));
            at = (uint8_t)(at + 2U);
        }
    }
    answer[LINK_REPLY_HISTORY_LENGTH_AT] = (uint8_t)(at - LINK_REPLY_HISTORY_DATA_AT);
    return at;
}
