/* block.c: what a block says and what it must be. The rules are those of the decoder in schedgen/settings, without
   those of tidiness, and two of the board's own: a release is on a release output, and no window drives one. */
#include "block.h"

#include <string.h>

#include "board.h"
#include "dive_layout.h"

#if LAYOUT_WINDOW_COUNT_OFFSET != 1 || LAYOUT_CHANGE_CHOICES_OFFSET != 1
#error "the stored count is taken for the number of the last burst, the stored choices for that of the last choice"
#endif

#define ROW(member, name)                                                                                              \
    FIELD_AS(settings, member, LAYOUT_HEADER_##name##_BITS, LAYOUT_HEADER_##name##_LOW > 0U ? FIELD_NOT_ZERO : 0U)
#define FIRING(member, name)                                                                                           \
    ROW(member.present, name##_PRESENT), ROW(member.output, name##_OUTPUT), ROW(member.fire_s, name##_FIRE),           \
        FIELD_LESS(settings, member.tries, LAYOUT_HEADER_##name##_TRIES_BITS), ROW(member.pause_s, name##_PAUSE)

static const PORT_CONST struct field header[] = {
    ROW(length, LENGTH),
    ROW(version, LAYOUT_VERSION),
    ROW(board_type, BOARD_TYPE),
    ROW(trigger, TRIGGER),
    ROW(without_water, WITHOUT_WATER),
    ROW(at, AT),
    ROW(not_before, NOT_BEFORE),
    ROW(latest, LATEST),
    ROW(end, END),
    FIRING(primary, PRIMARY),
    FIRING(backup, BACKUP),
    ROW(bottom, BOTTOM),
    ROW(rise, RISE),
    ROW(shed_mv, SHED),
    ROW(release_mv, RELEASE_BELOW),
    ROW(series, SERIES),
    ROW(keep, KEEP),
    ROW(clips, CLIP_COUNT),
    ROW(windows, WINDOW_COUNT),
    ROW(followers, FOLLOWER_COUNT),
    ROW(changes, CHANGE_COUNT),
};

static const PORT_CONST uint8_t rows_of[] = {ROWS_CLIP, ROWS_WINDOW, ROWS_FOLLOWER, ROWS_CHANGE};

#define OWN ((uint8_t)(((1UL << BOARD_OUTPUTS) - 1UL) & ~(uint32_t)BOARD_RELEASES)) /* outputs that a window may drive */

union record {
    struct clip clip;
    struct window window;
    struct follower follower;
    struct change change;
    second_t fields[sizeof(struct window) / sizeof(second_t)];
};

/* Whole minutes to seconds; the greatest number means that nobody knows. */
static second_t minutes(second_t number, second_t most)
{
    return number == most ? UNKNOWN_S : number * (second_t)LAYOUT_HEADER_BOTTOM_SCALE;
}

static uint16_t pack_mv(uint16_t cell, uint8_t series)
{
    const span_t mv = (span_t)cell * (uint8_t)(LAYOUT_HEADER_SHED_SCALE * series);
    return mv > UINT16_MAX ? UINT16_MAX : (uint16_t)mv;
}

static bool firing_fits(const struct firing *firing, uint8_t releases)
{
    return !firing->present || (firing->fire_s != 0U && bit_set(releases, firing->output));
}

static bool header_fits(struct settings *said)
{
    const uint8_t releases = said->board_type == BOARD_TYPE ? (uint8_t)BOARD_RELEASES : UINT8_MAX;
    return said->length == bits.length && said->version == LAYOUT_VERSION && said->trigger <= LAYOUT_HEADER_TRIGGER_HIGH
           && said->changes <= LAYOUT_HEADER_CHANGE_COUNT_HIGH && said->at <= said->end
           && said->not_before <= said->end && firing_fits(&said->primary, releases)
           && firing_fits(&said->backup, releases);
}

void block_window(struct window *window)
{
    bits_take_record(ROWS_WINDOW, (second_t *)window);
    if (window->kind == LAYOUT_KIND_ENDLESS || window->endless != 0) {
        window->count = window->stop = ENDLESS_S;
        window->stop_moves = 1;
    } else if (window->kind == LAYOUT_KIND_REPEATING) {
        const uint32_t last = (uint32_t)(uint16_t)window->count * (uint16_t)window->every;
        if (last + (uint32_t)window->on + (uint32_t)window->start > (uint32_t)bits.latest) {
            bits.bad = true;
        }
        window->count = (second_t)last;
        window->stop = window->start + window->count + window->on;
        if (window->start_moves != 0) {
            window->stop -= bits.shift;
        }
        if (window->stop_moves != 0) {
            window->stop += bits.shift;
        }
    }
}

static uint8_t choices_of(const struct change *change)
{
    return (uint8_t)(change->earlier + change->later + change->choices + 1);
}

static void check_record(struct settings *said, uint8_t sort, const union record *record)
{
    uint8_t output = (uint8_t)record->window.output;
    if (sort == CHANGES) {
        said->faster = choices_of(&record->change);
        said->unchanged = (uint8_t)(said->unchanged * said->faster + (uint8_t)record->change.earlier);
        const uint16_t combinations = (uint16_t)(said->combinations * said->faster);
        said->combinations = (uint8_t)combinations;
        bits.bad = bits.bad || combinations > LAYOUT_COMBINATIONS_MOST;
        return;
    }
    if (sort == CLIPS) {
        return;
    }
    if (sort == FOLLOWERS) {
        output = (uint8_t)record->follower.output;
        bits.bad = bits.bad || (uint8_t)record->follower.clip > said->clips;
    }
    if (said->board_type == BOARD_TYPE && !bit_set(OWN, output)) {
        bits.bad = true;
    }
}

static void check_records(struct settings *said)
{
    const uint8_t *count = (const uint8_t *)said + offsetof(struct settings, clips);
    for (uint8_t sort = CLIPS; sort <= CHANGES; sort++) {
        said->first[sort] = bits.at;
        for (uint8_t left = *count++; left > 0U; left--) {
            union record record;
            if (sort == WINDOWS) {
                block_window(&record.window);
            } else {
                bits_take_record(PORT_CONST_BYTE(rows_of + sort), record.fields);
            }
            check_record(said, sort, &record);
        }
    }
    said->first[ALLOWED] = bits.at;
}

bool block_open(struct settings *said)
{
    memset(said, 0, sizeof *said);
    bits_take_fields(header, sizeof header / sizeof header[0], said);
    if (!header_fits(said)) {
        return false;
    }
    said->bottom = minutes(said->bottom, LAYOUT_HEADER_BOTTOM_HIGH / LAYOUT_HEADER_BOTTOM_SCALE);
    said->rise = minutes(said->rise, LAYOUT_HEADER_RISE_HIGH / LAYOUT_HEADER_RISE_SCALE);
    said->shed_mv = pack_mv(said->shed_mv, said->series);
    said->release_mv = pack_mv(said->release_mv, said->series);
    said->time_bits = 0;
    for (span_t end = (span_t)said->end; end != 0U; end >>= 1) {
        said->time_bits++;
    }
    bits.time_bits = said->time_bits;
    bits.latest = said->end;
    said->combinations = said->changes != 0U ? 1 : 0;
    check_records(said);
    if (said->changes < 2U) {
        said->faster = 1;
    }
    for (uint8_t left = said->combinations; left > 0U; left--) {
        (void)bits_take(LAYOUT_ALLOWED_ALLOWED_BITS);
    }
    return !bits.bad && bits.at.next == said->length;
}

void block_clip(const struct settings *said, uint8_t number, struct clip *clip)
{
    bits.at = said->first[CLIPS];
    for (; number > 0U; number--) {
        bits_take_record(ROWS_CLIP, (second_t *)clip);
    }
}

bool block_allowed(const struct settings *said, uint8_t combination)
{
    if (combination >= said->combinations) {
        return false;
    }
    bits.at = said->first[ALLOWED];
    bool allowed;
    do {
        allowed = bits_take(LAYOUT_ALLOWED_ALLOWED_BITS) != 0U;
    } while (combination-- != 0U);
    return allowed;
}

void block_choose(struct settings *said, uint8_t combination)
{
    if (combination >= said->combinations) {
        return;
    }
    bits.at = said->first[CHANGES];
    for (uint8_t n = 0; n < said->changes; n++) {
        union record record;
        const struct change *change = &record.change;
        const uint8_t chosen = n == 0U ? combination / said->faster : combination % said->faster;
        bits_take_record(ROWS_CHANGE, record.fields);
        if (change->change == LAYOUT_CHANGE_SHIFT) {
            said->shift = change->step * (second_t)LAYOUT_CHANGE_STEP_SCALE * ((second_t)chosen - change->earlier);
        } else {
            said->swaps[n].output = (uint8_t)change->output;
            said->swaps[n].planned = (uint8_t)change->level_1;
            said->swaps[n].chosen = (uint8_t)(&change->level_1)[chosen];
        }
    }
    said->at += said->shift;
    said->end += said->shift;
}
