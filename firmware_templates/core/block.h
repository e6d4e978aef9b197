/* block.h: the settings block. Never trusting: block_open() checks every field, its range and what hangs on it, for any
   bytes at all; what it refuses is never obeyed. */
#ifndef BLOCK_H
#define BLOCK_H

#include <stdbool.h>
#include <stdint.h>

#include "bits.h"
#include "records.h"

#define FULL 100U

/* Of an endless window: later than any second that is looked at, with room above it for a trail. Bounds, all in seconds:
   planned times are at most 8 000 000, what a field change shifts them by at most 229 500 either way, what an early
   command does at most 8 000 000 back; every, on, lead, trail at most 65 535, 16 383, 511, 2047. So a moved time
   lies between -8 229 500 and 8 229 500, the end of a burst with its trail below 8 250 000, the start of the next below 8 311 418; all
   of that is between -FOREVER and FOREVER (8 388 607). Differences of two such times are reckoned without sign, and are
   below 16 777 216. */
#define ENDLESS_S ((second_t)0x7F0000L)

/* One release that the controller fires. */
struct firing {
    bool present;
    uint8_t output;
    uint8_t tries;
    uint16_t fire_s;
    uint16_t pause_s;
};

enum record_sort { CLIPS, WINDOWS, FOLLOWERS, CHANGES, ALLOWED };

/* A level that a field change puts in the place of the planned one; all 0: none. */
struct swap {
    uint8_t output, planned, chosen;
};

/* What the header says, times with the chosen field changes in them. */
struct settings {
    uint8_t length;
    uint8_t version;
    uint16_t board_type;
    uint8_t trigger;
    bool without_water;
    second_t at; /* planned release; the primary's first firing */
    second_t not_before;
    second_t latest;
    second_t end;
    struct firing primary;
    struct firing backup;
    second_t bottom, rise; /* UNKNOWN_S where it is not known */
    uint16_t shed_mv, release_mv; /* of the pack */
    uint8_t series;
    uint8_t keep;
    uint8_t time_bits;
    uint8_t combinations; /* of field changes */
    uint8_t unchanged;    /* the one that changes nothing */
    uint8_t faster;       /* choices of the last change, of two */
    uint8_t clips, windows, followers, changes; /* records, in the order of enum record_sort */
    struct bits_place first[ALLOWED + 1];       /* of each sort of record */
    second_t shift;       /* s by which the chosen change moves the release */
    struct swap swaps[2];
};

/* Reads the header of the block that the reader was opened on, and checks all of the block. Of one for another type of
   board, which said->board_type tells and which is not to be flown, nothing but length and version is checked. */
bool block_open(struct settings *said);

/* Takes the next window. Where it ends is always in stop; count becomes the second of the last burst, from start on; what
   has no stop has one that does not come, and moves. */
void block_window(struct window *window);

/* The clip with this number, counted from 1. */
void block_clip(const struct settings *said, uint8_t number, struct clip *clip);

/* Whether this combination of field changes may be chosen. */
bool block_allowed(const struct settings *said, uint8_t combination);

/* Puts a combination of field changes into said, which block_open() has just filled; none where there is none. */
void block_choose(struct settings *said, uint8_t combination);

#endif
