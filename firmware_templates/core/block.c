/* block.c: reading the records of a block. What a block must be is in check.c. */
#include "block.h"

#include <stddef.h>
#include <string.h>

#include "board.h"
#include "dive_layout.h"

#define TAKE(from, field) bits_take((from), field##_BITS)
#define FLAG(from, field) (bits_take((from), field##_BITS) != 0U)
#define BYTE(from, field) ((uint8_t)bits_take((from), field##_BITS))
#define WORD(from, field) ((uint16_t)bits_take((from), field##_BITS))

#if LAYOUT_HEADER_BACKUP_FIRE_BITS != LAYOUT_HEADER_PRIMARY_FIRE_BITS                                                  \
    || LAYOUT_HEADER_BACKUP_TRIES_BITS != LAYOUT_HEADER_PRIMARY_TRIES_BITS                                             \
    || LAYOUT_HEADER_BACKUP_PAUSE_BITS != LAYOUT_HEADER_PRIMARY_PAUSE_BITS
#error "take_firing reads both releases and needs them alike"
#endif
#if LAYOUT_WINDOW_LEVEL_BITS != LAYOUT_FOLLOWER_LEVEL_BITS || LAYOUT_WINDOW_LEVEL_BITS != LAYOUT_CHANGE_LEVEL_1_BITS
#error "take_level reads all levels and needs them alike"
#endif

#define NO_OUTPUT 255U

static void take_firing(struct bits *from, struct firing *firing)
{
    firing->present = FLAG(from, LAYOUT_HEADER_PRIMARY_PRESENT);
    firing->output = BYTE(from, LAYOUT_HEADER_PRIMARY_OUTPUT);
    firing->fire_s = WORD(from, LAYOUT_HEADER_PRIMARY_FIRE);
    firing->tries = (uint8_t)(TAKE(from, LAYOUT_HEADER_PRIMARY_TRIES) + LAYOUT_HEADER_PRIMARY_TRIES_OFFSET);
    firing->pause_s = WORD(from, LAYOUT_HEADER_PRIMARY_PAUSE);
}

static uint32_t scaled(uint32_t raw, uint32_t scale, uint32_t unknown)
{
    return raw * scale == unknown ? UNKNOWN_S : raw * scale;
}

static void take_limits(struct bits *from, struct settings *said)
{
    said->bottom = scaled(TAKE(from, LAYOUT_HEADER_BOTTOM), LAYOUT_HEADER_BOTTOM_SCALE, LAYOUT_HEADER_BOTTOM_HIGH);
    said->rise = scaled(TAKE(from, LAYOUT_HEADER_RISE), LAYOUT_HEADER_RISE_SCALE, LAYOUT_HEADER_RISE_HIGH);
    const uint32_t shed = TAKE(from, LAYOUT_HEADER_SHED) * LAYOUT_HEADER_SHED_SCALE;
    const uint32_t release = TAKE(from, LAYOUT_HEADER_RELEASE_BELOW) * LAYOUT_HEADER_RELEASE_BELOW_SCALE;
    said->series = (uint8_t)bits_within(from, LAYOUT_HEADER_SERIES_BITS, LAYOUT_HEADER_SERIES_LOW,
                                        LAYOUT_HEADER_SERIES_HIGH);
    said->keep = BYTE(from, LAYOUT_HEADER_KEEP);
    if (shed > LAYOUT_HEADER_SHED_HIGH || release > LAYOUT_HEADER_RELEASE_BELOW_HIGH) {
        from->bad = true;
        return;
    }
    const uint32_t pack_shed = shed * said->series;
    const uint32_t pack_release = release * said->series;
    said->shed_mv = pack_shed > UINT16_MAX ? UINT16_MAX : (uint16_t)pack_shed;
    said->release_mv = pack_release > UINT16_MAX ? UINT16_MAX : (uint16_t)pack_release;
}

