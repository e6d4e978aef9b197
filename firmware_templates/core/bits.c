#include "bits.h"

#include "dive.h"
#include "dive_layout.h"
#include "records.h"

struct bits bits;

static const PORT_CONST uint8_t record_rows[] = {RECORD_ROWS};

PORT_APART bool bit_set(uint8_t mask, uint8_t number)
{
    for (; number > 0U; number--) {
        mask = mask >> 1;
    }
    return (mask & 1U) != 0U;
}

static struct bits *here(void)
{
    struct bits *reader = &bits;
    PORT_HIDE(reader);
    return reader;
}

void bits_open(const uint8_t *bytes, uint16_t address, uint8_t length)
{
    struct bits *const reader = here();
    reader->bytes = bytes;
    reader->address = address;
    reader->length = length;
    reader->bad = false;
    reader->time_bits = ROW_TIME;
    reader->latest = (second_t)LAYOUT_HEADER_END_HIGH;
    reader->shift = 0;
    reader->at.next = reader->at.left = 0;
}

PORT_APART void bits_go(const struct bits_place *place)
{
    here()->at = *place;
}

static uint8_t next_byte(struct bits *reader)
{
    const uint8_t index = reader->at.next++;
    if (index >= reader->length) {
        reader->bad = true;
        return 0;
    }
    return reader->bytes != NULL ? reader->bytes[index] : dive_port.load((uint16_t)(reader->address + index));
}

span_t bits_take(uint8_t how)
{
    struct bits *const reader = here();
    uint8_t width = how & FIELD_WIDTH;
    uint8_t left = reader->at.left, rest = reader->at.rest;
    span_t number = 0;
    if (width == ROW_TIME) {
        width = reader->time_bits;
    }
    do {
        if (left == 0U) {
            left = 8;
            rest = next_byte(reader);
        }
        left--;
        number <<= 1;
        if ((rest & 0x80U) != 0U) {
            number |= 1U;
        }
        rest = (uint8_t)(rest << 1);
    } while (--width != 0U);
    reader->at.left = left;
    reader->at.rest = rest;
    width = how & FIELD_WIDTH;
    if ((width == ROW_TIME && number > (span_t)reader->latest) || (width == ROW_LEVEL && (uint8_t)number > ROW_LEVEL_MOST)
        || (number == 0U && (how & FIELD_NOT_ZERO) != 0U)) {
        reader->bad = true;
    }
    return number;
}

void bits_take_record(uint8_t record, void *into)
{
    PORT_SAVES;
    const uint8_t *at = record_rows + record;
    second_t *wide = into;
    uint8_t *small = (uint8_t *)(wide + PORT_CONST_BYTE(at));
    uint8_t chosen = 0, row;
    bool moves = false;
    while ((row = PORT_CONST_BYTE(++at)) != 0U) {
        const uint8_t width = row & FIELD_WIDTH;
        second_t number = 0;
        if ((PORT_CONST_BYTE(++at) & chosen) == 0U) {
            number = (second_t)bits_take(row);
        }
        if (width > 8U) {
            if (moves && width == ROW_TIME) {
                number += bits.shift;
            }
            *wide++ = number;
            continue;
        }
        const uint8_t choice = (uint8_t)number;
        *small++ = choice;
        moves = choice != 0U;
        if ((row & ROW_CHOOSES) != 0U) {
            chosen = (uint8_t)(chosen << 2);
            if (width > 1U) {
                chosen = (uint8_t)(chosen << 2);
            }
            uint8_t bit = 1;
            for (uint8_t n = choice; n > 0U; n--) {
                bit = (uint8_t)(bit << 1);
            }
            chosen |= bit;
        }
    }
}

void bits_take_fields(const struct field *fields, uint8_t count, void *into)
{
    for (; count > 0U; count--, fields++) {
        const uint8_t how = PORT_CONST_BYTE(&fields->how);
        uint8_t *place = (uint8_t *)into + PORT_CONST_BYTE(&fields->place);
        span_t number = bits_take(how);
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
