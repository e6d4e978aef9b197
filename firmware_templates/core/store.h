/* store.h: the two slots, the essentials record, the board's own row. A cut of the power between any two writes leaves
   what counted before or what was to count, never a mix. */
#ifndef STORE_H
#define STORE_H

#include "state.h"

struct slot {
    bool valid;
    uint8_t sequence;
    uint8_t length;
    uint32_t code;
};

uint16_t store_address(uint8_t slot);

/* Whether a slot holds a block of this length, and there is such a block at all. */
bool store_fits(uint8_t length);

/* CRC-32/ISO-HDLC of count bytes of memory. */
uint32_t store_sum(uint16_t address, uint16_t count);

void store_slot(uint8_t number, struct slot *slot);

/* Looks at both slots and gives the one that counts, LINK_NO_SLOT where none does; armed: only one with that code. */
uint8_t store_both(struct slot *slots, bool armed, uint32_t code);

/* The same, for who wants no more than its number. */
uint8_t store_active(bool armed, uint32_t code);

/* Copies the block of a valid slot to where it is flown from. */
bool store_fly(uint8_t number);

/* Writes, reads back; false where the memory does not hold it. */
bool store_put(uint16_t address, const uint8_t *bytes, uint8_t count);

/* Copies a whole slot over the other and compares both. */
bool store_copy(uint8_t from, uint8_t length);

void store_essentials(struct essentials *essentials);

/* Writes the essentials of the block that is flown: void first, valid with the last byte. */
bool store_put_essentials(bool armed, uint32_t code);

/* Makes the essentials record void. */
bool store_void_essentials(void);

/* Battery-sense calibration in 1/10000; 0 where none is stored. */
int16_t store_calibration(void);

/* Printable ASCII, then zeros only. */
bool store_is_text(const uint8_t *text, uint8_t count);

void store_load(uint16_t address, uint8_t *bytes, uint8_t count);

bool store_rename(const uint8_t *name);

#endif
