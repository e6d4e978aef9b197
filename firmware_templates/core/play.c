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

static void show(bool fired)
{
    dive_port.light(fired);
    dive_drive();
}

void play_stop(void)
{
    if (play_on()) {
        left = 0;
        dive_forget();
        show(false);
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

/* Whether a release that begins at this second fires now: its tries, then one every so often. The level of its output says
   so, but nothing drives it. */
static bool fired_by(const struct firing *firing, second_t at)
{
    uint8_t tries = firing->tries;
    second_t since = state.elapsed - at; /* the beginning of a try */
    while (firing->present && since >= 0) {
        if (since < (second_t)firing->fire_s) {
            state.outputs[firing->output].level = FULL;
            return true;
        }
        since -= tries > 1U ? (second_t)firing->pause_s : (second_t)FURTHER_TRY_S;
        if (tries != 0U) {
            since -= firing->fire_s;
            tries--;
        }
    }
    return false;
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
            dive_look();
            const bool first = fired_by(&state.said.primary, state.said.at);
            show(fired_by(&state.said.backup, state.said.latest) || first);
        }
    }
    memcpy(body + LINK_REPLY_PLAY_PACK_MV_AT, &state.pack_mv, 2);
    body += LINK_REPLY_PLAY_LEVELS_AT;
    for (uint8_t n = 0; n < LINK_OUTPUTS; n++) {
        *body++ = n < BOARD_OUTPUTS ? state.outputs[n].level : 0U;
    }
    return LINK_DONE;
}
