/* release.c: what keeps the release from firing stands in may_fire() and due(), one line each, and nowhere else.
   Priority: bench lead and hold > wet latch > not_before > latest > low voltage > at. */
#include "release.h"

#include <string.h>

#include "journal.h"

/* Of the internal oscillator the planned seconds are uncertain by its tolerance, from where the crystal failed on. */
static second_t off_by(const second_t *second)
{
    if (!state.clock_fault || *second <= state.clock_failed_at) {
        return 0;
    }
    return ((*second - state.clock_failed_at) >> BOARD_INTERNAL_SHIFT) + 1;
}

/* Earlier by as much; that nothing fires before not_before is for may_fire() alone to see to. */
static second_t no_later(const second_t *second)
{
    return *second - off_by(second);
}

static second_t span_of(const struct firing *firing)
{
    return (second_t)firing->tries * firing->fire_s + (second_t)(firing->tries - 1U) * firing->pause_s;
}

/* The release that is fired first: the primary, or the backup where there is no primary. */
static const struct firing *first_firing(void)
{
    return state.said.primary.present ? &state.said.primary : &state.said.backup;
}

void release_lay_out(void)
{
    state.not_before = state.said.not_before + off_by(&state.said.not_before);
    state.at = no_later(&state.said.at);
    state.latest = no_later(&state.said.latest);
    state.planned = UNKNOWN_S;
    if (first_firing()->present) {
        state.planned = state.said.primary.present ? state.said.at : state.said.latest;
    }
    state.end = state.said.end + (second_t)state.shift;
    if (state.stage == STAGE_OVER) {
        state.end = 0; /* also where it ended by being stood down */
    }
    state.last_end = state.planned == UNKNOWN_S ? state.said.at : UNKNOWN_S;
    if (state.fired) {
        state.last_end = state.fired_at + span_of(first_firing());
    }
    state.surface = state.said.rise;
    if (state.last_end != UNKNOWN_S && state.said.rise != UNKNOWN_S) {
        state.surface = state.last_end + state.said.rise;
    } else {
        state.surface = UNKNOWN_S;
    }
    state.splash = UNKNOWN_S;
    if (!BOARD_WATER || state.said.without_water) {
        state.splash = state.said.bottom == UNKNOWN_S ? state.said.not_before : state.said.bottom;
    }
}

static bool may_fire(void)
{
    if (dive_passed(&state.end)) {
        return false;
    }
    if (state.hold > 0U) { /* which the bench lead keeps up */
        return false;
    }
    if (BOARD_WATER && !state.said.without_water && !state.wet_latched) {
        return false;
    }
    return dive_passed(&state.not_before);
}

static bool first_is_due(void)
{
    if (dive_passed(&state.latest) || state.low_asks) {
        return true;
    }
    return state.said.primary.present && dive_passed(&state.at);
}

/* The first firing command: what runs from release begins, the rest ends. */
static void command(void)
{
    state.fired = true;
    state.stage = STAGE_FIRED;
    state.fired_at = state.elapsed;
    state.shift = (second_t)(state.elapsed - state.said.at);
    if (state.shift > 0) {
        state.shift = 0;
    }
    if (state.shift != 0) {
        journal_put_early((second_t)-state.shift);
    }
    state.look_now = true;
    release_lay_out();
}

static void begin_try(struct release *release, const struct firing *firing)
{
    if (!state.fired) {
        command();
    }
    release->on = true;
    state.drive_now = true;
    release->until = state.elapsed + firing->fire_s;
    if (release->tries < firing->tries) {
        release->tries++;
        release->next = release->until + firing->pause_s;
        if (release->tries == firing->tries) {
            release->next = release->until + (second_t)FURTHER_TRY_S;
        }
    } else {
        release->next += (second_t)FURTHER_TRY_S;
    }
    journal_put(true);
}

static void run(struct release *release, const struct firing *firing, bool due, bool allowed)
{
    if (release->on && (!allowed || dive_passed(&release->until))) {
        release->on = false; /* a try that is cut counts all the same */
        state.drive_now = true;
    }
    if (!firing->present || release->on || !allowed) {
        return;
    }
    if (release->tries != 0U) {
        due = dive_passed(&release->next) && !(release->tries >= firing->tries && state.no_further);
    }
    if (due) {
        begin_try(release, firing);
    }
}

void release_second(void)
{
    const bool allowed = may_fire();
    const bool due = first_is_due();
    run(&state.primary, &state.said.primary, due, allowed);
    run(&state.backup, &state.said.backup, state.said.primary.present ? dive_passed(&state.latest) : due, allowed);
}

/* The next try comes after a pause, the next further one after its six hours. */
static void resume(struct release *release, const struct firing *firing)
{
    if (release->tries > firing->tries) {
        release->tries = firing->tries;
    }
    release->next = state.elapsed + (release->tries < firing->tries ? firing->pause_s : (second_t)FURTHER_TRY_S);
}

void release_resume(enum port_reset cause)
{
    if (cause == PORT_RESET_POWER) {
        state.hold = HOLD_S + 1U; /* the present second counts too */
        state.held_by_power = true;
        state.no_further = true;
        state.wet_latched = false; /* out of the water by now? the contact must say it again */
    }
    if (state.stage >= STAGE_FIRED) {
        state.fired = true;
        state.alone = true;
        state.shift = -(second_t)journal_early();
        state.fired_at = state.said.at + (second_t)state.shift;
        if (!state.said.primary.present && state.shift == 0) {
            state.fired_at = state.said.latest;
        }
        if (dive_passed(&state.fired_at) == false) {
            state.fired_at = state.elapsed;
            state.shift = (second_t)(state.elapsed - state.said.at);
            if (state.shift > 0) {
                state.shift = 0;
            }
        }
        if (!state.said.primary.present && state.backup.tries == 0U) {
            state.backup.tries = 1;
        }
        resume(&state.primary, &state.said.primary);
        resume(&state.backup, &state.said.backup);
    }
    release_lay_out();
}

bool release_any_on(void)
{
    return state.primary.on || state.backup.on;
}
