#include "play.h"

#include <string.h>

#include "link.h"
#include "release.h"
#include "sense.h"

#define OWED_MOST 60000U

static struct {
    uint16_t speed; /* 0: nothing is played */
    uint16_t owed;  /* elapsed seconds that are still to be looked at */
    uint8_t told[BOARD_OUTPUTS];
} play;

bool play_on(void)
{
    return play.speed != 0U;
}

/* What an output is at; of a release, whether the light is lit in its place. */
static uint8_t level_of(uint8_t output)
{
    if (bit_set(BOARD_RELEASES, output)) {
        const bool lit = (state.primary.on != 0U && state.said.primary.output == output)
                         || (state.backup.on != 0U && state.said.backup.output == output);
        return lit ? FULL : 0U;
    }
    const uint8_t level = state.outputs[output].level;
    return bit_set(BOARD_LEVELS, output) || level == 0U ? level : FULL;
}

static bool untold(void)
{
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        if (play.told[n] != level_of(n)) {
            return true;
        }
    }
    return false;
}

static void fire(struct release *release, const struct firing *firing)
{
    if (!firing->present || state.elapsed < release->turn) {
        return;
    }
    if (release->on != 0U) {
        release->on = 0;
        release->turn += release->tries < firing->tries ? (second_t)firing->pause_s : (second_t)FURTHER_TRY_S;
        release->turn -= release->tries > firing->tries ? (second_t)firing->fire_s : 0;
        return;
    }
    if (!state.fired) {
        state.fired = true;
        state.face.cut = state.elapsed;
        state.next_look = 0;
    }
    release->on = 1;
    release->turn = state.elapsed + firing->fire_s;
    release->tries = release->tries < UINT8_MAX ? (uint8_t)(release->tries + 1U) : UINT8_MAX;
}

static void show(void)
{
    dive_port.light(state.primary.on != 0U || state.backup.on != 0U);
    dive_drive();
}

static void run(void)
{
    while (play.owed > 0U && !untold()) {
        play.owed--;
        state.elapsed++;
        if (state.elapsed >= state.face.end) {
            play_stop();
            return;
        }
        fire(&state.primary, &state.said.primary);
        fire(&state.backup, &state.said.backup);
        if (state.elapsed >= state.next_look) {
            dive_look();
        }
    }
    show();
}

void play_begin(uint16_t speed)
{
    memset(&play, 0, sizeof play);
    dive_forget();
    state.stage = STAGE_STARTED;
    play.speed = speed;
    release_lay_out();
    state.primary.turn = state.said.at;
    state.backup.turn = state.said.latest;
    dive_look();
    show();
}

void play_stop(void)
{
    if (!play_on()) {
        return;
    }
    play.speed = play.owed = 0;
    dive_forget();
    show();
}

void play_second(void)
{
    if (!play_on()) {
        return;
    }
    if (!state.lead || state.frame_age >= LINK_PLAY_SILENCE_S) {
        play_stop();
        return;
    }
    if (play.owed <= OWED_MOST) {
        play.owed = (uint16_t)(play.owed + play.speed);
    }
    run();
}

uint8_t play_follow(uint8_t *answer)
{
    uint8_t at = LINK_REPLY_FOLLOW_DATA_AT;
    sense_measure();
    link_put(answer, LINK_REPLY_FOLLOW_ELAPSED_AT, 3, (uint32_t)state.elapsed);
    answer[LINK_REPLY_FOLLOW_PLAYING_AT] = play_on() ? 1U : 0U;
    link_put(answer, LINK_REPLY_FOLLOW_PACK_MV_AT, 2, state.pack_mv);
    answer[LINK_REPLY_FOLLOW_LOST_AT] = 0;
    for (uint8_t n = 0; n < BOARD_OUTPUTS && at + LINK_CHANGE_SIZE <= LINK_REPLY_FOLLOW_DATA_AT + LINK_CHUNK; n++) {
        const uint8_t level = level_of(n);
        if (play.told[n] != level) {
            play.told[n] = level;
            link_put(answer, at, 3, (uint32_t)state.elapsed);
            answer[at + 3U] = n;
            answer[at + 4U] = level;
            at = (uint8_t)(at + LINK_CHANGE_SIZE);
        }
    }
    answer[LINK_REPLY_FOLLOW_LENGTH_AT] = (uint8_t)(at - LINK_REPLY_FOLLOW_DATA_AT);
    if (play_on()) {
        run();
    }
    return at;
}
