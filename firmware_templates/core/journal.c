#include "journal.h"

#include <string.h>

#include "store.h"
#include "sums.h"

#define ENTRY_BYTES 6U
#define ENTRIES 5U /* the sequence tells five apart, the newest from the oldest too, on every part */
#define EARLY_AT (BOARD_JOURNAL + BOARD_JOURNAL_SIZE - 2U)
#define EARLY_BITS 12U
#define EARLY_MOST ((1U << EARLY_BITS) - 1U)

#define SEQUENCE_BITS 3U
#define STAGE_BITS 2U
#define TIME_BITS 19U
#define TRIES_BITS 4U
#define RESETS_BITS 4U
#define EXTRA_BITS 5U

#define FINE_STEP_S 2UL
#define COARSE_STEP_S 62UL
#define FINE_STEPS (1UL << (TIME_BITS - 1U))
#define FINE_END_S (FINE_STEPS * FINE_STEP_S)
#define INTERVAL_S 60UL

#define CELL_LEAST_MV 2000U
#define CELL_STEP_MV 80U
#define CELL_STEPS 31U

/* Where the last entry stands, and its sequence. */
static uint8_t last_place, last_sequence;

static uint8_t sum_of(const uint8_t *entry, uint32_t code)
{
    uint8_t sum = 0;
    for (uint8_t n = 0; n < 4U; n++) {
        sum = sum8(sum, (uint8_t)(code >> (8U * n)));
    }
    for (uint8_t n = 0; n < ENTRY_BYTES - 1U; n++) {
        sum = sum8(sum, entry[n]);
    }
    return sum;
}

static bool load(uint8_t place, uint32_t code, uint8_t *entry)
{
    for (uint8_t n = 0; n < ENTRY_BYTES; n++) {
        entry[n] = dive_port->load((uint16_t)(BOARD_JOURNAL + place * ENTRY_BYTES + n));
    }
    return entry[ENTRY_BYTES - 1U] == sum_of(entry, code);
}

static uint8_t sequence_of(const uint8_t *entry)
{
    return (uint8_t)(entry[0] >> (8U - SEQUENCE_BITS));
}

static uint32_t elapsed_of(uint32_t steps)
{
    return steps < FINE_STEPS ? steps * FINE_STEP_S : FINE_END_S + (steps - FINE_STEPS) * COARSE_STEP_S;
}

static uint32_t steps_of(uint32_t elapsed, bool ahead)
{
    const bool fine = elapsed < FINE_END_S;
    const uint32_t step = fine ? (uint32_t)FINE_STEP_S : (uint32_t)COARSE_STEP_S;
    const uint32_t since = fine ? elapsed : elapsed - (uint32_t)FINE_END_S;
    const uint32_t steps = (since + (ahead ? step - 1U : 0U)) / step + (fine ? 0U : (uint32_t)FINE_STEPS);
    const uint32_t most = (1UL << TIME_BITS) - 1UL;
    return steps < most ? steps : most;
}

/* The newest entry of one kind (odd or even sequence; 2: either): its place, ENTRIES where there is none. The ring is
   shorter than twice the sequence's range; an entry whose successor is not there is the newest. */
static uint8_t newest(uint32_t code, uint8_t kind, uint8_t *entry)
{
    uint8_t best = ENTRIES;
    uint8_t best_sequence = 0;
    for (uint8_t place = 0; place < ENTRIES; place++) {
        uint8_t read[ENTRY_BYTES];
        if (!load(place, code, read) || (kind < 2U && (sequence_of(read) & 1U) != kind)) {
            continue;
        }
        const uint8_t ahead = (uint8_t)((unsigned)(sequence_of(read) - best_sequence) & 7U);
        if (best == ENTRIES || (ahead > 0U && ahead <= 4U)) {
            best = place;
            best_sequence = sequence_of(read);
            memcpy(entry, read, ENTRY_BYTES);
        }
    }
    return best;
}

static uint8_t extra_of(const uint8_t *entry)
{
    struct bits from = {entry, 0, ENTRY_BYTES, (ENTRY_BYTES - 1U) * 8U - EXTRA_BITS, false};
    return (uint8_t)bits_take(&from, EXTRA_BITS);
}

