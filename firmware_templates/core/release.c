/* release.c: what keeps the release from firing stands in may_fire() and release_second(), one line each, and nowhere else.
   Priority: bench lead and hold > wet latch > not_before > latest > low voltage > at. */
#include "release.h"

#include "journal.h"

/* ---- the seconds it hangs on ---- */

/* The crystal failed: planned seconds behind that are uncertain by the internal oscillator's tolerance. */
static PORT_APART void move(second_t *second, bool later)
{
    const second_t since = state.clock_failed;
    const second_t then = *second;
    if (then > since) {
        const span_t off = ((span_t)(then - since) >> BOARD_INTERNAL_SHIFT) + 1U;
        *second = (second_t)(later ? (span_t)then + off : (span_t)then - off);
    }
}

/* Earlier by as much; that nothing fires before not_before is for may_fire() alone to see to. */
void release_clock_off(void)
{
    struct settings *const said = settings_here();
    state.faults |= LINK_FAULT_CLOCK;
    move(&said->not_before, true);
    if (said->not_before < 0) {
        said->not_before = FOREVER; /* it does not fit into 24 bits */
    }
    move(&said->latest, false);
    move(&state.at, false);
    state.next = 0;
}

void release_lay_out(void)
{
    struct state *const here = state_here();
    const struct settings *const said = settings_here();
    here->at = here->last_end = said->at;
    here->face.shift = here->next_look = here->next = 0;
    here->face.end = said->end;
    here->at_hand = true;
    here->face.cut = UNKNOWN_S;
    if (said->primary.present || said->backup.present) {
        here->last_end = UNKNOWN_S;
        here->face.cut = said->primary.present ? said->at : said->latest;
    }
    if (here->clock_fault) {
        release_clock_off();
    }
}

/* The first firing command is that of the second face.cut: what runs from release begins there, the rest ends. */
static void fire_first(void)
{
    struct state *const here = state_here();
    const struct firing *const first = state.said.primary.present ? &state.said.primary : &state.said.backup;
    const second_t shift = here->face.cut - state.said.at;
    here->fired = true;
    here->next_look = 0;
    here->last_end = here->face.cut + (second_t)(uint16_t)(first->tries * (first->fire_s + first->pause_s) - first->pause_s);
    if (shift < 0) {
        here->face.shift = shift;
        here->face.end += shift;
    }
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

/* ---- tries ---- */

static PORT_APART void end_try(struct release *release, const struct firing *firing)
{
    uint16_t pause = firing->pause_s;
    if (release->tries >= firing->tries) {
        pause = FURTHER_TRY_S;
        if (release->further) {
            pause = (uint16_t)(pause - firing->fire_s); /* from beginning to beginning */
        }
    }
    release->on = 0;
    release->turn += pause;
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
    if (!allowed || !firing->present) {
        return false;
    }
    const bool further = release->tries >= firing->tries;
    if (release->tries != 0U) {
        due = dive_passed(&release->turn) && !(further && state.no_further);
    }
    if (!due) {
        return false;
    }
    if (!state.fired) {
        state.stage = STAGE_FIRED;
        state.face.cut = state.elapsed;
        fire_first();
    }
    release->on = (uint8_t)(1U << firing->output);
    release->further = further;
    if (!further) {
        release->tries++;
    }
    release->turn = state.elapsed + firing->fire_s;
    (void)dive_passed(&release->turn);
    return true;
}

/* Low voltage asks, and `at` has come, for the release that is fired first alone. */
bool release_second(void)
{
    struct state *const here = state_here();
    const bool allowed = may_fire();
    const bool late = dive_passed(&state.said.latest);
    bool begun = run(&state.primary, &state.said.primary, dive_passed(&here->at) || late || here->low_asks, allowed);
    if (run(&state.backup, &state.said.backup, late || (here->low_asks && !state.said.primary.present), allowed)) {
        begun = true;
    }
    here->fires = (uint8_t)(here->fires & (state.primary.on | state.backup.on));
    if (!here->fired && dive_passed(&here->face.cut)) {
        here->face.cut = FOREVER; /* it is held: nothing is cut before it fires */
    }
    return begun;
}

void release_begin(void)
{
    state.fires = state.primary.on | state.backup.on;
}

/* ---- after a reset ---- */

/* The next try comes after a pause, the next further one after its six hours. */
static PORT_APART void resume(struct release *release, const struct firing *firing)
{
    release->turn = state.elapsed;
    end_try(release, firing);
}

void release_resume(void)
{
    struct state *const here = state_here();
    const second_t early = journal_early();
    if (early != 0) {
        here->face.cut = state.said.at - early;
    }
    if (!dive_passed(&here->face.cut)) {
        here->face.cut = here->elapsed;
    }
    fire_first();
    here->alone = true;
    resume(&state.primary, &state.said.primary);
    resume(&state.backup, &state.said.backup);
}
