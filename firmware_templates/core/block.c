/* block.c: reading the records of a block. What a block must be is in check.c. */
#include "block.h"

#include <string.h>

#include "board.h"
#include "dive_layout.h"

#if LAYOUT_WINDOW_LEVEL_BITS != LAYOUT_FOLLOWER_LEVEL_BITS || LAYOUT_WINDOW_LEVEL_BITS != LAYOUT_CHANGE_LEVEL_1_BITS  \
    || LAYOUT_WINDOW_OUTPUT_BITS != LAYOUT_FOLLOWER_OUTPUT_BITS
#error "take_level reads all levels and needs them alike"
#endif
#if LAYOUT_WINDOW_COUNT_OFFSET != 1
#error "block_window takes the stored count for the number of the last burst"
#endif

#define ROW(member, name) FIELD(settings, member, LAYOUT_HEADER_##name##_BITS)
#define ROW_LESS(member, name) FIELD_LESS(settings, member, LAYOUT_HEADER_##name##_BITS)
#define FIRING(member, name)                                                                                           \
    ROW(member.present, name##_PRESENT), ROW(member.output, name##_OUTPUT), ROW(member.fire_s, name##_FIRE),           \
        ROW_LESS(member.tries, name##_TRIES), ROW(member.pause_s, name##_PAUSE)

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

/* Whole minutes to seconds; the greatest number means that nobody knows. */
static second_t minutes(second_t number, second_t most)
{
    number *= (second_t)LAYOUT_HEADER_BOTTOM_SCALE;
    return number == most ? UNKNOWN_S : number;
}

static uint16_t pack_mv(uint16_t cell, uint8_t series)
{
    const uint32_t mv = (uint32_t)cell * LAYOUT_HEADER_SHED_SCALE * series;
    return mv > UINT16_MAX ? UINT16_MAX : (uint16_t)mv;
}

/* Goes past all records, to learn where each sort begins. */
static void find_records(struct settings *said)
{
    struct window window;
    struct follower follower;
    struct change change;
    said->time_bits = 1;
    while (said->time_bits < LAYOUT_HEADER_END_BITS && said->end >> said->time_bits != 0U) {
        said->time_bits++;
    }
    bits.at = (uint16_t)(LAYOUT_HEADER_BITS
                         + said->clips
                               * (LAYOUT_CLIP_START_MOVES_BITS + LAYOUT_CLIP_STOP_MOVES_BITS + 2U * said->time_bits));
    said->windows_at = bits.at;
    for (uint8_t n = 0; n < said->windows; n++) {
        block_window(said, &window);
    }
    said->followers_at = bits.at;
    for (uint8_t n = 0; n < said->followers; n++) {
        block_follower(said, &follower);
    }
    said->changes_at = bits.at;
    said->combinations = said->changes != 0U ? 1 : 0;
    said->faster = 1;
    for (uint8_t n = 0; n < said->changes; n++) {
        block_change(&change);
        said->faster = change.choices;
        if ((uint16_t)(said->combinations * change.choices) > LAYOUT_COMBINATIONS_MOST) {
            bits.bad = true;
            return;
        }
        said->combinations = (uint8_t)(said->combinations * change.choices);
    }
    if (said->changes < 2U) {
        said->faster = 1;
    }
}

bool block_header(struct settings *said)
{
    memset(said, 0, sizeof *said);
    said->changed[0] = said->changed[1] = SHIFTS;
    bits_take_fields(header, sizeof header / sizeof header[0], said);
    if (said->length != bits.length || said->version != LAYOUT_VERSION || said->trigger > LAYOUT_HEADER_TRIGGER_HIGH
        || said->end < (second_t)LAYOUT_HEADER_END_LOW || said->series < LAYOUT_HEADER_SERIES_LOW
        || said->changes > LAYOUT_HEADER_CHANGE_COUNT_HIGH) {
        return false;
    }
    said->bottom = minutes(said->bottom, LAYOUT_HEADER_BOTTOM_HIGH);
    said->rise = minutes(said->rise, LAYOUT_HEADER_RISE_HIGH);
    said->shed_mv = pack_mv(said->shed_mv, said->series);
    said->release_mv = pack_mv(said->release_mv, said->series);
    find_records(said);
    return !bits.bad;
}

/* The flag and the level behind it; FULL where there is none. A level that a field change has replaced is the new one. */
static uint8_t take_level(const struct settings *said, uint8_t output)
{
    if (bits_byte(LAYOUT_WINDOW_HAS_LEVEL_BITS) == 0U) {
        return FULL;
    }
    const uint8_t level = bits_not_zero(LAYOUT_WINDOW_LEVEL_BITS);
    if (level > LAYOUT_WINDOW_LEVEL_HIGH) {
        bits.bad = true;
    }
    for (uint8_t n = 0; n < 2U; n++) {
        if (output == said->changed[n] && level == said->planned_level[n]) {
            return said->chosen_level[n];
        }
    }
    return level;
}

static second_t take_time(const struct settings *said)
{
    const uint32_t time = bits_take(said->time_bits);
    if (time > (uint32_t)(said->end - said->shift)) {
        bits.bad = true;
        return 0;
    }
    return (second_t)time;
}

static uint16_t take_span(uint8_t width)
{
    const uint16_t number = (uint16_t)bits_take(width);
    if (number == 0U) {
        bits.bad = true;
        return 1; /* nothing divides by zero on the way out */
    }
    return number;
}

static second_t stop_of_bursts(const struct window *window)
{
    const uint32_t length = (uint32_t)window->count * window->every + window->on;
    if (length > LAYOUT_HEADER_END_HIGH) {
        bits.bad = true;
        return window->start;
    }
    return window->start + (second_t)length;
}

void block_window(const struct settings *said, struct window *window)
{
    memset(window, 0, sizeof *window);
    window->kind = bits_byte(LAYOUT_WINDOW_KIND_BITS);
    window->output = bits_byte(LAYOUT_WINDOW_OUTPUT_BITS);
    window->level = take_level(said, window->output);
    window->start_moves = bits_byte(LAYOUT_WINDOW_START_MOVES_BITS) != 0U;
    window->start = take_time(said);
    window->stop = FOREVER;
    const bool bursts = window->kind == LAYOUT_KIND_REPEATING;
    bool endless = window->kind == LAYOUT_KIND_ENDLESS;
    if (window->kind >= LAYOUT_KIND_REPEATING) {
        window->every = take_span(bursts ? LAYOUT_WINDOW_EVERY_BITS : LAYOUT_WINDOW_FLASH_EVERY_BITS);
        window->on = take_span(bursts ? LAYOUT_WINDOW_ON_BITS : LAYOUT_WINDOW_FLASH_ON_BITS);
        endless = bits_byte(LAYOUT_WINDOW_ENDLESS_BITS) != 0U;
    }
    if (bursts) {
        window->count = endless ? ((second_t)LAYOUT_HEADER_END_HIGH - window->start) / (second_t)window->every
                                : (second_t)bits_take(LAYOUT_WINDOW_COUNT_BITS);
    }
    if (!endless) {
        window->stop_moves = bits_byte(LAYOUT_WINDOW_STOP_MOVES_BITS) != 0U;
        window->stop = bursts ? stop_of_bursts(window) : take_time(said);
    }
    if (window->start_moves) {
        window->start += said->shift;
    }
    if (window->stop_moves) {
        window->stop += said->shift;
    }
}

void block_follower(const struct settings *said, struct follower *follower)
{
    follower->output = bits_byte(LAYOUT_FOLLOWER_OUTPUT_BITS);
    follower->leader = bits_byte(LAYOUT_FOLLOWER_LEADER_BITS);
    follower->level = take_level(said, follower->output);
    follower->mode = bits_byte(LAYOUT_FOLLOWER_MODE_BITS);
    follower->lead = (uint16_t)bits_take(LAYOUT_FOLLOWER_LEAD_BITS);
    follower->trail = follower->mode == LAYOUT_MODE_COVER ? (uint16_t)bits_take(LAYOUT_FOLLOWER_TRAIL_BITS) : 0U;
    follower->clip = bits_byte(LAYOUT_FOLLOWER_CLIP_BITS);
}

void block_clip_number(const struct settings *said, uint8_t number, struct clip *clip)
{
    bits.at = LAYOUT_HEADER_BITS;
    for (; number > 0U; number--) {
        clip->start_moves = bits_byte(LAYOUT_CLIP_START_MOVES_BITS) != 0U;
        clip->start = take_time(said) + (clip->start_moves ? said->shift : 0);
        clip->stop_moves = bits_byte(LAYOUT_CLIP_STOP_MOVES_BITS) != 0U;
        clip->stop = take_time(said) + (clip->stop_moves ? said->shift : 0);
    }
}

void block_change(struct change *change)
{
    memset(change, 0, sizeof *change);
    if (bits_byte(LAYOUT_CHANGE_CHANGE_BITS) == LAYOUT_CHANGE_SHIFT) {
        change->output = SHIFTS;
        change->step_s = (uint16_t)(bits_not_zero(LAYOUT_CHANGE_STEP_BITS) * LAYOUT_CHANGE_STEP_SCALE);
        change->earlier = bits_byte(LAYOUT_CHANGE_EARLIER_BITS);
        change->choices = (uint8_t)(change->earlier + 1U + bits_byte(LAYOUT_CHANGE_LATER_BITS));
        return;
    }
    change->output = bits_byte(LAYOUT_CHANGE_OUTPUT_BITS);
    change->choices = (uint8_t)(bits_byte(LAYOUT_CHANGE_CHOICES_BITS) + LAYOUT_CHANGE_CHOICES_OFFSET);
    for (uint8_t n = 0; n < change->choices && n < sizeof change->level; n++) {
        change->level[n] = bits_not_zero(LAYOUT_CHANGE_LEVEL_1_BITS);
        if (change->level[n] > LAYOUT_CHANGE_LEVEL_1_HIGH) {
            bits.bad = true;
        }
    }
}

bool block_allowed(const struct settings *said, uint8_t combination)
{
    struct change change;
    bits.at = said->changes_at;
    for (uint8_t n = 0; n < said->changes; n++) {
        block_change(&change);
    }
    bits.at = (uint16_t)(bits.at + (unsigned)combination * LAYOUT_ALLOWED_ALLOWED_BITS);
    return combination < said->combinations && bits_byte(LAYOUT_ALLOWED_ALLOWED_BITS) != 0U;
}

void block_choose(struct settings *said, uint8_t combination)
{
    struct change change;
    if (combination >= said->combinations) {
        return;
    }
    bits.at = said->changes_at;
    for (uint8_t n = 0; n < said->changes; n++) {
        const uint8_t chosen = n == 0U ? combination / said->faster : combination % said->faster;
        block_change(&change);
        if (change.output == SHIFTS) {
            said->shift = (second_t)change.step_s * (chosen - change.earlier);
        } else {
            said->changed[n] = change.output;
            said->planned_level[n] = change.level[0];
            said->chosen_level[n] = change.level[chosen & 3U];
        }
    }
    said->at = (second_t)((second_t)said->at + said->shift);
    said->end = (second_t)((second_t)said->end + said->shift);
}

uint8_t block_unchanged(const struct settings *said)
{
    struct change change;
    uint8_t combination = 0;
    bits.at = said->changes_at;
    for (uint8_t n = 0; n < said->changes; n++) {
        block_change(&change);
        combination = (uint8_t)(combination * change.choices + change.earlier);
    }
    return combination;
}
