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

#define FINE_STEP_S ((second_t)2)
#define COARSE_STEP_S ((second_t)62)
#define FINE_STEPS ((second_t)(1L << (TIME_BITS - 1U)))
#define FINE_END_S (FINE_STEPS * FINE_STEP_S)
#define INTERVAL_S ((second_t)60)
#define STEPS_MOST ((second_t)((1L << TIME_BITS) - 2L)) /* one more is what erased bytes say */

#define CELL_LEAST_MV 2000U
#define CELL_STEP_MV 80U
#define CELL_STEPS 31U

/* Where the last entry stands, and its sequence. */
static uint8_t last_place, last_sequence;

struct entry {
    uint8_t sequence, stage;
    bool wet, reduced, clock_fault;
    uint8_t tries, resets, extra;
    second_t steps;
};

static const PORT_CONST struct field fields[] = {
    FIELD(entry, sequence, SEQUENCE_BITS), FIELD(entry, stage, STAGE_BITS),   FIELD(entry, steps, TIME_BITS),
    FIELD(entry, wet, 1),                  FIELD(entry, reduced, 1),          FIELD(entry, clock_fault, 1),
    FIELD(entry, tries, TRIES_BITS),       FIELD(entry, resets, RESETS_BITS), FIELD(entry, extra, EXTRA_BITS),
};
#define FIELDS (sizeof fields / sizeof fields[0])

static uint8_t sum_of(const uint8_t *bytes, uint32_t code)
{
    uint8_t sum = 0;
    for (uint8_t n = 0; n < 4U; n++) {
        sum = sum8(sum, (uint8_t)code);
        code >>= 8;
    }
    for (uint8_t n = 0; n < ENTRY_BYTES - 1U; n++) {
        sum = sum8(sum, bytes[n]);
    }
    return sum;
}

static uint16_t address_of(uint8_t place)
{
    return (uint16_t)(BOARD_JOURNAL + place * ENTRY_BYTES);
}

static second_t elapsed_of(second_t steps)
{
    return steps < FINE_STEPS ? steps * FINE_STEP_S : FINE_END_S + (steps - FINE_STEPS) * COARSE_STEP_S;
}

static second_t steps_of(second_t elapsed, bool ahead)
{
    const bool fine = elapsed < FINE_END_S;
    const second_t step = fine ? FINE_STEP_S : COARSE_STEP_S;
    const second_t since = fine ? elapsed : elapsed - FINE_END_S;
    const second_t steps = (since + (ahead ? step - 1 : 0)) / step + (fine ? 0 : FINE_STEPS);
    return steps < STEPS_MOST ? steps : STEPS_MOST;
}

/* The newest entry of one kind (odd or even sequence; 2: either): its place, ENTRIES where there is none. An entry further
   on in the ring is newer where its sequence is ahead by as many as its place; the oldest, after a whole turn, is not. */
static uint8_t newest(uint32_t code, uint8_t kind, struct entry *found)
{
    uint8_t best = ENTRIES;
    for (uint8_t place = 0; place < ENTRIES; place++) {
        uint8_t bytes[ENTRY_BYTES];
        struct entry entry;
        store_load(address_of(place), bytes, ENTRY_BYTES);
        bits_open(bytes, 0, ENTRY_BYTES);
        bits_take_fields(fields, FIELDS, &entry);
        if (entry.steps > STEPS_MOST || bytes[ENTRY_BYTES - 1U] != sum_of(bytes, code) || (kind < 2U && (entry.sequence & 1U) != kind)) {
            continue;
        }
        const uint8_t ahead = (uint8_t)((unsigned)(entry.sequence - found->sequence) & 7U);
        if (best == ENTRIES || ahead == (uint8_t)(place - best)) {
            best = place;
            *found = entry;
        }
    }
    return best;
}

