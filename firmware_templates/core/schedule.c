/* schedule.c: see schedule.h. Every comparison of t with another second tells note() of that second while it lies ahead,
   so that the least of them is the next second at which anything can change. Why 24 bits are enough stands in block.h. */
#include "schedule.h"

#include <string.h>

#include "board.h"
#include "dive_layout.h"
#include "state.h"

struct look {
    second_t t;                             /* second that is looked at: the present one, or a later one of a leader */
    second_t cut;                           /* where the firing command cuts; where it does not, the end */
    second_t cut_before, moving_cut_before; /* a window that begins before is cut, the second where its start moves */
    struct follower follower;
};
#define OWN UINT8_MAX /* in the place of a leader: the windows are looked at for their own outputs */
#define NEVER (-FOREVER)

/* Whether a second has come; if not, the outputs are looked at again when it does. */
PORT_APART static bool come(const struct look *look, second_t second)
{
    struct state *const here = state_here();
    if (look->t >= second) {
        return true;
    }
    if (second < here->next_look) {
        here->next_look = second;
    }
    return false;
}

static second_t least(second_t one, second_t other)
{
    return one < other ? one : other;
}

PORT_APART static bool is_kept(uint8_t output)
{
    return !state.reduced || bit_set(state.said.keep, output);
}

/* The second at which the window, made longer for its follower, goes off again; NEVER where it has not begun. */
static second_t covers(const struct look *look, const struct window *window)
{
    second_t from = window->start, off = window->stop, cap = state.face.end;
    if (window->endless != 0U && look->follower.leader == OWN) {
        cap = FOREVER;
    }
    if (window->stop_moves == 0U && from < (window->start_moves != 0U ? look->moving_cut_before : look->cut_before)) {
        cap = look->cut;
    }
    const second_t last = least(off - window->on, cap - 1); /* that a burst begins at */
    if (!come(look, from - look->follower.lead) || last < from) {
        return NEVER;
    }
    if (window->kind == LAYOUT_KIND_REPEATING) {
        span_t room = (span_t)(least(look->t + look->follower.lead, last) - from);
        if (room > (span_t)window->count) {
            room = (span_t)window->count;
        }
        from += (second_t)(room - room % (span_t)window->every);
        (void)come(look, from + window->every - look->follower.lead);
        off = from + window->on;
    }
    off += look->follower.trail;
    (void)come(look, off);
    return least(off, cap);
}

/* Raises an output to a level, that of a field change where it takes the place of the planned one. */
static struct output_state *raise(uint8_t output, uint8_t level)
{
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
    return now;
}

static void keep_steady(struct output_state *now)
{
    now->every = now->lit = STEADY;
    now->phase = 0;
}

static void show(const struct look *look, const struct window *window)
{
    struct output_state *const now = raise(window->output, window->level);
    const uint16_t every = (uint16_t)window->flash_every, lit = (uint16_t)window->flash_on;
    if (lit >= every) { /* all but a flash have 0 of both */
        keep_steady(now);
    } else if (now->every == 0U) {
        now->every = every;
        now->lit = lit;
        now->phase = (uint16_t)((span_t)(look->t - window->start) % every * 64U % every);
    }
}

/* Goes through the windows: for OWN, what is on is added to the outputs; else returns the latest second up to which any
   window of the leader that is on, made longer, stays on; what is looked at where none is. */
static second_t walk(const struct look *look)
{
    PORT_SAVES;
    const uint8_t leader = look->follower.leader;
    second_t until = look->t;
    bits_go(&state.said.first[WINDOWS]);
    for (uint8_t left = state.said.windows; left > 0U; left--) {
        struct window window;
        block_window(&window);
        if (leader == OWN || leader == window.output) {
            const second_t off = covers(look, &window);
            if (off > until) {
                if (leader != OWN) {
                    until = off;
                } else if (is_kept(window.output)) {
                    show(look, &window);
                }
            }
        }
    }
    return until;
}

/* Whether a follower is on. The pulse that ends a recording is where its leader stays on up to the second after t + lead,
   and no longer. */
static bool follows(struct look *look)
{
    struct follower *const follower = &look->follower;
    const bool pulse = follower->mode == LAYOUT_MODE_STOP;
    const second_t before = follower->lead + 1;
    second_t wanted = look->t, until;
    if (pulse) {
        wanted += before;
        follower->lead = 0;
    }
    while (look->t <= wanted && (until = walk(look)) > look->t) {
        look->t = until; /* each turn goes at least one second on, so that there are few of them */
    }
    until = look->t;
    look->t = state.elapsed;
    if (pulse) {
        (void)come(look, until - before);
        (void)come(look, until - before + 1);
        return until == wanted;
    }
    struct clip clip;
    clip.start = 0;
    clip.stop = FOREVER;
    block_clip(&state.said, follower->clip, &clip);
    return until > wanted && come(look, clip.start) && !come(look, clip.stop);
}

void schedule_look(void)
{
    PORT_SAVES;
    const struct face *const face = &state.face;
    const second_t planned = state.said.at; /* release, with the chosen shift */
    struct look look;
    memset(&look, 0, sizeof look);
    look.t = state.elapsed;
    state.next_look = FOREVER;
    look.cut = least(face->cut, face->end);
    look.cut_before = look.cut > planned ? look.cut : planned;
    look.moving_cut_before = planned + face->shift;
    memset(state.outputs, 0, sizeof state.outputs);
    bits.time_bits = state.said.time_bits;
    bits.shift = state.said.shift + face->shift;
    (void)come(&look, look.cut);
    look.follower.leader = OWN;
    (void)walk(&look);
    struct bits_place at = state.said.first[FOLLOWERS];
    for (uint8_t left = come(&look, face->end) ? 0U : state.said.followers; left > 0U; left--) {
        bits_go(&at);
        bits_take_record(ROWS_FOLLOWER, &look.follower);
        at = bits.at;
        if (is_kept(look.follower.leader) && is_kept(look.follower.output) && follows(&look)) {
            keep_steady(raise(look.follower.output, look.follower.level));
        }
    }
}
