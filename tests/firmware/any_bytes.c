/* any_bytes.c: see test_any_bytes.py. Arguments: a good memory image, rounds, and not_before of its dive. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "board.h"
#include "host.h"
#include "link_messages.h"
#include "state.h"

static uint32_t seed = 12345;

static uint32_t chance(uint32_t below)
{
    seed = seed * 1664525U + 1013904223U;
    return (seed >> 8) % below;
}

static void fail(const char *what, uint32_t round)
{
    printf("round %u: %s (elapsed %u, stage %u)\n", (unsigned)round, what, (unsigned)state.elapsed, state.stage);
    exit(1);
}

static bool release_is_on(void)
{
    for (uint8_t n = 0; n < BOARD_OUTPUTS; n++) {
        if (bit_set(BOARD_RELEASES, n) && host.level[n] != 0U) {
            return true;
        }
    }
    return false;
}

/* What must hold whatever the bytes were. */
static void check(uint32_t round)
{
    if (host.wrong != 0U) {
        fail("the port was asked for what it cannot do", round);
    }
    if (!release_is_on() || state.pulse_left != 0U) {
        return;
    }
    if (!state.armed) {
        fail("a release is on and nothing is armed", round);
    }
    if (state.elapsed < state.said.not_before) {
        fail("a release is on before not_before", round);
    }
    if (BOARD_WATER && !state.said.without_water && !state.wet_latched) {
        fail("a release is on and it was never wet", round);
    }
    if (state.stage == STAGE_OVER || state.hold != 0U) {
        fail("a release is on though it is over or held", round);
    }
}

static void noise(void)
{
    uint8_t bytes[80];
    const uint32_t count = chance(sizeof bytes);
    for (uint32_t n = 0; n < count; n++) {
        bytes[n] = (uint8_t)(chance(3) == 0U ? chance(4) : chance(256));
    }
    host.sent_count = 0;
    host_receive(bytes, count);
    if (chance(4) == 0U) {
        host_silence();
    }
}

/* A request with a right checksum and any payload. */
static void request(void)
{
    uint8_t body[LINK_FRAME_SIZE], line[LINK_FRAME_SIZE + 4U];
    const uint8_t payload = (uint8_t)chance(LINK_PAYLOAD_SIZE + 1U);
    uint8_t length = (uint8_t)(payload + 2U), to = 1, code_at = 0;
    body[0] = (uint8_t)chance(4);
    body[1] = (uint8_t)chance(20);
    for (uint8_t n = 2; n < length; n++) {
        body[n] = (uint8_t)(chance(2) == 0U ? chance(6) : chance(256));
    }
    uint16_t sum = 0xFFFF;
    for (uint8_t n = 0; n < length; n++) {
        sum = (uint16_t)(sum ^ body[n] << 8);
        for (int bit = 0; bit < 8; bit++) {
            sum = (sum & 0x8000U) != 0U ? (uint16_t)(sum << 1 ^ 0x1021) : (uint16_t)(sum << 1);
        }
    }
    body[length++] = (uint8_t)(sum >> 8);
    body[length++] = (uint8_t)sum;
    for (uint8_t n = 0; n < length; n++) {
        if (body[n] == 0U) {
            line[code_at] = (uint8_t)(to - code_at);
            code_at = to++;
        } else {
            line[to++] = body[n];
        }
    }
    line[code_at] = (uint8_t)(to - code_at);
    line[to++] = 0;
    host.sent_count = 0;
    host_receive(line, to);
}

static void fill(const uint8_t *good)
{
    memcpy(host.memory, good, HOST_MEMORY);
    switch (chance(4)) {
    case 0:
        for (uint32_t n = 0; n < HOST_MEMORY; n++) {
            host.memory[n] = (uint8_t)chance(256);
        }
        break;
    case 1: /* any journal */
        for (uint32_t n = 0; n < BOARD_JOURNAL_SIZE; n++) {
            host.memory[BOARD_JOURNAL + n] = (uint8_t)chance(256);
        }
        break;
    case 2: /* some bits of it turned */
        for (uint32_t n = chance(20); n > 0U; n--) {
            host.memory[chance(BOARD_EEPROM_SIZE + 64U)] ^= (uint8_t)(1U << chance(8));
        }
        break;
    default:
        break;
    }
}

/* A block with right checksums and any bytes in it: only its own rules are left to refuse it. */
static void any_block(void)
{
    const uint8_t length = (uint8_t)(32U + chance(BOARD_BLOCK_MOST - 31U));
    uint8_t *slot = host.memory + BOARD_SLOT_A;
    for (uint32_t n = chance(40); n > 0U; n--) {
        slot[1U + 1U + chance(length - 1U)] ^= (uint8_t)(1U << chance(8));
    }
    uint32_t sum = 0xFFFFFFFFU;
    const uint16_t covered = (uint16_t)(1U + slot[1]);
    for (uint16_t n = 0; n < covered && covered + 4U <= BOARD_SLOT_SIZE; n++) {
        sum ^= slot[n];
        for (int bit = 0; bit < 8; bit++) {
            sum = (sum & 1U) != 0U ? sum >> 1 ^ 0xEDB88320U : sum >> 1;
        }
    }
    if (covered + 4U <= BOARD_SLOT_SIZE) {
        sum = ~sum;
        for (uint8_t n = 0; n < 4U; n++) {
            slot[covered + n] = (uint8_t)(sum >> (8U * n));
        }
    }
}

static void live(uint32_t round)
{
    for (uint32_t step = 0; step < 60U; step++) {
        host.wet = (uint8_t)(chance(3) != 0U);
        host.lead = (uint8_t)(chance(8) == 0U);
        host.buttons = (uint8_t)(chance(20) == 0U ? chance(4) : 0U);
        host.pack_mv = (uint16_t)(chance(5) == 0U ? chance(65536) : 12000U);
        host.edge_count = 0;
        const uint32_t seconds = chance(10) == 0U ? chance(3600) : chance(90);
        for (uint32_t n = 0; n < seconds; n++) {
            host_seconds(1);
            check(round);
            host.edge_count = 0;
        }
        if (chance(3) == 0U) {
            noise();
        }
        if (chance(3) == 0U) {
            request();
        }
        if (chance(12) == 0U) {
            host_boot((uint8_t)chance(4), (uint16_t)step, (uint8_t)(chance(4) != 0U));
        }
        if (chance(30) == 0U) {
            host_clock_failed();
        }
        check(round);
    }
}

int main(int count, char **arguments)
{
    static uint8_t good[HOST_MEMORY];
    FILE *file = count == 4 ? fopen(arguments[1], "rb") : NULL;
    if (file == NULL || fread(good, 1, sizeof good, file) != sizeof good) {
        printf("usage: any_bytes IMAGE ROUNDS NOT_BEFORE\n");
        return 2;
    }
    fclose(file);
    const uint32_t rounds = (uint32_t)strtoul(arguments[2], NULL, 10);
    for (uint32_t round = 0; round < rounds; round++) {
        memset(&host, 0, sizeof host);
        fill(good);
        if (round % 3U == 0U) {
            any_block();
        }
        host_boot((uint8_t)chance(4), 0, 1);
        live(round);
    }
    printf("%u rounds\n", (unsigned)rounds);
    return 0;
}
