/* dive.c: the state machine, one tick a second. */
#include "dive.h"

#include <string.h>

#include "buttons.h"
#include "journal.h"
#include "light.h"
#include "link.h"
#include "play.h"
#include "release.h"
#include "sense.h"
#include "state.h"
#include "store.h"

struct state state;

/* Survives a reset without loss of power: a hold after a power-on reset is not over because the watchdog bit. */
static uint16_t kept_hold PORT_KEPT, kept_hold_inverse PORT_KEPT, kept_further PORT_KEPT;
#define NO_FURTHER 0x2F17U

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
    return state.elapsed >= *second;
}

/* Certainly in the water: the contact said so for a minute, or, where it cannot say it, the late bottom has passed. */
bool dive_splashed(void)
{
    return dive_started() && (state.wet_latched || dive_passed(&state.splash));
}

static bool is_over(void)
{
    return dive_passed(&state.end);
}

bool dive_surfaced(void)
{
    return dive_started() && (is_over() || dive_passed(&state.surface));
}

uint8_t dive_state(void)
{
    if (!state.armed) {
        return LINK_STATE_ON_BENCH;
    }
    if (!dive_started()) {
        return LINK_STATE_ARMED;
    }
    if (is_over()) {
        return LINK_STATE_OVER;
    }
    if (state.reduced) {
        return LINK_STATE_SURFACE_ONLY;
    }
    if (dive_passed(&state.last_end)) {
        return dive_surfaced() ? LINK_STATE_AT_SURFACE : LINK_STATE_RISING;
    }
    if (state.fired) {
        return LINK_STATE_RELEASING;
    }
    if (!dive_splashed()) {
        return LINK_STATE_ON_DECK;
    }
    return dive_passed(&state.said.bottom) ? LINK_STATE_ON_BOTTOM : LINK_STATE_DESCENDING;
}

uint32_t dive_up64(void)
{
    return (uint32_t)state.up * 64U + dive_port.steps();
}

/* ---- outputs ---- */

static bool pattern_lit(const struct output_state *output)
{
    return output->every == 0U || output->steady || output->phase < output->lit;
}

/* With both slots bad: what is kept goes on with the release, steadily, and stays on. */
static void look_without_block(void)
{
    memset(state.outputs, 0, sizeof state.outputs);
    const bool on = state.fired || (state.planned == UNKNOWN_S && dive_passed(&state.at));
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        if (on && bit_set(state.said.keep, n) && !bit_set(BOARD_RELEASES, n)) {
            state.outputs[n].level = FULL;
            state.outputs[n].steady = true;
        }
    }
    state.next_look = state.elapsed < state.said.at ? (second_t)state.said.at : FOREVER;
}

void dive_look(void)
{
    state.look_now = false;
    state.drive_now = true;
    if (!state.has_block) {
        look_without_block();
        return;
    }
    struct face face = {0, (second_t)state.said.at, state.shift, FOREVER, (second_t)state.end};
    if (state.said.trigger == LAYOUT_TRIGGER_WATER) {
        face.first_edge = (second_t)WET_S;
    }
    if (state.fired) {
        face.cut = (second_t)state.fired_at;
    } else if (!dive_passed(&state.planned) && state.planned != UNKNOWN_S) {
        face.cut = (second_t)state.planned;
    }
    dive_read_block();
    state.next_look = schedule_look(&state.said, &face, (second_t)state.elapsed, state.reduced, state.outputs);
}

static uint8_t wanted(uint8_t output)
{
    if (state.pulse.on) {
        return state.pulse.output == output ? state.pulse.level : 0U;
    }
    if (!dive_started() && !play_on()) {
        return 0;
    }
    if (bit_set(BOARD_RELEASES, output)) {
        if (play_on()) {
            return 0;
        }
        const bool fires = (state.primary.on && state.said.primary.output == output)
                           || (state.backup.on && state.said.backup.output == output);
        return fires ? FULL : 0U;
    }
    if (state.alone && release_any_on()) {
        return 0;
    }
    const struct output_state *said = &state.outputs[output];
    if (!pattern_lit(said)) {
        return 0;
    }
    return bit_set(BOARD_LEVELS, output) || said->level == 0U ? said->level : FULL;
}

