/* schedule.c: see schedule.h. Every comparison of t with another second tells note() of that second while it lies ahead,
   so that the least of them is the next second at which anything can change. Why 24 bits are enough stands in block.h. */
#include "schedule.h"

#include <string.h>

#include "board.h"
#include "dive_layout.h"

struct look {
    second_t t;
    second_t next;
    second_t cut;
    second_t end;
    second_t cut_before[2]; /* a window that begins before this is cut: one whose start does not move, one whose does */
    uint8_t keep;
    const struct settings *said;
    struct output_state *outputs;
};

static void note(struct look *look, second_t second)
{
    if (second > look->t && second < look->next) {
        look->next = second;
    }
}

static second_t least(second_t one, second_t other)
{
    return one < other ? one : other;
}

/* The second at which the window, made longer for its follower, goes off again; not after t where it is off at t. */
static second_t covers(struct look *look, const struct window *window, const struct follower *follower, second_t t)
{
    const second_t lead = follower != NULL ? follower->lead : 0;
    const bool endless = window->stop == ENDLESS_S;
    second_t from = window->start, off = window->stop, cut = FOREVER;
    const second_t end = endless && follower == NULL ? FOREVER : look->end;
    if (window->stop_moves == 0 && from < look->cut_before[window->start_moves != 0]) {
        cut = look->cut;
    }
    note(look, from - lead);
    if (t + lead < from || t >= cut || off <= from || from >= cut) {
        return t;
    }
    if (window->kind == LAYOUT_KIND_REPEATING) {
        const second_t limit = endless ? end - 1 : off - window->on;
        if (limit < from) {
            return t;
        }
        span_t room = (span_t)(least(least(t + lead, cut - 1), limit) - from);
        if (room > (span_t)window->count) {
            room = (span_t)window->count;
        }
        from += (second_t)(room - room % (span_t)window->every);
        note(look, from + window->every - lead);
        off = from + window->on;
    }
    if (follower != NULL) {
        off += follower->trail;
    }
    note(look, off);
    return least(least(off, cut), end);
}

static void add(struct look *look, uint8_t output, uint8_t level, const struct window *flash)
{
    struct output_state *state = &look->outputs[output];
    for (uint8_t n = 0; n < 2U; n++) {
        const struct swap *swap = &look->said->swaps[n];
        if (output == swap->output && level == swap->planned) {
            level = swap->chosen;
            break;
        }
    }
    if (level == 0U) {
        level = FULL;
    }
    if (level > state->level) {
        state->level = level;
    }
    if (flash == NULL || flash->flash_on >= flash->flash_every) {
        state->steady = true;
    } else if (state->every == 0U) {
        state->every = (uint16_t)flash->flash_every;
        state->lit = (uint16_t)flash->flash_on;
        state->phase = (uint16_t)((span_t)(look->t - flash->start) % state->every * 64U % state->every);
    }
}

/* Goes through the windows at second t: without a follower, what is on is added to the outputs; else returns the latest
   second up to which any window of its leader that is on at t, made longer, stays on; t where none is. */
static second_t walk(struct look *look, const struct follower *follower, second_t t)
{
    second_t until = t;
    bits.at = look->said->first[WINDOWS];
    for (uint8_t left = look->said->windows; left > 0U; left--) {
        struct window window;
        block_window(&window);
        if (follower != NULL && follower->leader != window.output) {
            continue;
        }
        const second_t off = covers(look, &window, follower, t);
        if (off > until) {
            if (follower != NULL) {
                until = off;
            } else if (bit_set(look->keep, (uint8_t)window.output)) {
                add(look, (uint8_t)window.output, (uint8_t)window.level, window.kind == LAYOUT_KIND_FLASH ? &window : NULL);
            }
        }
    }
    return until;
}

static bool in_clip(struct look *look, uint8_t number)
{
    struct clip clip;
    block_clip(look->said, number, &clip);
    note(look, clip.start);
    note(look, clip.stop);
    return clip.start <= look->t && look->t < clip.stop;
}

/* Whether a follower is on. The pulse that ends a recording is where its leader stays on up to the second after t + lead,
   and no longer. */
static bool follows(struct look *look, struct follower *follower)
{
    const bool pulse = follower->mode == LAYOUT_MODE_STOP;
    second_t wanted = look->t, until = look->t, off;
    const second_t before = follower->lead + 1;
    if (pulse) {
        wanted += before;
        follower->lead = 0;
    }
    while (until <= wanted && (off = walk(look, follower, until)) > until) {
        until = off; /* each turn goes at least one second on, so that there are few of them */
    }
    if (pulse) {
        note(look, until - before);
        note(look, until - before + 1);
        return until == wanted;
    }
    return until > wanted && (follower->clip == 0 || in_clip(look, (uint8_t)follower->clip));
}

static void look_at_followers(struct look *look)
{
    struct bits_place at = look->said->first[FOLLOWERS];
    for (uint8_t left = look->said->followers; left > 0U; left--) {
        struct follower follower;
        bits.at = at;
        bits_take_record(ROWS_FOLLOWER, (second_t *)&follower);
        at = bits.at;
        if (follows(look, &follower) && bit_set(look->keep, (uint8_t)follower.output)
            && bit_set(look->keep, (uint8_t)follower.leader)) {
            add(look, (uint8_t)follower.output, (uint8_t)follower.level, NULL);
        }
    }
}

second_t schedule_look(const struct settings *said, const struct face *face, second_t t, bool only_kept,
                      struct output_state *outputs)
{
    struct look look = {t, FOREVER, face->cut, face->end, {face->release, face->release + face->shift},
                        only_kept ? said->keep : UINT8_MAX, said, outputs};
    if (face->cut != FOREVER && face->cut > face->release) {
        look.cut_before[0] = face->cut;
    }
    memset(outputs, 0, BOARD_OUTPUTS * sizeof *outputs);
    bits.time_bits = said->time_bits;
    bits.shift = said->shift + face->shift;
    note(&look, face->first_edge);
    note(&look, face->end);
    note(&look, face->cut);
    if (t >= face->first_edge) {
        (void)walk(&look, NULL, t);
        if (t < face->end) {
            look_at_followers(&look);
        }
    }
    return look.next;
}
