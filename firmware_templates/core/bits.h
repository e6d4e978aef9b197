/* bits.h: fields in packed bytes, the most significant bit first. Widths come from dive_layout.h.
   There is one reader; whoever opens it reads all it wants before somebody else does. */
#ifndef BITS_H
#define BITS_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "port.h"

/* Whether bit number of mask is set. */
bool bit_set(uint8_t mask, uint8_t number);

/* How far the reader is: the next byte to be taken, bits left of the one before it, and those bits, the first on top. */
struct bits_place {
    uint8_t next, left, rest;
};

struct bits {
    const uint8_t *bytes;
    uint16_t address; /* where bytes is NULL: read from the board's memory, from here on */
    uint8_t length;   /* bytes there are; what lies beyond reads as 0 and sets bad */
    bool bad;         /* a field was out of its range, or the bytes ended */
    uint8_t time_bits; /* width of a time */
    second_t latest;   /* greatest time */
    second_t shift;    /* of times that move: is added to them */
    struct bits_place at;
};

extern struct bits bits;

/* Reads from bytes, or from the board's memory, from bit 0 on. Times have their full width and range. */
void bits_open(const uint8_t *bytes, uint16_t address, uint8_t length);

/* Reads on from a place where the reader was before. */
void bits_go(const struct bits_place *place);

/* The next bits: how many, 1 to 24, and FIELD_NOT_ZERO where they may not be 0. As many as a time has are taken for a
   time, as many as a level has for a level, see records.h. What is out of range sets bad. */
span_t bits_take(uint8_t how);

/* One row says where in a structure a field of so many bits stands, in as many bytes as they fill or in one more. What
   is stored is one less with FIELD_PLUS_ONE. */
struct field {
    uint8_t how;
    uint8_t place;
};
#define FIELD_WIDTH 0x1FU
#define FIELD_PLUS_ONE 0x20U
#define FIELD_ROOM 0x40U /* there is one byte more than they fill */
#define FIELD_NOT_ZERO 0x80U
#define FIELD_AS(structure, member, bits, how)                                                                         \
    {(bits) | (how) | (sizeof(((struct structure *)NULL)->member) > ((bits) + 7U) / 8U ? FIELD_ROOM : 0U),              \
     (uint8_t)offsetof(struct structure, member)}
#define FIELD(structure, member, bits) FIELD_AS(structure, member, bits, 0U)
#define FIELD_LESS(structure, member, bits) FIELD_AS(structure, member, bits, FIELD_PLUS_ONE)
/* 25 to 32 bits, in a uint32_t, take two rows: the upper ones at its place + 2, then 16 at its place. */

/* Takes count fields into a structure. */
void bits_take_fields(const struct field *fields, uint8_t count, void *into);

/* Takes a record by its rows, see records.h. */
void bits_take_record(uint8_t record, void *into);

#endif
