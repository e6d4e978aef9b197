#include "bits.h"

#include "dive.h"
#include "dive_layout.h"

struct bits bits;

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
    bits.at = 0;
}

static uint8_t next_byte(void)
{
    const uint16_t index = bits.at >> 3;
    if (index >= bits.length) {
        bits.bad = true;
        return 0;
    }
    return bits.bytes != NULL ? bits.bytes[index] : dive_port.load((uint16_t)(bits.address + index));
}

uint32_t bits_take(uint8_t width)
{
    uint32_t number = 0;
    while (width > 0U) {
        const uint8_t used = bits.at & 7U;
        uint8_t taken = (uint8_t)(8U - used);
        uint8_t byte = (uint8_t)(next_byte() << used);
        if (taken == 8U && width >= 8U) {
            number = number << 8 | byte;
        } else {
            taken = width < taken ? width : taken;
            for (uint8_t n = taken; n > 0U; n--) {
                number = number << 1 | (byte >> 7);
                byte = (uint8_t)(byte << 1);
            }
        }
        bits.at = (uint16_t)(bits.at + taken);
        width = (uint8_t)(width - taken);
    }
    return number;
}

uint8_t bits_byte(uint8_t width)
{
    return (uint8_t)bits_take(width);
}

uint8_t bits_not_zero(uint8_t width)
{
    const uint8_t number = bits_byte(width);
    if (number == 0U) {
        bits.bad = true;
    }
    return number;
}

void bits_take_fields(const struct field *fields, uint8_t count, void *into)
{
    for (; count > 0U; count--, fields++) {
        const uint8_t how = PORT_CONST_BYTE(&fields->how);
        uint8_t *place = (uint8_t *)into + PORT_CONST_BYTE(&fields->place);
        uint32_t number = bits_take(PORT_CONST_BYTE(&fields->width));
        if ((how & FIELD_PLUS_ONE) != 0U) {
            number++;
        }
        if (PORT_CONST_BYTE(&fields->width) == LAYOUT_HEADER_END_BITS && number > LAYOUT_HEADER_END_HIGH) {
            bits.bad = true; /* no elapsed second, and past what a second_t is for */
        }
        for (uint8_t size = how & 7U; size > 0U; size--) { /* least byte first, as every part and desk computer has it */
            *place++ = (uint8_t)number;
            number >>= 8;
        }
    }
}

void bits_put_fields(const struct field *fields, uint8_t count, const void *from, uint8_t *bytes)
{
    uint8_t mask = 0x80;
    for (; count > 0U; count--, fields++) {
        const uint8_t how = PORT_CONST_BYTE(&fields->how);
        const uint8_t *place = (const uint8_t *)from + PORT_CONST_BYTE(&fields->place);
        uint32_t number = 0;
        for (uint8_t size = how & 7U; size > 0U; size--) {
            number = number << 8 | place[size - 1U];
        }
        uint8_t width = PORT_CONST_BYTE(&fields->width);
        if ((how & FIELD_PLUS_ONE) != 0U) {
            number--;
        }
        number <<= 32U - width;
        for (; width > 0U; width--) {
            if ((number & 0x80000000UL) != 0U) {
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