static void find_records(struct bits *from, struct settings *said)
{
    said->clips = BYTE(from, LAYOUT_HEADER_CLIP_COUNT);
    said->windows = BYTE(from, LAYOUT_HEADER_WINDOW_COUNT);
    said->followers = BYTE(from, LAYOUT_HEADER_FOLLOWER_COUNT);
    said->changes = (uint8_t)bits_within(from, LAYOUT_HEADER_CHANGE_COUNT_BITS, LAYOUT_HEADER_CHANGE_COUNT_LOW,
                                         LAYOUT_HEADER_CHANGE_COUNT_HIGH);
    said->time_bits = 1;
    while (said->time_bits < LAYOUT_HEADER_END_BITS && said->end >> said->time_bits != 0U) {
        said->time_bits++;
    }
    const uint8_t clip_bits = (uint8_t)(LAYOUT_CLIP_START_MOVES_BITS + LAYOUT_CLIP_STOP_MOVES_BITS
                                        + 2 * said->time_bits);
    said->windows_at = (uint16_t)(LAYOUT_HEADER_BITS + said->clips * clip_bits);
    from->at = said->windows_at;
    for (uint8_t n = 0; n < said->windows && !from->bad; n++) {
        struct window window;
        block_window(from, said, &window);
    }
    said->followers_at = from->at;
    for (uint8_t n = 0; n < said->followers && !from->bad; n++) {
        struct follower follower;
        block_follower(from, said, &follower);
    }
    said->changes_at = from->at;
    said->combinations = said->changes != 0U ? 1 : 0;
    uint16_t combinations = said->combinations;
    for (uint8_t n = 0; n < said->changes && !from->bad; n++) {
        struct change change;
        block_change(from, &change);
        combinations = (uint16_t)(combinations * block_choices(&change));
    }
    if (combinations > LAYOUT_COMBINATIONS_MOST) {
        from->bad = true;
        return;
    }
    said->combinations = (uint8_t)combinations;
}

bool block_header(struct bits *from, struct settings *said)
{
    memset(said, 0, sizeof *said);
    said->changed[0] = said->changed[1] = NO_OUTPUT;
    from->at = 0;
    from->bad = false;
    said->length = BYTE(from, LAYOUT_HEADER_LENGTH);
    if (said->length != from->length || TAKE(from, LAYOUT_HEADER_LAYOUT_VERSION) != LAYOUT_VERSION) {
        return false;
    }
    said->board_type = WORD(from, LAYOUT_HEADER_BOARD_TYPE);
    said->trigger = (uint8_t)bits_within(from, LAYOUT_HEADER_TRIGGER_BITS, LAYOUT_HEADER_TRIGGER_LOW,
                                         LAYOUT_HEADER_TRIGGER_HIGH);
    said->without_water = FLAG(from, LAYOUT_HEADER_WITHOUT_WATER);
    said->at = TAKE(from, LAYOUT_HEADER_AT);
    said->not_before = TAKE(from, LAYOUT_HEADER_NOT_BEFORE);
    said->latest = TAKE(from, LAYOUT_HEADER_LATEST);
    said->end = bits_within(from, LAYOUT_HEADER_END_BITS, LAYOUT_HEADER_END_LOW, LAYOUT_HEADER_END_HIGH);
    take_firing(from, &said->primary);
    take_firing(from, &said->backup);
    take_limits(from, said);
    if (!from->bad) {
        find_records(from, said);
    }
    return !from->bad;
}

static uint8_t take_level(struct bits *from, bool has_level)
{
    return has_level ? (uint8_t)bits_within(from, LAYOUT_WINDOW_LEVEL_BITS, LAYOUT_WINDOW_LEVEL_LOW,
                                            LAYOUT_WINDOW_LEVEL_HIGH)
                     : FULL;
}

static void take_stop(struct bits *from, const struct settings *said, struct window *window)
{
    const bool bursts = window->kind == LAYOUT_KIND_REPEATING;
    window->stop = FOREVER;
    if (window->endless) {
        window->count = ((uint32_t)LAYOUT_HEADER_END_HIGH - (uint32_t)window->start) / window->every + 1U;
        return;
    }
    if (bursts) {
        window->count = TAKE(from, LAYOUT_WINDOW_COUNT) + LAYOUT_WINDOW_COUNT_OFFSET;
    }
    window->stop_moves = FLAG(from, LAYOUT_WINDOW_STOP_MOVES);
    window->stop = bursts ? window->start + (int32_t)((window->count - 1U) * window->every + window->on)
                          : (int32_t)bits_take(from, said->time_bits);
}

