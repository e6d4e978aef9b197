#include "bits.h"

#include "dive.h"

static uint8_t byte_at(struct bits *from, uint16_t index)
{
    if (index >= from->length) {
        from->bad = true;
        return 0;
    }
    return from->bytes != NULL ? from->bytes[index] : dive_port->load((uint16_t)(from->address + index));
}

uint32_t bits_take(struct bits *from, uint8_t width)
{
    uint32_t number = 0;
    while (width > 0U) {
        const uint8_t left = (uint8_t)(8U - (from->at & 7U));
        const uint8_t taken = width < left ? width : left;
        uint8_t byte = byte_at(from, (uint16_t)(from->at >> 3));
        byte = (uint8_t)(byte << (8U - left));
        number = number << taken | (uint8_t)(byte >> (8U - taken));
        from->at = (uint16_t)(from->at + taken);
        width = (uint8_t)(width - taken);
    }
    return number;
}

uint32_t bits_within(struct bits *from, uint8_t width, uint32_t low, uint32_t high)
{
    const uint32_t number = bits_take(from, width);
    if (number < low || number > high) {
        from->bad = true;
    }
    return number;
}

void bits_put(uint8_t *bytes, uint16_t *at, uint8_t width, uint32_t number)
{
    while (width > 0U) {
        width--;
        if ((number >> width & 1U) != 0U) {
            bytes[*at >> 3] = (uint8_t)(bytes[*at >> 3] | (0x80U >> (*at & 7U)));
        }
        (*at)++;
    }
}
