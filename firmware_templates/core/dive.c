/* dive.c: the state machine, one tick a second. */
#include "dive.h"

#include "buttons.h"
#include "journal.h"
#include "light.h"
#include "play.h"
#include "release.h"
#include "sense.h"
#include "state.h"

#define HOUR_S 3600U

struct state state PORT_KEPT;

/* ---- where it is ---- */

void dive_read_block(void)
{
    bits_open(state.block, 0, state.block[0]);
}

bool dive_started(void)
{
    return state.armed && state.stage != STAGE_ARMED;
}

bool dive_passed(const second_t *second)
{
    const second_t then = *second;
    struct state *const here = state_here();
    if (here->elapsed >= then) {
        return true;
    }
    if (then < here->next) {
        here->next = then;
    }
    return false;
}

/* Certainly in the water: the contact said so for a minute, or, where it cannot say it, the late bottom has passed. */
bool dive_splashed(void)
{
    const struct settings *const said = settings_here();
    if (!dive_started() || state.wet_latched) {
        return dive_started();
    }
    if (BOARD_WATER && !said->without_water) {
        return false;
    }
    return dive_passed(said->bottom == UNKNOWN_S ? &said->not_before : &said->bottom);
}

/* The state but for the reduced programme. */
static uint8_t phase(void)
{
    struct state *const here = state_here();
    uint8_t now = LINK_STATE_ON_DECK;
    if (!here->armed || here->stage == STAGE_ARMED) {
        return here->armed ? LINK_STATE_ARMED : LINK_STATE_ON_BENCH;
    }
    if (dive_splashed()) {
        now = dive_passed(&state.said.bottom) ? LINK_STATE_ON_BOTTOM : LINK_STATE_DESCENDING;
    }
    if (here->fired) {
        now = LINK_STATE_RELEASING;
    }
    if (dive_passed(&here->last_end)) {
        now = here->elapsed - here->last_end >= state.said.rise ? LINK_STATE_AT_SURFACE : LINK_STATE_RISING;
    }
    return dive_passed(&here->face.end) ? LINK_STATE_OVER : now;
}

uint8_t dive_state(void)
{
    const uint8_t now = phase();
    return state.reduced && now > LINK_STATE_ARMED && now < LINK_STATE_OVER ? LINK_STATE_SURFACE_ONLY : now;
}

PORT_APART void dive_start(second_t elapsed)
{
    state.stage = STAGE_STARTED;
    state.elapsed = elapsed;
    state.entry_due = true;
    dive_fly();
}

/* ---- what is due ---- */

void dive_fly(void)
{
    PORT_SAVES;
    struct state *const here = state_here();
    here->next = FOREVER;
    sense_pack();
    if (here->stage != STAGE_OVER && dive_passed(&state.face.end)) {
        here->stage = STAGE_OVER;
        here->entry_due = true;
    }
    const bool begun = release_second();
    if (dive_passed(&here->next_look)) {
        dive_look();
    }
    dive_drive();
    /* Slow writes only now that all has changed that has to; but a try is written down before it begins. */
    if (begun) {
        journal_put_early(-here->face.shift);
        journal_put(true);
        release_begin();
        dive_drive();
    } else if (journal_due() || here->entry_due) {
        if (!here->entry_due && (span_t)here->elapsed % HOUR_S == 0U && here->resets_hour < STORM_RESETS) {
            here->resets_hour = 0;
        }
        here->entry_due = false;
        journal_put(false);
    }
    (void)journal_due();
    sense_history(true);
    here->at_hand = (here->faults & LINK_FAULT_HOLD) != 0U || !dive_splashed() || phase() >= LINK_STATE_AT_SURFACE;
}

/* The contact, for as long as it has something to say. */
static void water(bool wet)
{
    struct state *const here = state_here();
    if (!BOARD_WATER || !here->armed || here->wet_latched
        || (here->stage == STAGE_ARMED && here->said.trigger != LAYOUT_TRIGGER_WATER)) {
        return;
    }
    if (!wet) {
        here->wet_run = 0;
        return;
    }
    here->wet_run++;
    if (here->wet_run < WET_S) {
        return;
    }
    here->wet_latched = true;
    here->entry_due = true;
    here->next = 0;
    if (here->stage == STAGE_ARMED) {
        dive_start(WET_S);
    }
}

void dive_second(void)
{
    struct state *const here = state_here();
    dive_pass((uint8_t)(64U - here->step));
    here->step = 0;
    const bool wet = sense_contacts();
    play_second();
    const bool counts = dive_started();
    if (counts && here->elapsed < (second_t)LAYOUT_HEADER_END_HIGH) {
        here->elapsed++;
    }
    water(wet);
    if (counts && here->elapsed >= here->next) {
        dive_fly();
    }
    buttons_wake();
    light_second();
    if (here->drive_now) {
        dive_drive();
    }
}

void dive_button(void)
{
    dive_fine(); /* what has passed of this second passed before the button */
    buttons_wake();
}

bool dive_listens(void)
{
    return state.lead;
}