void block_window(struct bits *from, const struct settings *said, struct window *window)
{
    memset(window, 0, sizeof *window);
    window->kind = BYTE(from, LAYOUT_WINDOW_KIND);
    window->output = BYTE(from, LAYOUT_WINDOW_OUTPUT);
    window->has_level = FLAG(from, LAYOUT_WINDOW_HAS_LEVEL);
    window->level = take_level(from, window->has_level);
    window->start_moves = FLAG(from, LAYOUT_WINDOW_START_MOVES);
    window->start = (int32_t)bits_take(from, said->time_bits);
    window->every = 1;
    if (window->kind == LAYOUT_KIND_REPEATING) {
        window->every = (uint16_t)bits_within(from, LAYOUT_WINDOW_EVERY_BITS, LAYOUT_WINDOW_EVERY_LOW,
                                              LAYOUT_WINDOW_EVERY_HIGH);
        window->on = (uint16_t)bits_within(from, LAYOUT_WINDOW_ON_BITS, LAYOUT_WINDOW_ON_LOW, LAYOUT_WINDOW_ON_HIGH);
        window->endless = FLAG(from, LAYOUT_WINDOW_ENDLESS);
    } else if (window->kind == LAYOUT_KIND_FLASH) {
        window->every = (uint16_t)bits_within(from, LAYOUT_WINDOW_FLASH_EVERY_BITS, LAYOUT_WINDOW_FLASH_EVERY_LOW,
                                              LAYOUT_WINDOW_FLASH_EVERY_HIGH);
        window->on = (uint16_t)bits_within(from, LAYOUT_WINDOW_FLASH_ON_BITS, LAYOUT_WINDOW_FLASH_ON_LOW,
                                           LAYOUT_WINDOW_FLASH_ON_HIGH);
        window->endless = FLAG(from, LAYOUT_WINDOW_ENDLESS);
    } else {
        window->endless = window->kind == LAYOUT_KIND_ENDLESS;
    }
    if (window->every == 0U) {
        window->every = 1; /* bad is set; nothing divides by zero on the way out */
    }
    take_stop(from, said, window);
    for (uint8_t n = 0; n < 2U; n++) {
        if (window->has_level && window->output == said->changed[n] && window->level == said->planned_level[n]) {
            window->level = said->chosen_level[n];
            break;
        }
    }
    window->start += window->start_moves ? said->shift : 0;
    window->stop += window->stop_moves ? said->shift : 0;
}

void block_follower(struct bits *from, const struct settings *said, struct follower *follower)
{
    follower->output = BYTE(from, LAYOUT_FOLLOWER_OUTPUT);
    follower->leader = BYTE(from, LAYOUT_FOLLOWER_LEADER);
    follower->has_level = FLAG(from, LAYOUT_FOLLOWER_HAS_LEVEL);
    follower->level = take_level(from, follower->has_level);
    follower->mode = BYTE(from, LAYOUT_FOLLOWER_MODE);
    follower->lead = WORD(from, LAYOUT_FOLLOWER_LEAD);
    follower->trail = follower->mode == LAYOUT_MODE_COVER ? WORD(from, LAYOUT_FOLLOWER_TRAIL) : 0;
    follower->clip = BYTE(from, LAYOUT_FOLLOWER_CLIP);
    for (uint8_t n = 0; n < 2U; n++) {
        if (follower->has_level && follower->output == said->changed[n] && follower->level == said->planned_level[n]) {
            follower->level = said->chosen_level[n];
            break;
        }
    }
}

void block_clip(struct bits *from, const struct settings *said, struct clip *clip)
{
    clip->start_moves = FLAG(from, LAYOUT_CLIP_START_MOVES);
    clip->start = (int32_t)bits_take(from, said->time_bits);
    clip->stop_moves = FLAG(from, LAYOUT_CLIP_STOP_MOVES);
    clip->stop = (int32_t)bits_take(from, said->time_bits);
    clip->start += clip->start_moves ? said->shift : 0;
    clip->stop += clip->stop_moves ? said->shift : 0;
}