bool journal_read(uint32_t code)
{
    struct entry entry;
    entry.sequence = 0;
    last_place = newest(code, 2, &entry);
    if (last_place == ENTRIES) {
        return false;
    }
    last_sequence = entry.sequence;
    state.stage = entry.stage;
    state.elapsed = elapsed_of(entry.steps);
    state.wet_latched = entry.wet;
    state.reduced = entry.reduced;
    state.clock_fault = entry.clock_fault;
    state.resets_hour = entry.resets;
    state.primary.tries = entry.tries < 8U ? entry.tries : 8U;
    state.backup.tries = (uint8_t)(entry.tries - state.primary.tries);
    if (newest(code, 0, &entry) < ENTRIES) {
        state.choice = entry.extra;
    }
    if (newest(code, 1, &entry) < ENTRIES && entry.extra < CELL_STEPS) {
        state.lowest_mv = (uint16_t)((CELL_LEAST_MV + CELL_STEP_MV * entry.extra) * state.said.series);
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
    uint8_t bytes[ENTRY_BYTES];
    struct entry entry;
    memset(bytes, 0, sizeof bytes);
    last_sequence = (uint8_t)((last_sequence + 1U) & 7U);
    last_place = (uint8_t)(last_place + 1U < ENTRIES ? last_place + 1U : 0U);
    entry.sequence = last_sequence;
    entry.stage = state.stage;
    entry.steps = steps_of(state.elapsed, ahead);
    entry.wet = state.wet_latched;
    entry.reduced = state.reduced;
    entry.clock_fault = state.clock_fault;
    entry.tries = state.primary.tries < 8U ? state.primary.tries : 8U;
    if (state.backup.tries != 0U) {
        entry.tries = (uint8_t)(8U + (state.backup.tries < 7U ? state.backup.tries : 7U));
    }
    entry.resets = state.resets_hour < 15U ? state.resets_hour : 15U;
    entry.extra = (last_sequence & 1U) != 0U ? lowest_steps() : state.choice;
    bits_put_fields(fields, FIELDS, &entry, bytes);
    bytes[ENTRY_BYTES - 1U] = sum_of(bytes, state.code);
    dive_port.store(address_of(last_place), bytes, ENTRY_BYTES);
}

void journal_put_all(void)
{
    journal_put(false);
    journal_put(false);
}

bool journal_due(void)
{
    if ((state.elapsed & 1) != 0) {
        return false; /* all intervals are even, and a division takes 600 cycles */
    }
    if (state.resets_hour >= STORM_RESETS && state.elapsed % (second_t)STORM_INTERVAL_S == 0) {
        return true;
    }
    return state.elapsed < FINE_END_S ? state.elapsed % INTERVAL_S == 0
                                      : (state.elapsed - FINE_END_S) % COARSE_STEP_S == 0;
}

/* Four bits that tell a number of minutes from erased or torn bytes. */
static uint8_t check_of(uint16_t minutes)
{
    const uint8_t sum = sum8(sum8(0x5AU, (uint8_t)minutes), (uint8_t)(minutes >> 8));
    return (uint8_t)((sum ^ (sum >> 4)) & 15U);
}

second_t journal_early(void)
{
    const uint16_t low = dive_port.load(EARLY_AT);
    const uint16_t both = (uint16_t)(low | (uint16_t)(dive_port.load(EARLY_AT + 1U) << 8));
    const uint16_t minutes = both & EARLY_MOST;
    return check_of(minutes) == (uint8_t)(both >> EARLY_BITS) ? (second_t)minutes * 60 : 0;
}

void journal_put_early(second_t seconds)
{
    const second_t minutes = (seconds + 59) / 60;
    const uint16_t kept = minutes < (second_t)EARLY_MOST ? (uint16_t)minutes : (uint16_t)EARLY_MOST;
    const uint16_t both = (uint16_t)(kept | (uint16_t)(check_of(kept) << EARLY_BITS));
    const uint8_t bytes[2] = {(uint8_t)both, (uint8_t)(both >> 8)};
    dive_port.store(EARLY_AT, bytes, 2);
}

void journal_clear_early(void)
{
    const uint8_t bytes[2] = {0xFF, 0xFF};
    dive_port.store(EARLY_AT, bytes, 2);
}