/* Off before on, so that what is cut at a firing command is off first. */
void dive_drive(void)
{
    state.drive_now = false;
    for (uint8_t turn = 0; turn < 2U; turn++) {
        for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
            const uint8_t percent = wanted(n);
            if (percent != state.driven[n] && (turn != 0U || percent == 0U)) {
                state.driven[n] = percent;
                dive_port.output(n, percent);
            }
        }
    }
}

/* ---- finer steps ---- */

static bool flashes(const struct output_state *output)
{
    return output->every != 0U && !output->steady && output->level != 0U;
}

static uint16_t to_next_turn(const struct output_state *output)
{
    return (uint16_t)((output->phase < output->lit ? output->lit : output->every) - output->phase);
}

uint8_t dive_fine_due(void)
{
    uint16_t steps = buttons_watched() ? 1U : 64U;
    const uint8_t at = state.flash_step;
    if (light_due() != 0U && light_due() < steps) {
        steps = light_due();
    }
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        if (flashes(&state.outputs[n]) && to_next_turn(&state.outputs[n]) < steps) {
            steps = to_next_turn(&state.outputs[n]);
        }
    }
    if (state.pulse.on) {
        const uint32_t now = (uint32_t)state.up * 64U + at;
        const uint32_t left = state.pulse.until > now ? state.pulse.until - now : 1U;
        steps = left < steps ? (uint16_t)left : steps;
    }
    return at + steps < 64U ? (uint8_t)(at + steps) : 0U;
}

static void pass(uint8_t steps)
{
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        struct output_state *output = &state.outputs[n];
        if (output->every != 0U) {
            const bool lit = output->phase < output->lit;
            uint16_t phase = (uint16_t)(output->phase + steps);
            while (phase >= output->every) { /* 64 times at most; mostly not at all or once */
                phase = (uint16_t)(phase - output->every);
            }
            output->phase = phase;
            if (lit != (phase < output->lit)) {
                state.drive_now = true;
            }
        }
    }
    light_pass(steps);
    buttons_pass(steps);
}

static void end_pulse(void)
{
    if (state.pulse.on && (uint32_t)state.up * 64U + state.flash_step >= state.pulse.until) {
        state.pulse.on = false;
        state.drive_now = true;
    }
}

/* Every second and every step: only where something can have changed, for it costs as much as all else together. */
static void drive_changes(void)
{
    if (state.drive_now) {
        dive_drive();
    }
}

void dive_fine(void)
{
    const uint8_t now = dive_port.steps();
    if (now > state.flash_step && now < 64U) {
        const uint8_t steps = (uint8_t)(now - state.flash_step);
        state.flash_step = now;
        pass(steps);
    }
    end_pulse();
    drive_changes();
}

/* ---- what changes where it is ---- */

static void restart_release(void)
{
    memset(&state.primary, 0, sizeof state.primary);
    memset(&state.backup, 0, sizeof state.backup);
    state.fired = state.alone = state.low_asks = state.no_further = false;
    state.shift = 0;
    state.below_shed = state.below_release = 0;
    state.lowest_mv = UINT16_MAX;
    state.quiet_mv = 0;
}

/* A start between two ticks: its own second is looked at at once. */
static void first_second(void)
{
    release_second();
    dive_look();
    dive_drive();
}

void dive_start(second_t elapsed)
{
    restart_release();
    state.stage = STAGE_STARTED;
    state.elapsed = elapsed;
    release_lay_out();
    if (elapsed == 0U) {
        state.wet_run = 0; /* the wet minute must lie after start */
    }
    state.look_now = true;
    sense_history_from(false);
    journal_put(false);
    if (elapsed == 0U) {
        first_second();
    }
}

void dive_choose(uint8_t combination)
{
    dive_read_block();
    state.choice = combination;
    if (block_open(&state.said)) {
        block_choose(&state.said, combination);
    }
    release_lay_out();
    state.look_now = true;
    journal_put_all();
}

