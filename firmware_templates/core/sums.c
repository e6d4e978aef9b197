#include "sums.h"

uint32_t sum32(uint32_t sum, uint8_t byte)
{
    sum ^= byte;
    for (uint8_t bit = 0; bit < 8U; bit++) {
        sum = (sum & 1U) != 0U ? (sum >> 1) ^ 0xEDB88320UL : sum >> 1;
    }
    return sum;
}

/* A byte at once: x^16 + x^12 + x^5 + 1 takes the high byte back in at bits 0, 5 and 12, and its own upper half once more. */
uint16_t sum16_of(const uint8_t *bytes, uint8_t count)
{
    uint16_t sum = 0xFFFFU;
    for (; count > 0U; count--) {
        uint8_t high = (uint8_t)(sum >> 8) ^ *bytes++;
        high ^= (uint8_t)(high >> 4);
        sum = (uint16_t)((sum << 8) ^ ((uint16_t)high << 12) ^ ((uint16_t)high << 5) ^ high);
    }
    return sum;
}

uint8_t sum8_of(uint8_t sum, const uint8_t *bytes, uint8_t count)
{
    for (; count > 0U; count--) {
        sum ^= *bytes++;
        for (uint8_t bit = 0; bit < 8U; bit++) {
            const uint8_t twice = (uint8_t)(sum << 1);
            sum = (sum & 0x80U) != 0U ? (uint8_t)(twice ^ 0x07U) : twice;
        }
    }
    return sum;
}
