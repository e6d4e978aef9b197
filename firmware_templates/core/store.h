/* store.h: the two slots, the essentials record, the board's plate (calibration and given name). A cut of the power
   between any two writes leaves what counted before or what was to count, never a mix. */
#ifndef STORE_H
#define STORE_H

#include "state.h"

/* What was found in a slot when it was last looked at. */
struct PORT_PACKED slot {
    uint8_t sequence;
    uint32_t code; /* LINK_NO_CODE: not valid */
};

/* What was found in both, and which of them counts; told as it stands here. */
struct found {
    uint8_t counts;
    struct slot slots[2];
};

extern struct found store_found;

uint16_t store_address(uint8_t slot);

/* Whether a slot holds a block of this length, and there is such a block at all. */
bool store_fits(uint8_t length);

/* CRC-32/ISO-HDLC of count bytes of memory. */
uint32_t store_sum(uint16_t address, uint16_t count);

/* Looks at both slots; then store_found says what is in them, and store_found.counts which of them counts, LINK_NO_SLOT where
   none does. While armed only the armed code counts. It takes long, 50 ms. */
void store_look(void);

/* The same, and what counts is copied to where it is flown from: block, what its header says, code. */
void store_fly(void);

/* Does so where a slot that did not count has become valid by what was written there. */
void store_written(uint8_t slot);

/* Writes, reads back; false where the memory does not hold it. */
bool store_put(uint16_t address, const uint8_t *bytes, uint8_t count);

/* Writes the checksum behind the block in a slot, which makes it valid. */
bool store_seal(uint8_t slot);

/* Copies the block that is flown, and its sequence, from the slot that counts over the other. */
bool store_copy(void);

/* Reads the board's row: the calibration of the battery sense, and the essentials into state: armed, code, and what they
   hold of the settings. False where they are not valid; what stands in state.said is then nothing, and the board is not
   armed by it. */
bool store_row(void);

/* In 1/65536; 0 where none is stored. */
extern int16_t store_calibration;

/* Writes the essentials: void first, valid with the last byte. Where that fails the board is not armed. */
bool store_put_essentials(bool armed);

void store_load(uint16_t address, uint8_t *bytes, uint8_t count);

bool store_rename(const uint8_t *name);

#endif
