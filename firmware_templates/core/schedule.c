/* schedule.c: see schedule.h. Every comparison of t with another second tells note() of that second while it lies ahead,
   so that the least of them is the next second at which anything can change. Why 24 bits are enough stands in block.h. */
#include "schedule.h"

#include <string.h>

#include "board.h"
#include "dive_layout.h"
#include "state.h"

struct look {
    second_t t, next;
    second_t cut, end;
    second_t cut_before, moving_cut_before; /* a window that begins before is cut, the second where its start moves */
    struct follower follower;
    uint8_t keep;
};
#define OWN UINT8_MAX /* in the place of a leader: the windows are looked at for their own outputs */

PORT_APART static void note(struct look *look, second_t second)
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
static second_t covers(struct look *look, const struct window *window, second_t t)
{
    second_t from = window->start, off = window->stop, cap = look->end;
    if (window->endless != 0U && look->follower.leader == OWN) {
        cap = FOREVER;
    }
    if (window->stop_moves == 0U && look->cut < cap
        && from < (window->start_moves != 0U ? look->moving_cut_before : look->cut_before)) {
        cap = look->cut;
    }
    note(look, from - look->follower.lead);
    t += look->follower.lead;
    const second_t last = least(off - window->on, cap - 1); /* that a burst begins at */
    if (t < from || last < from) {
        return -FOREVER;
    }
    if (window->kind == LAYOUT_KIND_REPEATING) {
        span_t room = (span_t)(least(t, last) - from);
        if (room > (span_t)window->count) {
            room = (span_t)window->count;
        }
        from += (second_t)(room - room % (span_t)window->every);
        note(look, from + window->every - look->follower.lead);
        off = from + window->on;
    }
    off += look->follower.trail;
    note(look, off);
    return least(off, cap);
}

static void add(struct look *look, uint8_t output, uint8_t level, const struct window *flash)
{
    if (!bit_set(look->keep, output)) {
        return;
    }
    struct output_state *const now = state.outputs + output;
    const struct swap *swap = state.said.swaps;
    for (uint8_t n = 2; n > 0U; n--, swap++) {
        if (output == swap->output && level == swap->planned) {
            level = swap->chosen;
            break;
        }
    }
    if (level == 0U) {
        level = FULL;
    }
    if (level > now->level) {
        now->level = level;
    }
    if (flash == NULL || flash->flash_on >= flash->flash_every) {
        now->steady = true;
    } else if (now->every == 0U) {
        now->every = (uint16_t)flash->flash_every;
        now->lit = (uint16_t)flash->flash_on;
        now->phase = (uint16_t)((span_t)(look->t - flash->start) % now->every * 64U % now->every);
    }
}

/* Goes through the windows at second t: for OWN, what is on is added to the outputs; else returns the latest second up
   to which any window of the leader that is on at t, made longer, stays on; t where none is. */
static second_t walk(struct look *look, second_t t)
{
    second_t until = t;
    bits.at = state.said.first[WINDOWS];
    for (uint8_t left = state.said.windows; left > 0U; left--) {
        struct window window;
        block_window(&window);
        const uint8_t leader = look->follower.leader;
        if (leader == OWN || leader == window.output) {
            const second_t off = covers(look, &window, t);
            if (off > until) {
                if (leader != OWN) {
                    until = off;
                } else {
                    add(look, window.output, window.level, window.kind == LAYOUT_KIND_FLASH ? &window : NULL);
                }
            }
        }
    }
    return until;
}

static bool in_clip(struct look *look)
{
    struct clip clip;
    block_clip(&state.said, look->follower.clip, &clip);
    note(look, clip.start);
    note(look, clip.stop);
    return clip.start <= look->t && look->t < clip.stop;
}

/* Whether a follower is on. The pulse that ends a recording is where its leader stays on up to the second after t + lead,
   and no longer. */
static bool follows(struct look *look)
{
    struct follower *follower = &look->follower;
    second_t wanted = look->t, until = look->t, off;
    const second_t before = follower->lead + 1;
    const bool pulse = follower->mode == LAYOUT_MODE_STOP;
    if (pulse) {
        wanted += before;
        follower->lead = 0;
    }
    while (until <= wanted && (off = walk(look, until)) > until) {
        until = off; /* each turn goes at least one second on, so that there are few of them */
    }
    if (pulse) {
        note(look, until - before);
        note(look, until - before + 1);
        return until == wanted;
    }
    return until > wanted && (follower->clip == 0U || in_clip(look));
}

void schedule_look(void)
{
    const struct face *const face = &state.face;
    struct look look;
    memset(&look, 0, sizeof look);
    look.t = state.elapsed;
    look.next = FOREVER;
    look.cut = face->cut;
    look.end = face->end;
    look.cut_before = face->release;
    if (face->cut != FOREVER && face->cut > face->release) {
        look.cut_before = face->cut;
    }
    look.moving_cut_before = face->release + face->shift;
    look.keep = state.reduced ? state.said.keep : UINT8_MAX;
    memset(state.outputs, 0, sizeof state.outputs);
    bits.time_bits = state.said.time_bits;
    bits.shift = state.said.shift + face->shift;
    note(&look, face->end);
    note(&look, face->cut);
    look.follower.leader = OWN;
    (void)walk(&look, look.t);
    struct bits_place at = state.said.first[FOLLOWERS];
    for (uint8_t left = state.said.followers; left > 0U && look.t < look.end; left--) {
        bits.at = at;
        bits_take_record(ROWS_FOLLOWER, &look.follower);
        at = bits.at;
        if (bit_set(look.keep, look.follower.leader) && follows(&look)) {
            add(&look, look.follower.output, look.follower.level, NULL);
        }
    }
    state.next_look = look.next;
}
