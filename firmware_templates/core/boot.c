/* boot.c: what a reset, arming, a field change and standing down make of the state. */
#include <string.h>

#include "journal.h"
#include "light.h"
#include "link.h"
#include "release.h"
#include "sense.h"
#include "state.h"
#include "store.h"

#define RESETS_MOST 15U

void dive_forget(void)
{
    memset(&state.elapsed, 0, offsetof(struct state, code) - offsetof(struct state, elapsed));
    state.lowest_mv = UINT16_MAX;
    state.clock_fault = state.clock_internal;
}

/* The settings with the chosen combination of field changes in them. */
static void take_choice(void)
{
    if (state.has_block) {
        dive_read_block();
        if (block_open(&state.said)) {
            block_choose(&state.said, state.choice);
        }
    }
    release_lay_out();
}

void dive_choose(uint8_t combination)
{
    state.choice = combination;
    take_choice();
    journal_put_all();
}

void dive_armed_now(void)
{
    dive_forget();
    state.armed = true;
    state.choice = state.said.unchanged;
    take_choice();
    light_say_armed();
}

void dive_stand_down(void)
{
    state.stage = STAGE_OVER; /* at 0 s, where it was not started */
    journal_put(false);
    (void)store_put_essentials(false);
    state.armed = false;
    dive_forget();
    dive_drive();
}

/* What they do not say, on top of what was taken from them. */
static void fly_essentials(void)
{
    struct settings *said = &state.said;
    said->trigger = LAYOUT_TRIGGER_WATER;
    said->end = (second_t)FOREVER;
    said->bottom = said->rise = UNKNOWN_S;
    said->series = 1;
    state.no_further = true; /* nobody knows the end, and nothing fires after it */
    state.faults |= LINK_FAULT_SETTINGS;
}

/* Which settings count, and whether the board is armed with them; the journal, where there is one. */
static bool find_dive(void)
{
    const bool valid = store_row();
    store_fly();
    state.choice = state.said.unchanged;
    if (state.armed && !state.has_block) {
        fly_essentials();
    }
    const bool found = journal_read();
    if (!valid && found && state.stage != STAGE_OVER && state.has_block) {
        state.armed = true; /* it was armed, and the record has been damaged since */
        state.faults |= LINK_FAULT_ESSENTIALS;
    }
    if (state.armed && found && state.stage == STAGE_OVER && state.elapsed == 0) {
        state.stage = STAGE_ARMED; /* the power went between the record and the journal */
        journal_put_all();
    }
    return found;
}

/* It counts from nought, with what is kept only; where the contact is dry it stays armed, and looks again after the next
   reset. */
static void without_journal(bool wet)
{
    state.faults |= LINK_FAULT_JOURNAL;
    if (!BOARD_WATER || wet) {
        state.reduced = true;
        state.stage = STAGE_STARTED;
    }
}

static void resume(enum port_reset cause)
{
    struct state *const here = state_here();
    if (cause == PORT_RESET_POWER) {
        here->hold = HOLD_S;
        here->faults |= LINK_FAULT_HOLD;
        here->no_further = true;
        here->wet_latched = false; /* out of the water by now? the contact must say it again */
    }
    if (here->stage == STAGE_OVER) {
        here->face.end = 0;
        if (cause == PORT_RESET_POWER) {
            here->reduced = true;
            state.said.keep = 0; /* over and unplugged since: nothing goes on again */
        }
    }
    if (here->resets_hour < RESETS_MOST) {
        here->resets_hour++;
    }
    if (here->resets_hour >= STORM_RESETS) {
        here->reduced = true;
        here->faults |= LINK_FAULT_REDUCED;
        if (cause == PORT_RESET_WATCHDOG) {
            here->elapsed += (second_t)BOARD_WATCHDOG_S;
        }
    }
    if (here->stage >= STAGE_FIRED) {
        release_resume();
    }
    sense_history(false);
}

void dive_boot(enum port_reset cause, uint16_t resets, bool clock_ok)
{
    struct state *const here = state_here();
    const bool kept = cause != PORT_RESET_POWER && here->hold <= HOLD_S;
    const uint8_t held = kept ? here->faults & LINK_FAULT_HOLD : 0U;
    const bool no_further = kept && here->no_further;
    const uint16_t hold = kept ? here->hold : 0U;
    memset(here, 0, sizeof *here);
    state.resets = resets;
    here->frame_age = UINT8_MAX;
    state.clock_internal = !clock_ok;
    dive_forget();
    link_reset();
    here->no_further = no_further;
    here->hold = hold; /* a wait is not over because the watchdog bit */
    here->faults = held;
    const bool found = find_dive();
    if (state.clock_internal && !here->clock_fault) {
        here->clock_fault = true;
        state.clock_failed = here->elapsed;
    }
    take_choice();
    sense_measure();
    const bool wet = sense_contacts();
    if (!found && here->armed) {
        without_journal(wet);
    } else if (dive_started()) {
        resume(cause);
    }
    if (dive_started()) {
        journal_put(false); /* before outputs go on: what they may bring about, a reset, must have been counted */
        dive_fly();
    }
}

void dive_clock_failed(void)
{
    state.clock_internal = true;
    if (!state.clock_fault) {
        state.clock_fault = true;
        state.clock_failed = state.elapsed;
        release_clock_off();
    }
}
