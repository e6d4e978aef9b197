#include "store.h"

#include <string.h>

#include "sums.h"

#define CODE_MASK ((1UL << LAYOUT_ESSENTIALS_CODE_BITS) - 1UL)
#define SUM32_RIGHT 0x2144DF1CUL /* what bytes with their CRC-32 behind them come to */
#define VOID 0xFFU

struct found store_found;
int16_t store_calibration;

bool store_fits(uint8_t length)
{
    return (uint8_t)(length - 1U) < BOARD_BLOCK_MOST;
}

PORT_APART uint16_t store_address(uint8_t slot)
{
    return slot == 0U ? BOARD_SLOT_A : BOARD_SLOT_B;
}

uint32_t store_sum(uint16_t address, uint16_t count)
{
    uint32_t sum = SUM32_START;
    for (; count > 0U; count--) {
        sum = sum32(sum, dive_port.load(address++));
    }
    return ~sum;
}

/* ---- slots ---- */

/* Whether it may count. */
static bool look_at(uint8_t number)
{
    PORT_SAVES;
    struct slot *slot = &store_found.slots[number];
    struct settings said;
    uint16_t address = store_address(number);
    slot->sequence = dive_port.load(address);
    const uint8_t length = dive_port.load((uint16_t)(address + 1U));
    slot->code = LINK_NO_CODE;
    if (!store_fits(length)
        || store_sum(address, (uint16_t)(1U + length + BOARD_SUM_BYTES)) != SUM32_RIGHT) {
        return false;
    }
    address++;
    bits_open(NULL, address, length);
    if (!block_open(&said) || said.board_type != BOARD_TYPE) {
        return false;
    }
    slot->code = store_sum(address, length) & CODE_MASK;
    return !state.armed || slot->code == state.code;
}

void store_look(void)
{
    store_found.counts = look_at(0) ? 0U : LINK_NO_SLOT;
    if (look_at(1)
        && (store_found.counts != 0U || (int8_t)(uint8_t)(store_found.slots[1].sequence - store_found.slots[0].sequence) > 0)) {
        store_found.counts = 1;
    }
}

void store_fly(void)
{
    store_look();
    state.has_block = false;
    if (store_found.counts != LINK_NO_SLOT) {
        state.code = store_found.slots[store_found.counts].code;
        store_load((uint16_t)(store_address(store_found.counts) + 1U), state.block, BOARD_BLOCK_MOST); /* and what is behind it */
        dive_read_block();
        state.has_block = block_open(&state.said);
    }
}

void store_written(uint8_t slot)
{
    if (look_at(slot)) {
        store_fly();
    }
}

bool store_put(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    dive_port.store(address, bytes, count);
    for (; count > 0U; count--) {
        if (dive_port.load(address++) != *bytes++) {
            return false;
        }
    }
    return true;
}

bool store_seal(uint8_t slot)
{
    const uint16_t address = store_address(slot);
    const uint16_t covered = (uint16_t)(1U + dive_port.load((uint16_t)(address + 1U)));
    const uint32_t sum = store_sum(address, covered);
    /* the low byte first, as every part and desk computer has it */
    return store_put((uint16_t)(address + covered), (const uint8_t *)&sum, BOARD_SUM_BYTES);
}

bool store_copy(void)
{
    const uint8_t to = store_found.counts ^ 1U;
    const uint16_t address = store_address(to);
    return store_put(address, &store_found.slots[store_found.counts].sequence, 1)
           && store_put((uint16_t)(address + 1U), state.block, state.block[0]) && store_seal(to);
}

void store_load(uint16_t address, uint8_t *bytes, uint8_t count)
{
    for (; count > 0U; count--) {
        *bytes++ = dive_port.load(address++);
    }
}

/* ---- the board's row: two records, each with its CRC-16 behind it, the high byte first ---- */

#define ESSENTIALS_BODY (LAYOUT_ESSENTIALS_BYTES - 2U)
#define PLATE (BOARD_ROW + LAYOUT_ESSENTIALS_BYTES)
#define PLATE_BODY (2U + LINK_GIVEN_NAME_SIZE)

static uint8_t record[LAYOUT_ESSENTIALS_BYTES];

