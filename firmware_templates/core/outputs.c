/* outputs.c: what the outputs do now, and the steps of 1/64 s of flash patterns and pulses. */
#include <string.h>

#include "buttons.h"
#include "light.h"
#include "state.h"

#define STEPS 64U

/* With both slots bad: what is kept goes on with the release, steadily, and stays on. */
static void look_without_block(void)
{
    state.next_look = state.said.at;
    if (state.fired || dive_passed(&state.said.at)) {
        for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
            state.outputs[n].level = bit_set(state.said.keep, n) ? FULL : 0U;
        }
    }
}

/* Takes the flash patterns on by the steps that have passed, and finds when one of them turns next. */
static void turn_flashes(void)
{
    uint8_t every = 0;
    struct output_state *output = state.outputs;
    for (uint8_t n = BOARD_OUTPUTS; n > 0U; n--, output++) {
        if (output->lit >= output->every) {
            continue;
        }
        uint16_t phase = (uint16_t)(output->phase + state.flash_since);
        while (phase >= output->every) { /* mostly not at all or once */
            phase = (uint16_t)(phase - output->every);
        }
        output->phase = phase;
        const uint16_t left = (uint16_t)((phase < output->lit ? output->lit : output->every) - phase);
        if (every == 0U || left < every) {
            every = left < STEPS ? (uint8_t)left : (uint8_t)STEPS;
        }
    }
    state.flash_every = every;
    state.flash_since = 0;
    state.drive_now = true;
}

void dive_look(void)
{
    if (state.has_block) {
        dive_read_block();
        schedule_look();
    } else {
        look_without_block();
    }
    (void)dive_passed(&state.next_look);
    state.flash_since = 0;
    turn_flashes();
}

/* Off before on, so that what is cut at a firing command is off first. */
void dive_drive(void)
{
    struct state *const here = state_here();
    here->drive_now = false;
    for (uint8_t turn = 0; turn < 2U; turn++) {
        const struct output_state *output = state.outputs;
        uint8_t bit = 1, lit = 0;
        for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
            uint8_t percent = output->level;
            if ((BOARD_RELEASES & bit) != 0U) {
                percent = (here->fires & bit) != 0U ? FULL : 0U;
            } else if ((here->alone && here->fires != 0U)
                       || (output->lit != 0U && output->phase >= output->lit)) {
                percent = 0;
            }
            if (percent != 0U) {
                lit |= bit;
            }
            if (percent != state.driven[n] && (turn != 0U || percent == 0U)) {
                state.driven[n] = percent;
                dive_port.output(n, percent);
            }
            bit = (uint8_t)(bit << 1);
            output++;
        }
        here->lit = lit;
    }
}

/* ---- finer steps ---- */

static uint8_t sooner(uint8_t steps, uint8_t other)
{
    return other != 0U && other < steps ? other : steps;
}

uint8_t dive_fine_due(void)
{
    struct state *const here = state_here();
    uint8_t steps = buttons_watched() ? 1U : STEPS;
    steps = sooner(steps, light_due());
    steps = sooner(steps, here->flash_every == 0U ? 0U : (uint8_t)(here->flash_every - here->flash_since));
    steps = sooner(steps, here->pulse_left < STEPS ? (uint8_t)here->pulse_left : 0U);
    steps = (uint8_t)(steps + here->step);
    return steps < STEPS ? steps : 0U;
}

void dive_pass(uint8_t steps)
{
    struct state *const here = state_here();
    here->flash_since = (uint8_t)(here->flash_since + steps);
    if (here->flash_every != 0U && here->flash_since >= here->flash_every) {
        turn_flashes();
    }
    if (here->pulse_left > steps) {
        here->pulse_left = (uint16_t)(here->pulse_left - steps);
    } else if (here->pulse_left != 0U) {
        dive_forget();
        here->drive_now = true;
    }
    light_pass(steps);
    buttons_pass(steps);
}

void dive_fine(void)
{
    struct state *const here = state_here();
    const uint8_t now = dive_port.steps();
    if (now > here->step && now < STEPS) {
        const uint8_t steps = (uint8_t)(now - here->step);
        here->step = now;
        dive_pass(steps);
    }
    if (here->drive_now) {
        dive_drive();
    }
}

void dive_pulse(uint8_t output, uint8_t level, uint16_t steps)
{
    if (level == 0U && state.driven[output] == 0U) {
        return;
    }
    dive_fine();
    dive_forget();
    if (level != 0U) {
        state.pulse_left = steps;
        state.outputs[output].level = level;
        state.fires = (uint8_t)(1U << output);
    }
    dive_drive();
}
