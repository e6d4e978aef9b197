#include "bits.h"

#include "dive.h"
#include "dive_layout.h"
#include "records.h"

struct bits bits;

static const PORT_CONST uint8_t record_rows[] = {RECORD_ROWS};

bool bit_set(uint8_t mask, uint8_t number)
{
    return ((unsigned)mask >> number & 1U) != 0U;
}

void bits_open(const uint8_t *bytes, uint16_t address, uint8_t length)
{
    bits.bytes = bytes;
    bits.address = address;
    bits.length = length;
    bits.bad = false;
    bits.time_bits = ROW_TIME;
    bits.latest = (second_t)LAYOUT_HEADER_END_HIGH;
    bits.shift = 0;
    bits.at.next = bits.at.left = 0;
}

static uint8_t next_byte(void)
{
    const uint8_t index = bits.at.next++;
    if (index >= bits.length) {
        bits.bad = true;
        return 0;
    }
    return bits.bytes != NULL ? bits.bytes[index] : dive_port.load((uint16_t)(bits.address + index));
}

span_t bits_take(uint8_t width)
{
    span_t number = 0;
    uint8_t left = bits.at.left, rest = bits.at.rest;
    do {
        if (left == 0U) {
            left = 8;
            rest = next_byte();
        }
        number <<= 1;
        if ((rest & 0x80U) != 0U) {
            number |= 1U;
        }
        rest = (uint8_t)(rest << 1);
        left--;
    } while (--width != 0U);
    bits.at.left = left;
    bits.at.rest = rest;
    return number;
}

static span_t take_row(uint8_t row)
{
    uint8_t width = row & ROW_WIDTH;
    span_t most = (span_t)FOREVER;
    if (width == ROW_TIME) {
        width = bits.time_bits;
        most = (span_t)bits.latest;
    } else if (width == ROW_LEVEL) {
        most = ROW_LEVEL_MOST;
    }
    const span_t number = bits_take(width);
    if (number > most || (number == 0U && (row & ROW_NOT_ZERO) != 0U)) {
        bits.bad = true;
    }
    return number;
}

void bits_take_record(uint8_t rows, second_t *into)
{
    const uint8_t *at = record_rows + rows;
    uint8_t chosen = 0, row;
    bool moves = false;
    while ((row = PORT_CONST_BYTE(at)) != 0U) {
        second_t number = 0;
        if ((PORT_CONST_BYTE(at + 1) & chosen) == 0U) {
            number = (second_t)take_row(row);
        }
        if ((row & ROW_CHOOSES) != 0U) {
            chosen = (uint8_t)((unsigned)chosen << (1U << (row & ROW_WIDTH)) | 1U << (uint8_t)number);
        }
        if (moves && (row & ROW_WIDTH) == ROW_TIME) {
            number += bits.shift;
        }
        moves = number != 0;
        *into++ = number;
        at += 2;
    }
}

void bits_take_fields(const struct field *fields, uint8_t count, void *into)
{
    for (; count > 0U; count--, fields++) {
        const uint8_t how = PORT_CONST_BYTE(&fields->how);
        uint8_t *place = (uint8_t *)into + PORT_CONST_BYTE(&fields->place);
        span_t number = take_row(how);
        uint8_t width = how & FIELD_WIDTH;
        if ((how & FIELD_PLUS_ONE) != 0U) {
            number++;
        }
        if ((how & FIELD_ROOM) != 0U) {
            width = (uint8_t)(width + 8U);
        }
        for (;;) { /* least byte first, as every part and desk computer has it */
            *place++ = (uint8_t)number;
            if (width <= 8U) {
                break;
            }
            number >>= 8;
            width = (uint8_t)(width - 8U);
        }
    }
}

void bits_put_fields(const struct field *fields, uint8_t count, const void *from, uint8_t *bytes)
{
    uint8_t mask = 0x80;
    for (; count > 0U; count--, fields++) {
        const uint8_t how = PORT_CONST_BYTE(&fields->how);
        const uint8_t *place = (const uint8_t *)from + PORT_CONST_BYTE(&fields->place);
        uint8_t width = how & FIELD_WIDTH;
        span_t number = 0;
        for (uint8_t size = (uint8_t)(width + 7U) / 8U; size > 0U; size--) {
            number = number << 8 | place[size - 1U];
        }
        if ((how & FIELD_PLUS_ONE) != 0U) {
            number--;
        }
        number <<= ROW_TIME - width;
        for (; width > 0U; width--) {
            if ((number & 0x800000UL) != 0U) {
                *bytes |= mask;
            }
            number <<= 1;
            mask >>= 1;
            if (mask == 0U) {
                mask = 0x80;
                bytes++;
            }
        }
    }
}
