#include "sense.h"

#include "history.h"
#include "release.h"
#include "store.h"

#define BROKEN_CELL_MV 1000U /* a reading under 1 V a cell is a broken sensor */

void sense_lead(void)
{
    const uint8_t contacts = dive_port.contacts();
    state.lead = (contacts & PORT_LEAD) != 0U;
    state.wet = (contacts & PORT_WET) != 0U;
    if (state.frame_age < UINT8_MAX) {
        state.frame_age++;
    }
    /* Once in the water a flooded detect pin alone holds nothing. */
    state.lead_holds = state.lead && (!dive_splashed() || state.frame_age <= FRAME_HOLDS_S);
    if (state.lead_holds) {
        state.hold = HOLD_S;
    } else if (state.hold > 0U) {
        state.hold--;
    }
    if (state.hold == 0U) {
        state.held_by_power = false;
    }
}

bool sense_water(void)
{
    if (!BOARD_WATER || !state.armed) {
        return false;
    }
    if (!state.wet) {
        state.wet_run = 0;
        return false;
    }
    if (state.wet_run < WET_S) {
        state.wet_run++;
    }
    return state.wet_run == WET_S;
}

void sense_measure(void)
{
    const second_t raw = dive_port.pack_mv();
    const second_t right = raw + raw * (second_t)store_calibration() / 10000;
    state.pack_mv = right < 0 ? 0U : right > (second_t)UINT16_MAX ? UINT16_MAX : (uint16_t)right;
}

static bool only_kept_is_on(void)
{
    if (release_any_on() || state.pulse.on) {
        return false;
    }
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        if (state.driven[n] != 0U && !bit_set(state.said.keep, n)) {
            return false;
        }
    }
    return true;
}

static uint8_t count_below(uint8_t below, uint16_t limit)
{
    if (state.pack_mv >= limit) {
        return 0;
    }
    return below >= BELOW_S ? BELOW_S : (uint8_t)(below + SENSE_EVERY_S);
}

static void judge_pack(void)
{
    if (state.pack_mv < (second_t)BROKEN_CELL_MV * state.said.series) {
        state.faults |= LINK_FAULT_SENSE;
        state.below_shed = state.below_release = 0;
        return;
    }
    state.faults &= (uint16_t)~LINK_FAULT_SENSE;
    state.quiet_mv = state.pack_mv;
    if (state.pack_mv < state.lowest_mv) {
        state.lowest_mv = state.pack_mv;
    }
    state.below_shed = count_below(state.below_shed, state.said.shed_mv);
    state.below_release = count_below(state.below_release, state.said.release_mv);
    if (state.below_shed >= BELOW_S && !state.reduced) {
        state.reduced = true;
        state.look_now = true;
    }
    if (state.below_release >= BELOW_S) {
        state.low_asks = true;
    }
}

void sense_history_from(bool after_reset)
{
    state.history_spacing = history_spacing();
    const second_t slack = after_reset ? 64 : 0; /* a cell that may have been written is left alone */
    const second_t done = (state.elapsed + slack) / state.history_spacing;
    state.history_next = done < (second_t)UINT8_MAX ? (uint8_t)done : UINT8_MAX;
}

static void keep_history(void)
{
    if (state.elapsed < ((second_t)state.history_next + 1) * state.history_spacing || state.history_next >= history_cells()) {
        return;
    }
    history_put(state.history_next, state.quiet_mv);
    state.history_next++;
}

void sense_pack(void)
{
    if (!dive_started()) {
        return;
    }
    keep_history();
    if ((state.elapsed & 1) == 0 && state.elapsed % (second_t)SENSE_EVERY_S == 0 /* a division takes 600 cycles */ && state.has_block && only_kept_is_on()) {
        sense_measure();
        judge_pack();
    }
}
