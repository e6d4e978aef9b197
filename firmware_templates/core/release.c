/* release.c: what keeps the release from firing stands in may_fire() and due(), one line each, and nowhere else.
   Priority: bench lead and hold > wet latch > not_before > latest > low voltage > at. */
#include "release.h"

#include "journal.h"

/* Survives a reset without loss of power, with its complement to know it by: a hold after a power-on reset is not over
   because the watchdog bit. */
static uint16_t kept PORT_KEPT, kept_inverse PORT_KEPT;
#define KEPT_HOLD 0x3FFU
#define KEPT_NO_FURTHER 0x8000U

/* The release that is fired first: the primary, or the backup where there is no primary. */
static const struct firing *first_firing(void)
{
    return state.said.primary.present ? &state.said.primary : &state.said.backup;
}

/* ---- the seconds it hangs on ---- */

static PORT_APART void move(second_t *second, second_t since, bool later)
{
    if (*second > since) {
        const second_t off = ((*second - since) >> BOARD_INTERNAL_SHIFT) + 1;
        if (!later) {
            *second -= off;
        } else if (*second < FOREVER - off) {
            *second += off;
        } else {
            *second = FOREVER;
        }
    }
}

/* Earlier by as much; that nothing fires before not_before is for may_fire() alone to see to. */
void release_clock_off(second_t since)
{
    state.faults |= LINK_FAULT_CLOCK;
    move(&state.said.not_before, since, true);
    move(&state.said.latest, since, false);
    move(&state.at, since, false);
    state.next = 0;
}

void release_lay_out(second_t since)
{
    struct state *const here = state_here();
    const struct settings *said = &state.said;
    PORT_HIDE(said);
    const second_t at = said->at;
    here->face.first_edge = said->trigger == LAYOUT_TRIGGER_WATER ? (second_t)WET_S : 0;
    here->face.release = here->at = here->last_end = at;
    here->face.shift = here->next_look = here->next = 0;
    here->face.end = said->end;
    here->face.cut = UNKNOWN_S;
    if (said->primary.present || said->backup.present) {
        here->face.cut = said->primary.present ? at : said->latest;
        here->last_end = UNKNOWN_S;
    }
    if (here->clock_fault) {
        release_clock_off(since);
    }
}

/* The first firing command is that of this second: what runs from release begins, the rest ends. */
static void fire_first(second_t second)
{
    const struct firing *const first = first_firing();
    const second_t shift = second - state.said.at;
    state.fired = true;
    state.face.cut = second;
    if (shift < 0) {
        state.face.shift = shift;
        state.face.end = state.said.end + shift;
    }
    state.last_end = second + (second_t)(uint16_t)(first->tries * (first->fire_s + first->pause_s) - first->pause_s);
    state.next_look = 0;
}

/* ---- interlocks ---- */

static bool may_fire(void)
{
    if (dive_passed(&state.face.end)) {
        return false;
    }
    if (state.hold > 0U) { /* which the bench lead keeps up */
        return false;
    }
    if (BOARD_WATER && !state.said.without_water && !state.wet_latched) {
        return false;
    }
    return dive_passed(&state.said.not_before);
}

static bool backup_is_due(void)
{
    return dive_passed(&state.said.latest);
}

static bool first_is_due(void)
{
    return backup_is_due() || state.low_asks || (state.said.primary.present && dive_passed(&state.at));
}

/* ---- tries ---- */

static void end_try(struct release *release, const struct firing *firing)
{
    release->on = 0;
    if (release->tries < firing->tries) {
        release->turn += firing->pause_s;
    } else {
        release->turn += (second_t)FURTHER_TRY_S - (release->further ? firing->fire_s : 0);
    }
}

/* Whether a try begins. */
static bool run(struct release *release, const struct firing *firing, bool due, bool allowed)
{
    if (release->on != 0U) {
        if (allowed && !dive_passed(&release->turn)) {
            return false;
        }
        end_try(release, firing); /* one that is cut counts all the same */
    }
    const bool further = release->tries >= firing->tries;
    if (release->tries != 0U) {
        due = dive_passed(&release->turn) && !(further && state.no_further);
    }
    if (!due || !allowed || !firing->present) {
        return false;
    }
    if (!state.fired) {
        state.stage = STAGE_FIRED;
        fire_first(state.elapsed);
    }
    release->on = (uint8_t)(1U << firing->output);
    release->further = further;
    if (!further) {
        release->tries++;
    }
    release->turn = state.elapsed + firing->fire_s;
    return !dive_passed(&release->turn);
}

bool release_second(void)
{
    const bool allowed = may_fire();
    const bool due = first_is_due();
    bool begun = run(&state.primary, &state.said.primary, due, allowed);
    if (run(&state.backup, &state.said.backup, state.said.primary.present ? backup_is_due() : due, allowed)) {
        begun = true;
    }
    state.fires = (uint8_t)(state.fires & (state.primary.on | state.backup.on));
    if (!state.fired && dive_passed(&state.face.cut)) {
        state.face.cut = FOREVER; /* it is held: nothing is cut before it fires */
    }
    return begun;
}

void release_begin(void)
{
    state.fires = state.primary.on | state.backup.on;
}

void release_put_early(void)
{
    if (state.face.shift != 0) {
        journal_put_early(-state.face.shift);
    }
}

/* ---- after a reset ---- */

/* The next try comes after a pause, the next further one after its six hours. */
static void resume(struct release *release, const struct firing *firing)
{
    release->turn = state.elapsed;
    if (release->tries > firing->tries) {
        release->tries = firing->tries;
    }
    end_try(release, firing);
}

void release_resume(void)
{
    const second_t early = journal_early();
    second_t second = state.face.cut;
    if (early != 0) {
        second = state.said.at - early;
    }
    fire_first(dive_passed(&second) ? second : state.elapsed);
    state.alone = true;
    resume(&state.primary, &state.said.primary);
    resume(&state.backup, &state.said.backup);
}

void release_hold_after(enum port_reset cause)
{
    struct state *const here = state_here();
    if (cause == PORT_RESET_POWER) {
        here->hold = HOLD_S + 1U; /* the present second counts too */
        here->held_by_power = true;
        here->no_further = true;
        here->wet_latched = false; /* out of the water by now? the contact must say it again */
    } else if ((kept ^ kept_inverse) == UINT16_MAX) {
        if ((kept & KEPT_HOLD) != 0U) {
            here->hold = kept & KEPT_HOLD;
            here->held_by_power = true;
        }
        if ((kept & KEPT_NO_FURTHER) != 0U) {
            here->no_further = true;
        }
    }
    release_keep_hold();
}

void release_keep_hold(void)
{
    kept = state.held_by_power ? state.hold : 0U;
    if (state.no_further) {
        kept |= KEPT_NO_FURTHER;
    }
    kept_inverse = (uint16_t)~kept;
}
