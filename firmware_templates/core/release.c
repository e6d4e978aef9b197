/* release.c: what keeps the release from firing stands in may_fire() and due(), one line each, and nowhere else.
   Priority: bench lead and hold > wet latch > not_before > latest > low voltage > at. */
#include "release.h"

#include "journal.h"

/* Of the internal oscillator the planned seconds are uncertain by its tolerance, from where the crystal failed on. */
static uint32_t off_by(uint32_t second)
{
    if (!state.clock_fault || second <= state.clock_failed_at) {
        return 0;
    }
    return (second - state.clock_failed_at) / 1000U * BOARD_INTERNAL_PERMILLE
           + (second - state.clock_failed_at) % 1000U * BOARD_INTERNAL_PERMILLE / 1000U + 1U;
}

static uint32_t not_before(void)
{
    return state.said.not_before + off_by(state.said.not_before);
}

static uint32_t no_later(uint32_t second)
{
    const uint32_t earlier = second - off_by(second);
    return earlier < not_before() ? not_before() : earlier;
}

uint32_t release_planned(void)
{
    if (state.said.primary.present) {
        return state.said.at;
    }
    return state.said.backup.present ? state.said.latest : UNKNOWN_S;
}

static bool may_fire(void)
{
    if (!dive_started() || state.stage == STAGE_OVER || state.elapsed >= dive_end()) {
        return false;
    }
    if (state.lead_holds) {
        return false;
    }
    if (state.hold > 0U) {
        return false;
    }
    if (BOARD_WATER && !state.said.without_water && !state.wet_latched) {
        return false;
    }
    return state.elapsed >= not_before();
}

static bool latest_is_due(void)
{
    return state.elapsed >= no_later(state.said.latest);
}

static bool first_is_due(void)
{
    if (latest_is_due() || state.low_asks) {
        return true;
    }
    return state.said.primary.present && state.elapsed >= no_later(state.said.at);
}

/* The first firing command: what runs from release begins, the rest ends. */
static void command(void)
{
    state.fired = true;
    state.stage = STAGE_FIRED;
    state.fired_at = state.elapsed;
    if (state.elapsed < state.said.at) {
        state.shift = (int32_t)state.elapsed - (int32_t)state.said.at;
        journal_put_early(state.said.at - state.elapsed);
    }
}

static void begin_try(struct release *release, const struct firing *firing, bool first)
{
    if (first && !state.fired) {
        command();
    }
    release->begun = true;
    release->on = true;
    release->until = state.elapsed + firing->fire_s;
    release->tries = release->tries < UINT8_MAX ? (uint8_t)(release->tries + 1U) : UINT8_MAX;
    if (release->tries < firing->tries) {
        release->next = release->until + firing->pause_s;
    } else {
        release->next = (release->tries == firing->tries ? release->until : state.elapsed) + (uint32_t)FURTHER_TRY_S;
    }
    state.look_now = true;
    journal_put(true);
}

static void run(struct release *release, const struct firing *firing, bool first, bool due, bool allowed)
{
    if (release->on && (!allowed || state.elapsed >= release->until)) {
        release->on = false; /* a try that is cut counts all the same */
        state.look_now = true;
    }
    if (!firing->present || release->on || !allowed) {
        return;
    }
    if (release->begun && release->tries >= firing->tries && state.no_further) {
        return;
    }
    if (release->begun ? state.elapsed >= release->next : due) {
        begin_try(release, firing, first);
    }
}

void release_second(void)
{
    const bool has_primary = state.said.primary.present;
    const bool allowed = may_fire();
    run(&state.primary, &state.said.primary, true, first_is_due(), allowed);
    run(&state.backup, &state.said.backup, !has_primary, has_primary ? latest_is_due() : first_is_due(), allowed);
}

static uint32_t span_of(const struct firing *firing)
{
    return (uint32_t)firing->tries * firing->fire_s + (uint32_t)(firing->tries - 1U) * firing->pause_s;
}

/* The try after those that were begun, on the grid that begins at begun_at. */
static void resume(struct release *release, const struct firing *firing, uint32_t begun_at)
{
    release->begun = true;
    if (release->tries < firing->tries) {
        release->next = begun_at + (uint32_t)release->tries * ((uint32_t)firing->fire_s + firing->pause_s);
        if (release->next <= state.elapsed) {
            release->next = state.elapsed + firing->pause_s;
        }
        return;
    }
    const uint32_t last_end = begun_at + span_of(firing);
    uint32_t further = 1;
    if (state.elapsed >= last_end + (uint32_t)FURTHER_TRY_S) {
        further = (state.elapsed - last_end) / (uint32_t)FURTHER_TRY_S + 1U;
    }
    release->tries = (uint8_t)(firing->tries + (further > 100U ? 100U : further - 1U));
    release->next = last_end + further * (uint32_t)FURTHER_TRY_S;
}

void release_resume(enum port_reset cause)
{
    if (cause == PORT_RESET_POWER) {
        state.hold = HOLD_S;
        state.held_by_power = true;
        state.no_further = true;
        state.wet_latched = false; /* out of the water by now? the contact must say it again */
    }
    if (state.stage != STAGE_FIRED && state.stage != STAGE_OVER) {
        return;
    }
    state.fired = true;
    state.alone = true;
    const uint32_t early = journal_early();
    const uint32_t planned = release_planned();
    const uint32_t first = state.said.at > early ? state.said.at - early : 0U;
    state.fired_at = early != 0U ? first : planned;
    if (state.fired_at > state.elapsed) {
        state.fired_at = state.elapsed;
    }
    if (state.fired_at < state.said.at) {
        state.shift = (int32_t)state.fired_at - (int32_t)state.said.at;
    }
    if (state.said.primary.present) {
        resume(&state.primary, &state.said.primary, state.fired_at);
        if (state.backup.tries != 0U && state.said.backup.present) {
            resume(&state.backup, &state.said.backup, state.said.latest);
        }
        return;
    }
    if (state.said.backup.present) {
        if (state.backup.tries == 0U) {
            state.backup.tries = 1;
        }
        resume(&state.backup, &state.said.backup, state.fired_at);
    }
}

uint32_t release_last_end(void)
{
    if (!state.fired) {
        return UNKNOWN_S;
    }
    return state.fired_at + span_of(state.said.primary.present ? &state.said.primary : &state.said.backup);
}

bool release_any_on(void)
{
    return state.primary.on || state.backup.on;
}
