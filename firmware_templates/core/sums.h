/* sums.h: checksums, a bit at a time: small, and fast enough for once a minute. */
#ifndef SUMS_H
#define SUMS_H

#include <stdint.h>

#define SUM32_START 0xFFFFFFFFUL
#define SUM16_START 0xFFFFU

/* CRC-32/ISO-HDLC without its final inversion, so that it can be continued; invert the last value. */
uint32_t sum32(uint32_t sum, uint8_t byte);

/* CRC-16/CCITT-FALSE. */
uint16_t sum16(uint16_t sum, uint8_t byte);

/* CRC-8 with polynomial 0x07. */
uint8_t sum8(uint8_t sum, uint8_t byte);

#endif
