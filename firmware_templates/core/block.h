/* block.h: the settings block. Never trusting: block_open() checks every field, its range and how fields go together,
   for any bytes at all; what it refuses is never obeyed. */
#ifndef BLOCK_H
#define BLOCK_H

#include <stdbool.h>
#include <stdint.h>

#include "bits.h"

#define FULL 100U

/* One release that the controller fires. */
struct firing {
    bool present;
    uint8_t output;
    uint8_t tries;
    uint16_t fire_s;
    uint16_t pause_s;
};

/* What the header says, times with the chosen field changes in them. */
struct settings {
    uint16_t board_type;
    uint8_t length;
    uint8_t version;
    uint8_t trigger;
    bool without_water;
    second_t at; /* planned release; the primary's first firing */
    second_t not_before;
    second_t latest;
    second_t end;
    struct firing primary;
    struct firing backup;
    second_t bottom;      /* UNKNOWN_S where it is not known */
    second_t rise;        /* UNKNOWN_S where it is not known */
    uint16_t shed_mv;     /* of the pack */
    uint16_t release_mv;  /* of the pack */
    uint8_t series;
    uint8_t keep;
    uint8_t clips, windows, followers, changes;
    uint8_t time_bits;    /* width of a time inside the dive */
    uint16_t windows_at, followers_at, changes_at; /* first bit of each sort of record */
    uint8_t combinations;
    uint8_t faster;       /* choices of the last change, of two */
    second_t shift;        /* s by which the chosen change moves the release */
    uint8_t changed[2];   /* outputs whose level is changed, 255: none */
    uint8_t planned_level[2];
    uint8_t chosen_level[2];
};

struct window {
    uint8_t kind, output, level;
    bool start_moves, stop_moves;
    second_t start, stop;  /* planned; FOREVER where it has no stop */
    uint16_t every, on;   /* bursts in s, flashes in 1/64 s */
    second_t count;       /* the number of the last burst, counted from 0 */
};

struct follower {
    uint8_t output, leader, level, mode, clip;
    uint16_t lead, trail;
};

struct clip {
    bool start_moves, stop_moves;
    second_t start, stop;
};

struct change {
    uint8_t output; /* whose level changes; SHIFTS: the release is shifted */
    uint8_t choices;
    uint8_t level[4];
    uint16_t step_s;
    uint8_t earlier;
};
#define SHIFTS 255U

/* Reads the header of the block that the reader was opened on, and checks all of it. */
bool block_open(struct settings *said);

/* As block_open() without checking more than is needed to read on: for a block that was checked before. */
bool block_header(struct settings *said);

/* Takes the next record. */
void block_window(const struct settings *said, struct window *window);
void block_follower(const struct settings *said, struct follower *follower);
void block_clip(const struct settings *said, struct clip *clip);
void block_change(struct change *change);

/* The clip with this number, counted from 1. */
void block_clip_number(const struct settings *said, uint8_t number, struct clip *clip);

/* Whether this combination of field changes may be chosen. */
bool block_allowed(const struct settings *said, uint8_t combination);

/* Puts a combination of field changes into said, which block_header() has just filled; none where there is none. */
void block_choose(struct settings *said, uint8_t combination);

/* The combination that changes nothing. */
uint8_t block_unchanged(const struct settings *said);

#endif
