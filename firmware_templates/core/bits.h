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

struct bits {
    const uint8_t *bytes;
    uint16_t address; /* where bytes is NULL: read from the board's memory, from here on */
    uint8_t length;   /* bytes there are; what lies beyond reads as 0 and sets bad */
    bool bad;         /* a field was out of its range, or the bytes ended */
    uint16_t at;      /* next bit */
};

extern struct bits bits;

/* Reads from bytes, or from the board's memory, from bit 0 on. */
void bits_open(const uint8_t *bytes, uint16_t address, uint8_t length);

/* The next width bits, 1 to 32; the least of them where the type is shorter. */
uint32_t bits_take(uint8_t width);
uint8_t bits_byte(uint8_t width);

/* The same; sets bad where it is 0. */
uint8_t bits_not_zero(uint8_t width);

/* One row says where in a structure a field of so many bits stands, and how: bytes it takes there (1, 2, 4), plus
   FIELD_PLUS_ONE where what is stored is one less. */
struct field {
    uint8_t width;
    uint8_t place;
    uint8_t how;
};
#define FIELD_PLUS_ONE 8U
#define FIELD(structure, member, bits) {(bits), (uint8_t)offsetof(struct structure, member), sizeof(((struct structure *)NULL)->member)}
#define FIELD_LESS(structure, member, bits)                                                                            \
    {(bits), (uint8_t)offsetof(struct structure, member), sizeof(((struct structure *)NULL)->member) | FIELD_PLUS_ONE}

/* Takes count fields into a structure, or puts them from there into bytes, which are all zero; returns the bits. */
void bits_take_fields(const struct field *fields, uint8_t count, void *into);
void bits_put_fields(const struct field *fields, uint8_t count, const void *from, uint8_t *bytes);

#endif
