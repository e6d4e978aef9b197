#include "sums.h"

uint32_t sum32(uint32_t sum, uint8_t byte)
{
    sum ^= byte;
    for (uint8_t bit = 0; bit < 8U; bit++) {
        sum = (sum & 1U) != 0U ? (sum >> 1) ^ 0xEDB88320UL : sum >> 1;
    }
    return sum;
}

uint16_t sum16(uint16_t sum, uint8_t byte)
{
    sum = (uint16_t)(sum ^ ((uint16_t)byte << 8));
    for (uint8_t bit = 0; bit < 8U; bit++) {
        const uint16_t twice = (uint16_t)(sum << 1);
        sum = (sum & 0x8000U) != 0U ? (uint16_t)(twice ^ 0x1021U) : twice;
    }
    return sum;
}

uint8_t sum8(uint8_t sum, uint8_t byte)
{
    sum ^= byte;
    for (uint8_t bit = 0; bit < 8U; bit++) {
        const uint8_t twice = (uint8_t)(sum << 1);
        sum = (sum & 0x80U) != 0U ? (uint8_t)(twice ^ 0x07U) : twice;
    }
    return sum;
}
