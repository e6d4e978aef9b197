#include "sense.h"

#include "history.h"
#include "store.h"

#define BROKEN_CELL_MV 1000U /* a reading under 1 V a cell is a broken sensor */
#define JOURNAL_BEHIND_S 64

bool sense_contacts(void)
{
    struct state *const here = state_here();
    const uint8_t contacts = dive_port.contacts();
    here->lead = (contacts & PORT_LEAD) != 0U;
    if (here->frame_age < UINT8_MAX) {
        here->frame_age++;
    }
    /* Once in the water a flooded detect pin alone holds nothing. */
    if (here->lead && (here->frame_age <= FRAME_HOLDS_S || !dive_splashed())) {
        here->hold = HOLD_S;
        here->next = 0;
    } else if (here->hold > 0U) {
        here->hold--;
        if (here->hold == 0U) {
            here->faults &= (uint8_t)~LINK_FAULT_HOLD;
            here->next = 0;
        }
    }
    return (contacts & PORT_WET) != 0U;
}

void sense_measure(void)
{
    const uint16_t raw = dive_port.pack_mv();
    state.pack_mv = (uint16_t)(raw + (uint16_t)((int32_t)raw * store_calibration >> 16));
}

static PORT_APART bool low(uint8_t *below, uint16_t limit)
{
    if (state.pack_mv >= limit) {
        *below = 0;
    } else if (*below < BELOW_S) {
        *below = (uint8_t)(*below + SENSE_EVERY_S);
    }
    return *below >= BELOW_S;
}

static void judge_pack(void)
{
    struct state *const here = state_here();
    if (here->pack_mv < BROKEN_CELL_MV * here->said.series) {
        here->faults |= LINK_FAULT_SENSE;
        here->below_shed = here->below_release = 0;
        return;
    }
    here->faults &= (uint8_t)~LINK_FAULT_SENSE;
    if (here->pack_mv < here->lowest_mv) {
        here->lowest_mv = here->pack_mv;
    }
    if (low(&here->below_shed, here->said.shed_mv) && !here->reduced) {
        here->reduced = true;
        here->next_look = 0;
    }
    if (low(&here->below_release, here->said.release_mv)) {
        here->low_asks = true;
    }
}

void sense_pack(void)
{
    struct state *const here = state_here();
    if (!dive_passed(&here->next_sample)) {
        return;
    }
    here->next_sample = here->elapsed + (second_t)SENSE_EVERY_S;
    (void)dive_passed(&here->next_sample);
    if ((here->fires | (here->lit & (uint8_t)~state.said.keep)) == 0U) { /* what is kept, alone, is on */
        sense_measure();
        judge_pack();
    }
}

void sense_history(bool write)
{
    if (!state.has_block) {
        return;
    }
    const second_t elapsed = write ? state.elapsed : state.elapsed + JOURNAL_BEHIND_S;
    const span_t due = (span_t)elapsed / (span_t)history_spacing();
    if (due > state.readings && due <= history_cells()) {
        state.readings = (uint8_t)due;
        if (write) {
            history_put((uint8_t)(state.readings - 1U), state.pack_mv);
        }
    }
}
