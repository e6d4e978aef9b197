/* schedule.c: see schedule.h. Every comparison of t with another second tells note() of that second while it lies ahead,
   so that the least of them is the next second at which anything can change. Numbers stay within 31 bits and a sign. */
#include "schedule.h"

#include <string.h>

#include "board.h"
#include "dive_layout.h"

struct look {
    second_t t;
    second_t next;
    struct face face;
    const struct settings *said;
    bool only_kept;
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

/* The second from which the firing command keeps the window off. */
static second_t cut_of(const struct window *window, const struct face *face)
{
    if (window->stop == FOREVER || window->stop_moves) {
        return FOREVER;
    }
    const second_t planned = window->start; /* the chosen shift is in it, a shift by the command is not */
    if (planned < face->release || (!window->start_moves && planned < face->cut)) {
        return face->cut;
    }
    return FOREVER;
}

/* The last burst that may matter at since seconds after the start, -1 where none does. */
static second_t burst_at(const struct window *window, const struct face *face, second_t start, second_t stop, second_t cut,
                        second_t since, bool longer)
{
    const second_t every = window->every;
    second_t k = least(since / every, (second_t)window->count);
    k = least(k, (cut - 1 - start) / every);
    if (stop < FOREVER) {
        const second_t room = stop - (second_t)window->on - start;
        k = room < 0 ? -1 : least(k, room / every);
    } else if (longer) {
        const second_t room = face->end - 1 - start;
        k = room < 0 ? -1 : least(k, room / every);
    }
    return k;
}

/* The second at which the window, made longer by lead and trail, goes off again; t itself where it is off at t. */
static second_t covers(struct look *look, const struct window *window, second_t t, second_t lead, second_t trail)
{
    const struct face *face = &look->face;
    const second_t start = window->start + (window->start_moves ? face->shift : 0);
    const second_t stop = window->stop == FOREVER ? FOREVER : window->stop + (window->stop_moves ? face->shift : 0);
    const second_t cut = cut_of(window, face);
    const second_t since = t - start + lead;
    note(look, cut);
    note(look, start - lead);
    if (since < 0 || t >= cut || stop <= start || start >= cut) {
        return t;
    }
    second_t off;
    if (window->kind != LAYOUT_KIND_REPEATING) {
        off = stop == FOREVER ? FOREVER : stop + trail;
    } else {
        const second_t k = burst_at(window, face, start, stop, cut, since, lead != 0 || trail != 0);
        if (k < 0) {
            return t;
        }
        off = start + k * (second_t)window->every + (second_t)window->on + trail;
        note(look, start + (k + 1) * (second_t)window->every - lead);
    }
    note(look, off);
    return t < off ? least(off, cut) : t;
}

static void add(struct output_state *state, const struct window *window, const struct face *face, second_t t)
{
    state->level = window->level > state->level ? window->level : state->level;
    if (window->kind != LAYOUT_KIND_FLASH || window->on >= window->every) {
        state->steady = true;
    } else if (state->every == 0U) {
        const second_t start = window->start + (window->start_moves ? face->shift : 0);
        state->every = window->every;
        state->lit = window->on;
        state->phase = (uint16_t)((uint32_t)(t - start) * 64U % window->every);
    }
}

static bool is_kept(const struct look *look, uint8_t output)
{
    return !look->only_kept || bit_set(look->said->keep, output);
}

static void look_at_windows(struct look *look, struct output_state *outputs)
{
    bits.at = look->said->windows_at;
    for (uint8_t n = 0; n < look->said->windows; n++) {
        struct window window;
        block_window(look->said, &window);
        if (look->t >= look->face.end && window.stop != FOREVER) {
            continue;
        }
        if (covers(look, &window, look->t, 0, 0) > look->t && is_kept(look, window.output)) {
            add(&outputs[window.output], &window, &look->face, look->t);
        }
    }
}

/* The latest second up to which any window of the leader that is on at t, made longer, stays on; t where none is. */
static second_t leader_until(struct look *look, const struct follower *follower, second_t t, second_t lead, second_t trail)
{
    second_t until = t;
    bits.at = look->said->windows_at;
    for (uint8_t n = 0; n < look->said->windows; n++) {
        struct window window;
        block_window(look->said, &window);
        if (window.output == follower->leader) {
            const second_t off = covers(look, &window, t, lead, trail);
            until = off > until ? off : until;
        }
    }
    return until;
}

/* Whether the pulse that ends a recording is on: the leader stays on to the end of second t + lead, and no longer. */
static bool pulse_on(struct look *look, const struct follower *follower)
{
    const second_t wanted = look->t + (second_t)follower->lead + 1;
    second_t on_until = look->t;
    while (on_until <= wanted) {
        const second_t until = least(leader_until(look, follower, on_until, 0, 0), look->face.end);
        if (until <= on_until) {
            break; /* off from here on; each turn goes at least one second on, so that there are few of them */
        }
        on_until = until;
    }
    if (on_until > look->t) {
        note(look, on_until == wanted ? look->t + 1 : on_until - (second_t)follower->lead - 1);
        note(look, on_until);
    }
    return on_until == wanted;
}

static bool in_clip(struct look *look, uint8_t number)
{
    struct clip clip;
    if (number == 0U) {
        return true;
    }
    block_clip_number(look->said, number, &clip);
    const second_t start = clip.start + (clip.start_moves ? look->face.shift : 0);
    const second_t stop = clip.stop + (clip.stop_moves ? look->face.shift : 0);
    note(look, start);
    note(look, stop);
    return start <= look->t && look->t < stop;
}

static void look_at_followers(struct look *look, struct output_state *outputs)
{
    uint16_t at = look->said->followers_at;
    for (uint8_t n = 0; n < look->said->followers && look->t < look->face.end; n++) {
        struct follower follower;
        bits.at = at;
        block_follower(look->said, &follower);
        at = bits.at;
        bool on;
        if (follower.mode == LAYOUT_MODE_STOP) {
            on = pulse_on(look, &follower);
        } else {
            const bool inside = in_clip(look, follower.clip);
            on = leader_until(look, &follower, look->t, (second_t)follower.lead, (second_t)follower.trail) > look->t
                 && inside;
        }
        if (on && is_kept(look, follower.output) && is_kept(look, follower.leader)) {
            struct output_state *state = &outputs[follower.output];
            state->level = follower.level > state->level ? follower.level : state->level;
            state->steady = true;
        }
    }
}

second_t schedule_look(const struct settings *said, const struct face *face, second_t t, bool only_kept,
                      struct output_state *outputs)
{
    struct look look = {t, FOREVER, *face, said, only_kept};
    memset(outputs, 0, BOARD_OUTPUTS * sizeof *outputs);
    note(&look, face->first_edge);
    note(&look, face->end);
    note(&look, face->cut);
    if (t >= face->first_edge) {
        look_at_windows(&look, outputs);
        look_at_followers(&look, outputs);
    }
    return look.next;
}
