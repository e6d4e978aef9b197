/* bits.h: takes fields from packed bytes, the most significant bit first. Widths come from dive_layout.h. */
#ifndef BITS_H
#define BITS_H

#include <stdbool.h>
#include <stdint.h>

/* Whether bit number of mask is set. */
static inline bool bit_set(uint8_t mask, uint8_t number)
{
    return ((unsigned)mask >> number & 1U) != 0U;
}

struct bits {
    const uint8_t *bytes;
    uint16_t address; /* where bytes is NULL: read from the board's memory, from here on */
    uint8_t length;   /* bytes there are; what lies beyond reads as 0 and sets bad */
    uint16_t at;      /* next bit */
    bool bad;         /* a field was out of its range, or the bytes ended */
};

/* The next width bits, 1 to 32. */
uint32_t bits_take(struct bits *from, uint8_t width);

/* The same; sets bad unless the number lies between low and high. */
uint32_t bits_within(struct bits *from, uint8_t width, uint32_t low, uint32_t high);

/* Puts a number of width bits at the bit *at of bytes, which are all zero from there on, and moves *at on. */
void bits_put(uint8_t *bytes, uint16_t *at, uint8_t width, uint32_t number);

#endif
