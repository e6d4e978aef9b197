#include "sums.h"

uint32_t sum32(uint32_t sum, uint8_t byte)
{
    sum ^= byte;
    for (uint8_t bit = 0; bit < 8U; bit++) {
        const uint8_t low = (uint8_t)sum;
        sum >>= 1;
        if ((low & 1U) != 0U) {
            sum ^= 0xEDB88320UL;
        }
    }
    return sum;
}

uint16_t sum16_of(const uint8_t *bytes, uint8_t count)
{
    uint16_t sum = 0xFFFFU;
    for (; count > 0U; count--) {
        sum ^= (uint16_t)((uint16_t)*bytes++ << 8);
        for (uint8_t bit = 0; bit < 8U; bit++) {
            const uint8_t high = (uint8_t)(sum >> 8);
            sum = (uint16_t)(sum << 1);
            if ((high & 0x80U) != 0U) {
                sum ^= 0x1021U;
            }
        }
    }
    return sum;
}

uint8_t sum8_of(uint8_t sum, const uint8_t *bytes, uint8_t count)
{
    for (; count > 0U; count--) {
        sum ^= *bytes++;
        for (uint8_t bit = 0; bit < 8U; bit++) {
            const uint8_t high = sum;
            sum = (uint8_t)(sum << 1);
            if ((high & 0x80U) != 0U) {
                sum ^= 0x07U;
            }
        }
    }
    return sum;
}
