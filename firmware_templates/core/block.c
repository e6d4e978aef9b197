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

static const PORT_CONST uint8_t records[] = {ROWS_CLIP, ROWS_WINDOW, ROWS_FOLLOWER, ROWS_CHANGE};

#define OWN ((uint8_t)(((1UL << BOARD_OUTPUTS) - 1UL) & ~(uint32_t)BOARD_RELEASES)) /* outputs that a window may drive */

#define PACK_STEPS (UINT16_MAX / LAYOUT_HEADER_SHED_SCALE)

union record {
    struct clip clip;
    struct window window;
    struct follower follower;
    struct change change;
};

/* Whole minutes to seconds; the greatest number means that nobody knows. */
PORT_APART static void to_seconds(second_t *time, second_t most)
{
    *time = *time == most ? UNKNOWN_S : *time * (second_t)LAYOUT_HEADER_BOTTOM_SCALE;
}

/* Steps of millivolts of a cell to millivolts of the pack. */
PORT_APART static void to_pack(uint16_t *mv, uint8_t series)
{
    const uint16_t steps = (uint16_t)(*mv * series);
    *mv = (uint16_t)((steps < PACK_STEPS ? steps : PACK_STEPS) * LAYOUT_HEADER_SHED_SCALE);
}

PORT_APART static bool firing_fits(const struct firing *firing)
{
    return !firing->present || (firing->fire_s != 0U && bit_set(BOARD_RELEASES, firing->output));
}

static bool header_fits(const struct settings *said)
{
    return said->trigger <= LAYOUT_HEADER_TRIGGER_HIGH && said->changes <= LAYOUT_HEADER_CHANGE_COUNT_HIGH
           && said->at <= said->end && said->not_before <= said->end && firing_fits(&said->primary)
           && firing_fits(&said->backup);
}

void block_window(struct window *window)
{
    bits_take_record(ROWS_WINDOW, window);
    if (window->kind == LAYOUT_KIND_REPEATING) {
        const uint32_t last = (uint32_t)(uint16_t)window->count * (uint16_t)window->every;
        window->count = (second_t)last;
        const span_t stop = (span_t)(window->count + window->start + window->on);
        if (last > (uint32_t)LAYOUT_HEADER_END_HIGH || stop > (span_t)bits.latest) {
            bits.bad = true;
        }
        window->stop += (second_t)stop; /* which is what it moves by, so far */
        if (window->start_moves != 0U) {
            window->stop -= bits.shift;
        }
    } else {
        window->on = 1;
    }
    if (window->kind == LAYOUT_KIND_ENDLESS || window->endless != 0U) {
        window->endless = window->stop_moves = 1;
        window->count = window->stop = ENDLESS_S;
    }
}

static uint8_t choices_of(const struct change *change)
{
    return (uint8_t)(change->earlier + change->later + change->choices + 1);
}

/* What of a record hangs on others. */
static bool record_fits(struct settings *said, uint8_t sort, const union record *record)
{
    uint8_t output = record->window.output;
    if (sort == CLIPS) {
        return true;
    }
    if (sort == CHANGES) {
        said->faster = choices_of(&record->change);
        said->unchanged = (uint8_t)(said->unchanged * said->faster + record->change.earlier);
        const uint16_t combinations = (uint16_t)(said->combinations * said->faster);
        said->combinations = (uint8_t)combinations;
        return combinations <= LAYOUT_COMBINATIONS_MOST;
    }
    if (sort == FOLLOWERS) {
        output = record->follower.output;
        if (record->follower.clip > said->clips) {
            return false;
        }
    }
    return bit_set(OWN, output);
}

PORT_APART static void check_records(struct settings *said)
{
    const uint8_t *count = (const uint8_t *)said + offsetof(struct settings, clips);
    struct bits_place *first = said->first;
    for (uint8_t sort = CLIPS; sort <= CHANGES; sort++) {
        *first++ = bits.at;
        for (uint8_t left = *count++; left > 0U; left--) {
            union record record;
            if (sort == WINDOWS) {
                block_window(&record.window);
            } else {
                bits_take_record(PORT_CONST_BYTE(records + sort), &record);
            }
            if (!record_fits(said, sort, &record)) {
                bits.bad = true;
            }
        }
    }
    *first = bits.at;
}

bool block_open(struct settings *said)
{
    memset(said, 0, sizeof *said);
    bits_take_fields(header, sizeof header / sizeof header[0], said);
    if (said->length != bits.length || said->version != LAYOUT_VERSION) {
        return false;
    }
    if (said->board_type != BOARD_TYPE) {
        return true;
    }
    if (!header_fits(said)) {
        return false;
    }
    to_seconds(&said->bottom, LAYOUT_HEADER_BOTTOM_HIGH / LAYOUT_HEADER_BOTTOM_SCALE);
    to_seconds(&said->rise, LAYOUT_HEADER_RISE_HIGH / LAYOUT_HEADER_RISE_SCALE);
    to_pack(&said->shed_mv, said->series);
    to_pack(&said->release_mv, said->series);
    bits.latest = said->end;
    uint8_t width = 0;
    for (span_t end = (span_t)said->end; end != 0U; end >>= 1) {
        width++;
    }
    bits.time_bits = said->time_bits = width;
    if (said->changes != 0U) {
        said->combinations = 1;
    }
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
    bits_go(&said->first[CLIPS]);
    for (; number > 0U; number--) {
        bits_take_record(ROWS_CLIP, clip);
    }
}

bool block_allowed(const struct settings *said, uint8_t combination)
{
    if (combination >= said->combinations) {
        return false;
    }
    bits_go(&said->first[ALLOWED]);
    bool allowed;
    do {
        allowed = bits_take(LAYOUT_ALLOWED_ALLOWED_BITS) != 0U;
    } while (combination-- != 0U);
    return allowed;
}

PORT_APART void block_choose(struct settings *said, uint8_t combination)
{
    if (combination >= said->combinations) {
        return;
    }
    uint8_t chosen = 0;
    while (combination >= said->faster) {
        combination = (uint8_t)(combination - said->faster);
        chosen++;
    }
    bits_go(&said->first[CHANGES]);
    struct swap *swap = said->swaps;
    second_t shift = 0;
    for (uint8_t left = said->changes; left > 0U; left--, swap++) {
        struct change change;
        bits_take_record(ROWS_CHANGE, &change);
        if (change.change == LAYOUT_CHANGE_SHIFT) {
            const second_t step = (second_t)(change.step * LAYOUT_CHANGE_STEP_SCALE);
            shift = (second_t)(chosen - change.earlier) * step;
        } else {
            swap->output = change.output;
            swap->planned = change.level_1;
            swap->chosen = ((const uint8_t *)&change)[offsetof(struct change, level_1) + chosen];
        }
        chosen = combination;
    }
    said->shift = shift;
    said->at += shift;
    said->end += shift;
}