void dive_armed_now(void)
{
    state.armed = true;
    state.has_block = true;
    state.faults = 0;
    state.stage = STAGE_ARMED;
    state.elapsed = 0;
    state.wet_latched = state.reduced = state.held_by_power = state.journal_lost = false;
    state.wet_run = 0;
    state.resets_hour = 0;
    state.clock_fault = state.clock_internal;
    state.clock_failed_at = 0;
    if (state.clock_fault) {
        state.faults = LINK_FAULT_CLOCK;
    }
    state.pulse.on = false;
    restart_release();
    dive_read_block();
    state.choice = state.said.unchanged;
    light_say_armed();
}

void dive_stand_down(void)
{
    const bool started = dive_started();
    state.stage = STAGE_OVER;
    if (!started) {
        state.elapsed = 0;
    }
    journal_put(false);
    if (state.has_block) {
        (void)store_put_essentials(false, state.code);
    } else {
        (void)store_void_essentials();
    }
    state.armed = state.held_by_power = false;
    state.hold = 0;
    state.faults = 0;
    state.primary.on = state.backup.on = false;
    memset(state.outputs, 0, sizeof state.outputs);
    dive_drive();
}

/* ---- boot ---- */

static void fly_essentials(const struct essentials *essentials)
{
    struct settings *said = &state.said;
    memset(said, 0, sizeof *said);
    said->trigger = LAYOUT_TRIGGER_WATER;
    said->without_water = essentials->without_water;
    said->at = essentials->at;
    said->not_before = essentials->not_before;
    said->latest = essentials->latest;
    said->end = (second_t)FOREVER;
    said->primary = essentials->primary;
    said->backup.tries = 1;
    said->bottom = said->rise = UNKNOWN_S;
    said->series = 1;
    said->keep = essentials->keep;
    state.no_further = true; /* nobody knows the end, and nothing fires after it */
    state.reduced = true;
    state.faults |= LINK_FAULT_SETTINGS;
}

/* Which settings count, and whether the board is armed with them; the journal, where there is one. */
static bool find_dive(void)
{
    struct essentials essentials;
    store_essentials(&essentials);
    state.armed = essentials.valid && essentials.armed;
    state.code = essentials.code;
    uint8_t slot = store_active(state.armed, state.code);
    state.has_block = slot != LINK_NO_SLOT && store_fly(slot);
    if (state.has_block && !essentials.valid) {
        state.code = store_sum((uint16_t)(store_address(slot) + 1U), state.said.length)
                     & ((1UL << LAYOUT_ESSENTIALS_CODE_BITS) - 1UL);
    }
    if (state.armed && !state.has_block) {
        fly_essentials(&essentials);
    }
    if (essentials.valid && !essentials.armed) {
        return false;
    }
    const bool found = journal_read(state.code);
    const bool idle = found && state.stage == STAGE_OVER && state.elapsed == 0U;
    if (!essentials.valid && found && !idle && state.stage != STAGE_OVER && state.has_block) {
        state.armed = true; /* it was armed, and the record has been damaged since */
        state.faults |= LINK_FAULT_ESSENTIALS;
    }
    if (state.armed && idle) {
        state.stage = STAGE_ARMED; /* the power went between the record and the journal */
        journal_put_all();
    }
    return found;
}

static void without_journal(void)
{
    state.faults |= LINK_FAULT_JOURNAL;
    state.stage = STAGE_ARMED;
    state.elapsed = 0;
    state.wet_latched = state.clock_fault = false;
    state.resets_hour = 0;
    if (BOARD_WATER && (dive_port.contacts() & PORT_WET) == 0U) {
        state.journal_lost = true; /* dry: stays armed, and looks again after the next reset */
        return;
    }
    state.reduced = true;
    dive_start(0);
}

