/* sums.h: checksums, over bytes that stand one after another. A CRC-8 or a CRC-16 with its own value behind the bytes, the
   high byte first, comes to 0: so a record is checked by going over all of it. */
#ifndef SUMS_H
#define SUMS_H

#include <stdint.h>

/* CRC-32/ISO-HDLC without its inversions: begins with SUM32_START; invert the last value. */
#define SUM32_START 0xFFFFFFFFUL
uint32_t sum32(uint32_t sum, uint8_t byte);

/* CRC-16/CCITT-FALSE. */
uint16_t sum16_of(const uint8_t *bytes, uint8_t count);

/* CRC-8 with polynomial 0x07, going on from sum. */
uint8_t sum8_of(uint8_t sum, const uint8_t *bytes, uint8_t count);

#endif
