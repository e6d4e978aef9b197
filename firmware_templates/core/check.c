/* check.c: what a block must be. The rules are those of the decoder in schedgen/settings, and two of the board's own:
   a release is on a release output, and no window drives one. */
#include "block.h"

#include "board.h"
#include "dive_layout.h"

/* Outputs that there are, and those of them that are releases, as bits. Of a block for another board nothing more is known
   than what it says itself. */
static uint8_t outputs_of(const struct settings *said)
{
    return said->board_type == BOARD_TYPE ? (uint8_t)((1UL << BOARD_OUTPUTS) - 1UL) : UINT8_MAX;
}

static uint8_t fired_by(const struct settings *said)
{
    return (uint8_t)((said->primary.present ? 1U << said->primary.output : 0U)
                     | (said->backup.present ? 1U << said->backup.output : 0U));
}

static uint8_t releases_of(const struct settings *said)
{
    return said->board_type == BOARD_TYPE ? (uint8_t)BOARD_RELEASES : fired_by(said);
}

static bool firing_fits(const struct firing *firing)
{
    if (firing->present) {
        return firing->fire_s >= 1U;
    }
    return firing->output == 0U && firing->fire_s == 0U && firing->tries == 1U && firing->pause_s == 0U;
}

static bool header_fits(const struct settings *said)
{
    if (said->not_before > said->latest || said->at > said->end || said->not_before > said->end) {
        return false;
    }
    if (!firing_fits(&said->primary) || !firing_fits(&said->backup)
        || (fired_by(said) & (uint8_t)~releases_of(said)) != 0U) {
        return false;
    }
    return !(said->primary.present && said->backup.present && said->primary.output == said->backup.output);
}

static bool span_fits(second_t start, second_t stop, second_t end)
{
    return stop > start && (stop == FOREVER ? start : stop) <= (second_t)end;
}

static bool windows_fit(const struct settings *said)
{
    const uint8_t driven = (uint8_t)(outputs_of(said) & (uint8_t)~releases_of(said));
    bits.at = said->windows_at;
    for (uint8_t n = 0; n < said->windows; n++) {
        struct window window;
        block_window(said, &window);
        if (!bit_set(driven, window.output) || !span_fits(window.start, window.stop, said->end)) {
            return false;
        }
        if (window.kind >= LAYOUT_KIND_REPEATING && window.on > window.every) {
            return false;
        }
    }
    return true;
}

/* Outputs that follow another, as bits. */
static uint8_t following(const struct settings *said)
{
    uint8_t outputs = 0;
    bits.at = said->followers_at;
    for (uint8_t n = 0; n < said->followers; n++) {
        struct follower follower;
        block_follower(said, &follower);
        outputs = (uint8_t)(outputs | 1U << follower.output);
    }
    return outputs;
}

static bool same_clip(const struct clip *one, const struct clip *other)
{
    return one->start == other->start && one->stop == other->stop && one->start_moves == other->start_moves
           && one->stop_moves == other->stop_moves;
}

/* Clips are all used, all different, and stand in the order of their first use. */
static bool clips_fit(const struct settings *said)
{
    struct clip clip, other;
    for (uint8_t n = 1; n <= said->clips; n++) {
        block_clip_number(said, n, &clip);
        if (!span_fits(clip.start, clip.stop, said->end)) {
            return false;
        }
        for (uint8_t m = 1; m < n; m++) {
            block_clip_number(said, m, &other);
            if (same_clip(&clip, &other)) {
                return false;
            }
        }
    }
    return true;
}

static bool followers_fit(const struct settings *said)
{
    const uint8_t driven = (uint8_t)(outputs_of(said) & (uint8_t)~releases_of(said));
    const uint8_t leaders = (uint8_t)(driven & (uint8_t)~following(said));
    uint8_t used = 0;
    bits.at = said->followers_at;
    for (uint8_t n = 0; n < said->followers; n++) {
        struct follower follower;
        block_follower(said, &follower);
        if (!bit_set(driven, follower.output) || !bit_set(leaders, follower.leader)) {
            return false;
        }
        if (follower.clip > said->clips || follower.clip > used + 1U) {
            return false;
        }
        used = follower.clip > used ? follower.clip : used;
    }
    return used == said->clips;
}

static bool shift_fits(const struct settings *said, const struct change *change, uint8_t faster)
{
    for (uint8_t n = 0; n < said->combinations; n++) {
        const uint8_t value = (uint8_t)(n / faster % change->choices);
        const second_t at = (second_t)said->at + (second_t)change->step_s * ((second_t)value - (second_t)change->earlier);
        if ((at < 0 || at > (second_t)LAYOUT_HEADER_AT_HIGH) && block_allowed(said, n)) {
            return false;
        }
    }
    return true;
}

static bool changes_fit(const struct settings *said)
{
    struct change change;
    uint8_t before = UINT8_MAX - 1U; /* no output, and no shift */
    bits.at = said->changes_at;
    for (uint8_t n = 0; n < said->changes; n++) {
        block_change(&change);
        const uint16_t next = bits.at;
        if (change.output == before) {
            return false;
        }
        if (change.output == SHIFTS && !shift_fits(said, &change, n == 0U ? said->faster : 1U)) {
            return false;
        }
        before = change.output;
        bits.at = next;
    }
    return true;
}

/* The bits after the last record fill up its byte, and are zero. */
static bool ends_well(const struct settings *said)
{
    bits.at = said->changes_at;
    for (uint8_t n = 0; n < said->changes; n++) {
        struct change change;
        block_change(&change);
    }
    bits.at = (uint16_t)(bits.at + (unsigned)said->combinations * LAYOUT_ALLOWED_ALLOWED_BITS);
    const uint16_t left = (uint16_t)(said->length * 8U - bits.at);
    return bits.at <= said->length * 8U && left < 8U && (left == 0U || bits_byte((uint8_t)left) == 0U);
}

bool block_open(struct settings *said)
{
    return block_header(said) && header_fits(said) && windows_fit(said) && clips_fit(said)
           && followers_fit(said) && changes_fit(said) && ends_well(said) && !bits.bad;
}
