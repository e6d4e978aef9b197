#include "journal.h"

#include "history.h"
#include "store.h"
#include "sums.h"

#define ENTRY_BYTES 6U
#define ENTRIES 5U   /* the sequence tells five apart, the newest from the oldest too, on every part */
#define SEQUENCES 8U
#define EARLY_AT (BOARD_JOURNAL + BOARD_JOURNAL_SIZE - 2U)
#define EARLY_BITS 12U
#define EARLY_MOST ((1U << EARLY_BITS) - 1U)
#define EARLY_START 0xA5U /* with which neither erased bytes nor zeros fit */

/* Time is counted in pairs of seconds, from the last fine one on in fifteens of them. */
#define INTERVAL_S 60U
#define FINE_STEPS ((span_t)262140UL)
#define PAIRS_A_STEP 15U
#define STEPS_END ((span_t)512000UL) /* past every dive; erased bytes say more */
#define STEPS_BETWEEN 32U             /* most from one entry to the next */

#define CELL_LEAST_STEPS 25U /* 2000 mV */
#define CELL_STEP_MV 80U
#define EXTRA_MOST 31U
#define FIRST_TRIES 8U

/* The last entry that was written or believed: its bytes, its place in the ring. When the next is due. */
static union {
    uint8_t bytes[ENTRY_BYTES];
    uint16_t pairs[ENTRY_BYTES / 2U];
} room;
#define entry room.bytes
#define early room.pairs[1] /* what stands behind the ring, while no entry needs the place */
static uint8_t last;
static second_t due;

/* Of the entry with the first so many bytes; 0 over all of a right one. The code's low byte comes first, as in memory. */
static uint8_t sum_of(uint8_t count)
{
    return sum8_of(sum8_of(0, (const uint8_t *)&state.code, 4), entry, count);
}

static uint16_t next_address(void)
{
    if (++last >= ENTRIES) {
        last = 0;
    }
    return (uint16_t)(BOARD_JOURNAL + last * ENTRY_BYTES);
}

static span_t steps_said(void)
{
    return (span_t)(entry[0] & 7U) << 16 | (span_t)((uint16_t)entry[1] << 8 | entry[2]);
}

static void take(span_t steps)
{
    struct state *const here = state_here();
    if (steps > FINE_STEPS) {
        steps = FINE_STEPS + (steps - FINE_STEPS) * PAIRS_A_STEP;
    }
    here->elapsed = (second_t)(steps * 2U);
    here->stage = entry[0] >> 3 & 3U;
    here->wet_latched = (entry[3] & 0x80U) != 0U;
    here->reduced = (entry[3] & 0x40U) != 0U;
    here->clock_fault = (entry[3] & 0x20U) != 0U;
    uint8_t tries = entry[3] >> 1 & 15U;
    here->backup.tries = 0;
    if (tries > FIRST_TRIES) {
        here->backup.tries = (uint8_t)(tries - FIRST_TRIES);
        tries = FIRST_TRIES;
    }
    here->primary.tries = tries;
    here->resets_hour = (uint8_t)((unsigned)(entry[3] & 1U) << 3 | entry[4] >> 5);
    const uint8_t extra = entry[4] & EXTRA_MOST;
    if ((entry[0] & 0x20U) == 0U) {
        here->choice = extra;
    } else {
        here->lowest_mv = UINT16_MAX;
        if (extra < EXTRA_MOST) {
            here->lowest_mv = (uint16_t)((CELL_LEAST_STEPS + extra) * CELL_STEP_MV * state.said.series);
        }
    }
}

/* Twice around the ring, so that the way leads over its end: an entry that does not follow what was believed so far
   replaces it only where that stood alone. */
bool journal_read(void)
{
    uint8_t gap = SEQUENCES, alike = 0, sequence = 0, place = 0;
    span_t before = 0;
    due = 0;
    for (uint8_t turn = 2U * ENTRIES; turn > 0U; turn--) {
        store_load(next_address(), entry, ENTRY_BYTES);
        gap++;
        const span_t steps = steps_said();
        if (steps >= STEPS_END || sum_of(ENTRY_BYTES) != 0U) {
            continue;
        }
        const uint8_t ahead = (uint8_t)((entry[0] >> 5) - sequence) % SEQUENCES;
        const bool follows = ahead == gap && (steps == 0U || (steps >= before && steps - before <= (span_t)(gap * STEPS_BETWEEN)));
        if (alike > 1U && !follows) {
            continue;
        }
        alike = follows ? 2U : 1U;
        gap = 0;
        sequence = entry[0] >> 5;
        before = steps;
        place = last;
        take(steps);
    }
    last = place;
    entry[0] = (uint8_t)(sequence << 5);
    return alike != 0U;
}

static void set_due(void)
{
    const uint8_t interval = state.resets_hour >= STORM_RESETS ? STORM_INTERVAL_S : INTERVAL_S;
    due = (second_t)((span_t)state.elapsed - (span_t)state.elapsed % interval + interval);
}

void journal_put(bool ahead)
{
    const struct state *const here = state_here();
    span_t steps = (span_t)(here->elapsed + (ahead ? 1 : 0)) >> 1;
    if (steps > FINE_STEPS) {
        steps = FINE_STEPS + (steps - FINE_STEPS + (ahead ? PAIRS_A_STEP - 1U : 0U)) / PAIRS_A_STEP;
    }
    uint8_t tries = here->primary.tries;
    if (here->backup.tries != 0U) {
        tries = (uint8_t)(FIRST_TRIES + (here->backup.tries < 7U ? here->backup.tries : 7U));
    }
    const uint8_t resets = here->resets_hour;
    entry[0] = (uint8_t)(((entry[0] & 0xE0U) + 0x20U) | (unsigned)here->stage << 3 | (uint8_t)(steps >> 16));
    entry[1] = (uint8_t)(steps >> 8);
    entry[2] = (uint8_t)steps;
    const uint8_t flags = (uint8_t)((unsigned)here->wet_latched << 2 | (unsigned)here->reduced << 1 | here->clock_fault);
    entry[3] = (uint8_t)(flags << 5 | tries << 1 | resets >> 3);
    entry[4] = (uint8_t)(resets << 5 | ((entry[0] & 0x20U) != 0U ? history_code(here->lowest_mv, CELL_STEP_MV, EXTRA_MOST) : here->choice));
    entry[5] = sum_of(ENTRY_BYTES - 1U);
    dive_port.store(next_address(), entry, ENTRY_BYTES);
    set_due();
}

void journal_put_all(void)
{
    journal_put(false);
    journal_put(false);
}

bool journal_due(void)
{
    return dive_passed(&due);
}

/* Both halves of the CRC-8 must be alike: any one bit of the two bytes makes them differ. */
static bool early_fits(void)
{
    const uint8_t sum = sum8_of(EARLY_START, (const uint8_t *)&early, 2);
    return ((sum ^ sum >> 4) & 15U) == 0U;
}

second_t journal_early(void)
{
    store_load(EARLY_AT, (uint8_t *)&early, 2);
    return early_fits() ? (second_t)(early & EARLY_MOST) * 60 : 0;
}

void journal_put_early(second_t seconds)
{
    const span_t minutes = (span_t)(seconds + 59) / 60U;
    early = minutes < EARLY_MOST ? (uint16_t)minutes : (uint16_t)EARLY_MOST;
    while (!early_fits()) {
        early = (uint16_t)(early + EARLY_MOST + 1U);
    }
    dive_port.store(EARLY_AT, (const uint8_t *)&early, 2);
}