bool journal_read(uint32_t code)
{
    uint8_t entry[ENTRY_BYTES];
    const uint8_t place = newest(code, 2, entry);
    if (place == ENTRIES) {
        return false;
    }
    last_place = place;
    last_sequence = sequence_of(entry);
    struct bits from = {entry, 0, ENTRY_BYTES, SEQUENCE_BITS, false};
    state.stage = (uint8_t)bits_take(&from, STAGE_BITS);
    state.elapsed = elapsed_of(bits_take(&from, TIME_BITS));
    state.wet_latched = bits_take(&from, 1) != 0U;
    state.reduced = bits_take(&from, 1) != 0U;
    state.clock_fault = bits_take(&from, 1) != 0U;
    const uint8_t tries = (uint8_t)bits_take(&from, TRIES_BITS);
    state.primary.tries = tries < 8U ? tries : 8U;
    state.backup.tries = tries < 8U ? 0U : (uint8_t)(tries - 8U);
    state.resets_hour = (uint8_t)bits_take(&from, RESETS_BITS);
    if (newest(code, 0, entry) < ENTRIES) {
        state.choice = extra_of(entry);
    }
    if (newest(code, 1, entry) < ENTRIES && extra_of(entry) < CELL_STEPS) {
        state.lowest_mv = (uint16_t)((CELL_LEAST_MV + CELL_STEP_MV * extra_of(entry)) * state.said.series);
    }
    return true;
}

static uint8_t lowest_steps(void)
{
    const uint16_t cell = state.said.series != 0U ? state.lowest_mv / state.said.series : state.lowest_mv;
    if (cell < CELL_LEAST_MV) {
        return 0;
    }
    const uint16_t steps = (uint16_t)((cell - CELL_LEAST_MV) / CELL_STEP_MV);
    return steps < CELL_STEPS ? (uint8_t)steps : (uint8_t)CELL_STEPS;
}

void journal_put(bool ahead)
{
    uint8_t entry[ENTRY_BYTES];
    uint16_t at = 0;
    memset(entry, 0, sizeof entry);
    last_sequence = (uint8_t)((last_sequence + 1U) & 7U);
    last_place = (uint8_t)(last_place + 1U < ENTRIES ? last_place + 1U : 0U);
    const uint8_t tries = state.backup.begun || state.backup.tries != 0U
                              ? (uint8_t)(8U + (state.backup.tries < 7U ? state.backup.tries : 7U))
                              : (state.primary.tries < 8U ? state.primary.tries : 8U);
    bits_put(entry, &at, SEQUENCE_BITS, last_sequence);
    bits_put(entry, &at, STAGE_BITS, state.stage);
    bits_put(entry, &at, TIME_BITS, steps_of(state.elapsed, ahead));
    bits_put(entry, &at, 1, state.wet_latched ? 1U : 0U);
    bits_put(entry, &at, 1, state.reduced ? 1U : 0U);
    bits_put(entry, &at, 1, state.clock_fault ? 1U : 0U);
    bits_put(entry, &at, TRIES_BITS, tries);
    bits_put(entry, &at, RESETS_BITS, state.resets_hour < 15U ? state.resets_hour : 15U);
    bits_put(entry, &at, EXTRA_BITS, (last_sequence & 1U) != 0U ? lowest_steps() : state.choice);
    entry[ENTRY_BYTES - 1U] = sum_of(entry, state.code);
    dive_port->store((uint16_t)(BOARD_JOURNAL + last_place * ENTRY_BYTES), entry, ENTRY_BYTES);
}

void journal_put_all(void)
{
    journal_put(false);
    journal_put(false);
}

bool journal_due(void)
{
    if (state.resets_hour >= STORM_RESETS && state.elapsed % STORM_INTERVAL_S == 0U) {
        return true;
    }
    return state.elapsed < FINE_END_S ? state.elapsed % INTERVAL_S == 0U
                                      : (state.elapsed - FINE_END_S) % COARSE_STEP_S == 0U;
}

/* Four bits that tell a number of minutes from erased or torn bytes. */
static uint8_t check_of(uint16_t minutes)
{
    const uint8_t sum = sum8(sum8(0x5AU, (uint8_t)minutes), (uint8_t)(minutes >> 8));
    return (uint8_t)((sum ^ (sum >> 4)) & 15U);
}

uint32_t journal_early(void)
{
    const uint16_t low = dive_port->load(EARLY_AT);
    const uint16_t both = (uint16_t)(low | (uint16_t)(dive_port->load(EARLY_AT + 1U) << 8));
    const uint16_t minutes = both & EARLY_MOST;
    return check_of(minutes) == (uint8_t)(both >> EARLY_BITS) ? minutes * 60UL : 0U;
}

void journal_put_early(uint32_t seconds)
{
    const uint32_t minutes = (seconds + 59U) / 60U;
    const uint16_t kept = minutes < EARLY_MOST ? (uint16_t)minutes : (uint16_t)EARLY_MOST;
    const uint16_t both = (uint16_t)(kept | (uint16_t)(check_of(kept) << EARLY_BITS));
    const uint8_t bytes[2] = {(uint8_t)both, (uint8_t)(both >> 8)};
    dive_port->store(EARLY_AT, bytes, 2);
}

void journal_clear_early(void)
{
    const uint8_t bytes[2] = {0xFF, 0xFF};
    dive_port->store(EARLY_AT, bytes, 2);
}
