#include "play.h"

#include <string.h>

#include "link.h"
#include "release.h"
#include "sense.h"
#include "store.h"

static uint8_t left; /* s until it ends by itself; 0: nothing is shown */

bool play_on(void)
{
    return left != 0U;
}

static void show(uint8_t fired)
{
    dive_port.light(fired != 0U);
    dive_drive();
}

void play_stop(void)
{
    if (play_on()) {
        left = 0;
        dive_forget();
        show(0);
    }
}

void play_second(void)
{
    if (left > 1U && state.lead) {
        left--;
    } else {
        play_stop();
    }
}

/* The bit of its output where a release that begins at this second fires now: its tries, then one every so often. */
static uint8_t fired_by(const struct firing *firing, second_t at)
{
    uint8_t tries = firing->tries;
    second_t since = state.elapsed - at; /* the beginning of a try */
    while (firing->present && since >= 0) {
        if (since < (second_t)firing->fire_s) {
            return (uint8_t)(1U << firing->output);
        }
        since -= tries > 1U ? (second_t)firing->pause_s : (second_t)FURTHER_TRY_S;
        if (tries != 0U) {
            since -= firing->fire_s;
            tries--;
        }
    }
    return 0;
}

static uint8_t begin(const uint8_t *code)
{
    if (state.pulse_left != 0U) {
        return LINK_REASON_BUSY;
    }
    if (!state.lead) {
        return LINK_REASON_NO_BENCH_LEAD;
    }
    store_fly();
    const uint8_t reason = link_check_code(code);
    if (reason == LINK_DONE) {
        dive_forget();
        release_lay_out();
    }
    return reason;
}

uint8_t play_show(uint8_t *body)
{
    uint8_t fired = 0;
    sense_measure();
    if (body[LINK_ASK_PLAY_ELAPSED_AT + 2U] >= 0x80U) {
        play_stop();
    } else {
        const uint8_t *code = body + LINK_ASK_PLAY_CODE_AT;
        const uint8_t reason = play_on() ? link_check_code(code) : begin(code);
        if (reason != LINK_DONE) {
            return reason;
        }
        left = LINK_PLAY_SILENCE_S + 1U;
        memcpy(&state.elapsed, body, 3); /* the low byte first on every computer that this runs on */
        if (state.elapsed >= state.face.end) {
            play_stop();
        } else {
            fired = (uint8_t)(fired_by(&state.said.primary, state.said.at) | fired_by(&state.said.backup, state.said.latest));
            dive_look();
            show(fired);
        }
    }
    memcpy(body + LINK_REPLY_PLAY_PACK_MV_AT, &state.pack_mv, 2);
    body += LINK_REPLY_PLAY_LEVELS_AT;
    for (uint8_t n = 0; n < LINK_OUTPUTS; n++) {
        *body++ = n >= BOARD_OUTPUTS ? 0U : bit_set(fired, n) ? FULL : state.outputs[n].level;
    }
    return LINK_DONE;
}