void block_clip_number(struct bits *from, const struct settings *said, uint8_t number, struct clip *clip)
{
    from->at = LAYOUT_HEADER_BITS;
    for (uint8_t n = 0; n < number; n++) {
        block_clip(from, said, clip);
    }
}

void block_change(struct bits *from, struct change *change)
{
    memset(change, 0, sizeof *change);
    change->change = BYTE(from, LAYOUT_CHANGE_CHANGE);
    if (change->change == LAYOUT_CHANGE_SHIFT) {
        change->step_s = (uint16_t)(TAKE(from, LAYOUT_CHANGE_STEP) * LAYOUT_CHANGE_STEP_SCALE);
        if (change->step_s < LAYOUT_CHANGE_STEP_LOW || change->step_s > LAYOUT_CHANGE_STEP_HIGH) {
            from->bad = true;
        }
        change->earlier = BYTE(from, LAYOUT_CHANGE_EARLIER);
        change->later = BYTE(from, LAYOUT_CHANGE_LATER);
        return;
    }
    change->output = BYTE(from, LAYOUT_CHANGE_OUTPUT);
    change->choices = (uint8_t)(TAKE(from, LAYOUT_CHANGE_CHOICES) + LAYOUT_CHANGE_CHOICES_OFFSET);
    for (uint8_t n = 0; n < change->choices && n < sizeof change->level; n++) {
        change->level[n] = take_level(from, true);
    }
}

uint8_t block_choices(const struct change *change)
{
    return change->change == LAYOUT_CHANGE_SHIFT ? (uint8_t)(change->earlier + 1U + change->later) : change->choices;
}

bool block_allowed(struct bits *from, const struct settings *said, uint8_t combination)
{
    if (combination >= said->combinations) {
        return false;
    }
    struct change change;
    from->at = said->changes_at;
    for (uint8_t n = 0; n < said->changes; n++) {
        block_change(from, &change);
    }
    from->at = (uint16_t)(from->at + (unsigned)combination * LAYOUT_ALLOWED_ALLOWED_BITS);
    return FLAG(from, LAYOUT_ALLOWED_ALLOWED) && !from->bad;
}

/* Which value of its n-th change (0 or 1) a combination takes. */
static uint8_t value_of(struct bits *from, const struct settings *said, uint8_t combination, uint8_t number,
                        struct change *change)
{
    struct change second;
    from->at = said->changes_at;
    block_change(from, change);
    uint8_t fast = 1;
    if (said->changes > 1U) {
        block_change(from, &second);
        fast = block_choices(&second);
    }
    if (number == 0U) {
        return (uint8_t)(combination / fast);
    }
    *change = second;
    return (uint8_t)(combination % fast);
}

void block_choose(struct bits *from, struct settings *said, uint8_t combination)
{
    if (combination >= said->combinations) {
        return;
    }
    for (uint8_t n = 0; n < said->changes; n++) {
        struct change change;
        const uint8_t value = value_of(from, said, combination, n, &change);
        if (change.change == LAYOUT_CHANGE_SHIFT) {
            said->shift = (int32_t)change.step_s * ((int32_t)value - (int32_t)change.earlier);
        } else {
            said->changed[n] = change.output;
            said->planned_level[n] = change.level[0];
            said->chosen_level[n] = change.level[value & 3U];
        }
    }
    said->at = (uint32_t)((int32_t)said->at + said->shift);
    said->end = (uint32_t)((int32_t)said->end + said->shift);
}

uint8_t block_unchanged(struct bits *from, const struct settings *said)
{
    if (said->changes == 0U) {
        return 0;
    }
    struct change change;
    from->at = said->changes_at;
    uint8_t combination = 0;
    for (uint8_t n = 0; n < said->changes; n++) {
        block_change(from, &change);
        combination = (uint8_t)(combination * block_choices(&change));
        combination = (uint8_t)(combination + (change.change == LAYOUT_CHANGE_SHIFT ? change.earlier : 0U));
    }
    return combination;
}