static void resume(enum port_reset cause)
{
    if (state.stage == STAGE_OVER && cause == PORT_RESET_POWER) {
        state.reduced = true;
        state.said.keep = 0; /* over and unplugged since: nothing goes on again */
    }
    if (state.resets_hour < 15U) {
        state.resets_hour++;
    }
    if (state.resets_hour >= STORM_RESETS) {
        state.reduced = true;
        state.faults |= LINK_FAULT_REDUCED;
        state.elapsed += cause == PORT_RESET_WATCHDOG ? (second_t)BOARD_WATCHDOG_S : 0;
    }
    release_resume(cause);
    sense_history_from(true);
    journal_put(false);
    if (cause != PORT_RESET_POWER && (kept_hold ^ kept_hold_inverse) == 0xFFFFU && kept_hold <= HOLD_S
        && kept_hold > state.hold) {
        state.hold = kept_hold;
        state.held_by_power = true;
    }
    state.no_further = state.no_further || (cause != PORT_RESET_POWER && kept_further == NO_FURTHER);
}

static void keep_hold(void)
{
    kept_hold = state.held_by_power ? state.hold : 0U;
    kept_hold_inverse = (uint16_t)~kept_hold;
    kept_further = dive_started() && state.no_further ? NO_FURTHER : 0U;
}

void dive_boot(enum port_reset cause, uint16_t resets, bool clock_ok)
{
    memset(&state, 0, sizeof state);
    state.resets = resets;
    state.frame_age = UINT8_MAX;
    state.lowest_mv = UINT16_MAX;
    state.backup.tries = 0;
    link_reset();
    const bool found = find_dive();
    if (state.armed && state.has_block && found) {
        dive_read_block();
        block_choose(&state.said, state.choice);
    }
    const bool failed_before = state.clock_fault;
    state.clock_internal = !clock_ok;
    state.clock_fault = (state.clock_fault && state.armed) || !clock_ok;
    state.clock_failed_at = failed_before ? 0 : state.elapsed;
    if (state.clock_fault) {
        state.faults |= LINK_FAULT_CLOCK;
    }
    if (state.armed && !found) {
        without_journal();
    } else if (dive_started()) {
        resume(cause);
    }
    keep_hold();
    state.look_now = true;
    sense_measure();
    if (dive_started()) {
        sense_lead();
        dive_look();
        dive_drive();
    }
}

void dive_clock_failed(void)
{
    state.clock_internal = true;
    if (!state.clock_fault) {
        state.clock_fault = true;
        state.clock_failed_at = dive_started() ? state.elapsed : 0;
        state.faults |= LINK_FAULT_CLOCK;
        release_lay_out();
    }
}

void dive_button(void)
{
    dive_fine(); /* what has passed of this second passed before the button */
    buttons_wake();
}

bool dive_listens(void)
{
    return state.lead_holds || state.lead;
}

/* ---- a second ---- */

static void water(void)
{
    if (!sense_water()) {
        return;
    }
    if (state.stage == STAGE_ARMED) {
        if (state.said.trigger == LAYOUT_TRIGGER_WATER) {
            state.wet_latched = true;
            dive_start(WET_S);
        }
    } else if (!state.wet_latched) {
        state.wet_latched = true;
        journal_put(false);
    }
}

static void flying(void)
{
    sense_pack();
    release_second();
    if (state.stage != STAGE_OVER && is_over()) {
        state.stage = STAGE_OVER;
        release_lay_out();
        state.look_now = true;
        journal_put(false);
    } else if (journal_due()) {
        if (state.elapsed % 3600 == 0 && state.resets_hour < STORM_RESETS) {
            state.resets_hour = 0;
        }
        journal_put(false);
    }
    if (state.look_now || state.elapsed >= state.next_look) {
        dive_look();
    }
}

void dive_second(void)
{
    const uint8_t rest = (uint8_t)(64U - state.flash_step);
    state.flash_step = 0;
    state.up++;
    pass(rest);
    end_pulse();
    sense_lead();
    play_second();
    keep_hold();
    const bool counted = dive_started();
    if (counted && state.elapsed < (second_t)LAYOUT_HEADER_END_HIGH) {
        state.elapsed++;
    }
    if (state.armed) {
        water();
    }
    if (counted || dive_started()) {
        flying();
    }
    if (buttons_act() && dive_port.buttons() != 0U) {
        buttons_wake();
    }
    light_second();
    drive_changes();
}