static bool load_record(uint16_t address, uint8_t body)
{
    store_load(address, record, (uint8_t)(body + 2U));
    return sum16_of(record, (uint8_t)(body + 2U)) == 0U;
}

/* Void first, whole with the last byte that is written. */
static bool put_record(uint16_t address, uint8_t body)
{
    const uint8_t none = VOID;
    const uint16_t sum = sum16_of(record, body);
    record[body] = (uint8_t)(sum >> 8);
    record[body + 1U] = (uint8_t)sum;
    return store_put(address, &none, 1) && store_put((uint16_t)(address + 1U), record + 1, (uint8_t)(body + 1U))
           && store_put(address, record, 1);
}

/* Places counted from state.armed on, which stands before the code and the settings. */
#define ROW_LESS(member, name) FIELD_PLACED(member, LAYOUT_ESSENTIALS_##name##_BITS, FIELD_PLUS_ONE)
#define ROW(member, name) FIELD_PLACED(member, LAYOUT_ESSENTIALS_##name##_BITS, 0U)
#define PLACE(member) (uint8_t)(offsetof(struct state, member) - offsetof(struct state, armed))
#define FIELD_PLACED(member, bits, how)                                                                                \
    {(bits) | (how) | (sizeof(((struct state *)NULL)->member) > ((bits) + 7U) / 8U ? FIELD_ROOM : 0U), PLACE(member)}

static const PORT_CONST struct field fields[] = {
    ROW(said.version, LAYOUT_VERSION),
    ROW(armed, ARMED),
    {LAYOUT_ESSENTIALS_CODE_BITS - 16U, PLACE(code) + 2U},
    {16, PLACE(code)},
    ROW(said.not_before, NOT_BEFORE),
    ROW(said.at, AT),
    ROW(said.latest, LATEST),
    ROW(said.without_water, WITHOUT_WATER),
    ROW(said.primary.present, PRIMARY_PRESENT),
    ROW(said.primary.output, PRIMARY_OUTPUT),
    ROW(said.primary.fire_s, PRIMARY_FIRE),
    ROW_LESS(said.primary.tries, PRIMARY_TRIES),
    ROW(said.primary.pause_s, PRIMARY_PAUSE),
    ROW(said.keep, KEEP),
};
#define FIELDS (sizeof fields / sizeof fields[0])

/* The fields into record, from the most significant bit of each on. */
static void put_fields(void)
{
    uint8_t *to = record, room = 8;
    for (uint8_t n = 0; n < FIELDS; n++) {
        const uint8_t *place = (const uint8_t *)&state.armed + PORT_CONST_BYTE(&fields[n].place);
        const uint8_t how = PORT_CONST_BYTE(&fields[n].how), less = (how & FIELD_PLUS_ONE) != 0U ? 1U : 0U;
        for (uint8_t bit = how & FIELD_WIDTH; bit-- > 0U;) {
            *to = (uint8_t)(*to << 1 | ((uint8_t)(place[bit >> 3] - less) >> (bit & 7U) & 1));
            if (--room == 0U) {
                room = 8;
                to++;
            }
        }
    }
}

static bool load_plate(void)
{
    return load_record(PLATE, PLATE_BODY);
}

bool store_row(void)
{
    store_calibration = load_plate() ? (int16_t)(record[0] | (uint16_t)record[1] << 8) : 0;
    state.armed = false;
    if (!load_record(BOARD_ROW, ESSENTIALS_BODY)) {
        return false;
    }
    bits_open(record, 0, ESSENTIALS_BODY);
    bits_take_fields(fields, FIELDS, &state.armed);
    if (state.said.version == LAYOUT_VERSION && !bits.bad
        && (!state.said.primary.present || bit_set(BOARD_RELEASES, state.said.primary.output))) {
        return true; /* and nothing but a release is ever fired */
    }
    state.armed = false;
    return false;
}

bool store_put_essentials(bool armed)
{
    state.armed = armed;
    put_fields();
    const bool done = put_record(BOARD_ROW, ESSENTIALS_BODY);
    state.armed = armed && done;
    return done;
}

bool store_rename(const uint8_t *name)
{
    if (!load_plate()) {
        record[0] = record[1] = 0; /* no calibration */
    }
    memcpy(record + 2, name, LINK_GIVEN_NAME_SIZE);
    return put_record(PLATE, PLATE_BODY);
}
