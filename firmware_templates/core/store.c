#include "store.h"

#include <string.h>

#include "sums.h"

#define CODE_MASK ((1UL << LAYOUT_ESSENTIALS_CODE_BITS) - 1UL)
#define CALIBRATION_AT LAYOUT_ESSENTIALS_BYTES
#define VOID 0xFFU

bool store_fits(uint8_t length)
{
    return (uint16_t)(length - 1U) < BOARD_BLOCK_MOST;
}

uint16_t store_address(uint8_t slot)
{
    return slot == 0U ? BOARD_SLOT_A : BOARD_SLOT_B;
}

uint32_t store_sum(uint16_t address, uint16_t count)
{
    uint32_t sum = SUM32_START;
    for (uint16_t n = 0; n < count; n++) {
        sum = sum32(sum, dive_port.load((uint16_t)(address + n)));
    }
    return ~sum;
}

static bool sum_is_there(uint16_t address, uint32_t sum)
{
    for (uint8_t n = 0; n < BOARD_SUM_BYTES; n++) {
        if (dive_port.load((uint16_t)(address + n)) != (uint8_t)(sum >> (8U * n))) {
            return false;
        }
    }
    return true;
}

void store_slot(uint8_t number, struct slot *slot)
{
    const uint16_t address = store_address(number);
    slot->valid = false;
    slot->sequence = dive_port.load(address);
    slot->length = dive_port.load((uint16_t)(address + 1U));
    slot->code = LINK_NO_CODE;
    if (!store_fits(slot->length)) {
        return;
    }
    const uint16_t covered = (uint16_t)(1U + slot->length);
    if (!sum_is_there((uint16_t)(address + covered), store_sum(address, covered))) {
        return;
    }
    struct settings said;
    bits_open(NULL, (uint16_t)(address + 1U), slot->length);
    if (block_open(&said) && said.board_type == BOARD_TYPE) {
        slot->valid = true;
        slot->code = store_sum((uint16_t)(address + 1U), slot->length) & CODE_MASK;
    }
}

uint8_t store_both(struct slot *slots, bool armed, uint32_t code)
{
    for (uint8_t n = 0; n < 2U; n++) {
        store_slot(n, &slots[n]);
        if (armed && slots[n].code != code) {
            slots[n].valid = false;
        }
    }
    if (slots[0].valid && slots[1].valid) {
        const uint8_t ahead = (uint8_t)(slots[1].sequence - slots[0].sequence);
        return ahead > 0U && ahead < 128U ? 1U : 0U;
    }
    return slots[0].valid ? 0U : slots[1].valid ? 1U : LINK_NO_SLOT;
}

uint8_t store_active(bool armed, uint32_t code)
{
    struct slot slots[2];
    return store_both(slots, armed, code);
}

bool store_fly(uint8_t number)
{
    const uint16_t address = (uint16_t)(store_address(number) + 1U);
    const uint8_t length = dive_port.load(address);
    if (!store_fits(length)) {
        return false;
    }
    store_load(address, state.block, length);
    dive_read_block();
    return block_open(&state.said);
}

bool store_put(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    dive_port.store(address, bytes, count);
    for (uint8_t n = 0; n < count; n++) {
        if (dive_port.load((uint16_t)(address + n)) != bytes[n]) {
            return false;
        }
    }
    return true;
}

bool store_copy(uint8_t from, uint8_t length)
{
    const uint16_t source = store_address(from);
    const uint16_t target = store_address((uint8_t)(1U - from));
    const uint16_t whole = (uint16_t)(1U + length + BOARD_SUM_BYTES);
    uint8_t piece[LINK_CHUNK];
    for (uint16_t done = 0; done < whole;) {
        const uint16_t left = (uint16_t)(whole - done);
        const uint8_t count = left < LINK_CHUNK ? (uint8_t)left : (uint8_t)LINK_CHUNK;
        store_load((uint16_t)(source + done), piece, count);
        if (!store_put((uint16_t)(target + done), piece, count)) {
            return false;
        }
        done = (uint16_t)(done + count);
    }
    for (uint16_t n = 0; n < whole; n++) {
        if (dive_port.load((uint16_t)(source + n)) != dive_port.load((uint16_t)(target + n))) {
            return false;
        }
    }
    return true;
}

#define ROW(member, name) FIELD(essentials, member, LAYOUT_ESSENTIALS_##name##_BITS)

static const PORT_CONST struct field fields[] = {
    ROW(version, LAYOUT_VERSION),
    ROW(armed, ARMED),
    FIELD_LONG(essentials, code, LAYOUT_ESSENTIALS_CODE_BITS),
    ROW(not_before, NOT_BEFORE),
    ROW(at, AT),
    ROW(latest, LATEST),
    ROW(without_water, WITHOUT_WATER),
    ROW(primary.present, PRIMARY_PRESENT),
    ROW(primary.output, PRIMARY_OUTPUT),
    ROW(primary.fire_s, PRIMARY_FIRE),
    FIELD_LESS(essentials, primary.tries, LAYOUT_ESSENTIALS_PRIMARY_TRIES_BITS),
    ROW(primary.pause_s, PRIMARY_PAUSE),
    ROW(keep, KEEP),
};
#define FIELDS (sizeof fields / sizeof fields[0])
#define BODY_BYTES (LAYOUT_ESSENTIALS_BYTES - 2U)

static uint16_t sum_of(const uint8_t *bytes, uint8_t count)
{
    uint16_t sum = SUM16_START;
    for (; count > 0U; count--) {
        sum = sum16(sum, *bytes++);
    }
    return sum;
}

void store_load(uint16_t address, uint8_t *bytes, uint8_t count)
{
    for (; count > 0U; count--) {
        *bytes++ = dive_port.load(address++);
    }
}

void store_essentials(struct essentials *essentials)
{
    uint8_t record[LAYOUT_ESSENTIALS_BYTES];
    store_load(BOARD_ROW, record, sizeof record);
    bits_open(record, 0, BODY_BYTES);
    bits_take_fields(fields, FIELDS, essentials);
    const uint16_t sum = sum_of(record, BODY_BYTES);
    essentials->valid = record[BODY_BYTES] == (uint8_t)sum && record[BODY_BYTES + 1U] == (uint8_t)(sum >> 8)
                        && essentials->version == LAYOUT_VERSION && !bits.bad
                        && (!essentials->primary.present
                            || bit_set(BOARD_RELEASES, essentials->primary.output)); /* nothing else is ever fired */
}

static bool put_record(const uint8_t *record)
{
    const uint8_t none = VOID;
    return store_put(BOARD_ROW, &none, 1)
           && store_put(BOARD_ROW + 1U, record + 1, LAYOUT_ESSENTIALS_BYTES - 1U) && store_put(BOARD_ROW, record, 1);
}

bool store_put_essentials(bool armed, uint32_t code)
{
    uint8_t record[LAYOUT_ESSENTIALS_BYTES];
    struct essentials essentials;
    memset(record, 0, sizeof record);
    essentials.version = LAYOUT_VERSION;
    essentials.armed = armed;
    essentials.code = code;
    essentials.not_before = state.said.not_before;
    essentials.at = state.said.at - state.said.shift;
    essentials.latest = state.said.latest;
    essentials.without_water = state.said.without_water;
    essentials.primary = state.said.primary;
    essentials.keep = state.said.keep;
    bits_put_fields(fields, FIELDS, &essentials, record);
    const uint16_t sum = sum_of(record, BODY_BYTES);
    record[BODY_BYTES] = (uint8_t)sum;
    record[BODY_BYTES + 1U] = (uint8_t)(sum >> 8);
    return put_record(record);
}

bool store_void_essentials(void)
{
    const uint8_t none = VOID;
    return store_put(BOARD_ROW, &none, 1);
}

#define PLATE_BODY (2U + LINK_GIVEN_NAME_SIZE)

static bool load_plate(uint8_t *plate)
{
    store_load(BOARD_ROW + CALIBRATION_AT, plate, PLATE_BODY + 2U);
    const uint16_t sum = sum_of(plate, PLATE_BODY);
    return plate[PLATE_BODY] == (uint8_t)(sum >> 8) && plate[PLATE_BODY + 1U] == (uint8_t)sum;
}

int16_t store_calibration(void)
{
    uint8_t plate[PLATE_BODY + 2U];
    return load_plate(plate) ? (int16_t)(plate[0] | (uint16_t)plate[1] << 8) : 0;
}

bool store_is_text(const uint8_t *text, uint8_t count)
{
    bool ended = false;
    for (; count > 0U; count--, text++) {
        if (*text == 0U) {
            ended = true;
        } else if (ended || *text < 0x20U || *text > 0x7EU) {
            return false;
        }
    }
    return true;
}

bool store_rename(const uint8_t *name)
{
    uint8_t plate[PLATE_BODY + 2U];
    if (!load_plate(plate) || !store_is_text(plate + 2, LINK_GIVEN_NAME_SIZE)) {
        plate[0] = plate[1] = 0; /* what stood there was never valid */
    }
    memcpy(plate + 2, name, LINK_GIVEN_NAME_SIZE);
    const uint16_t sum = sum_of(plate, PLATE_BODY);
    plate[PLATE_BODY] = (uint8_t)(sum >> 8);
    plate[PLATE_BODY + 1U] = (uint8_t)sum;
    return store_put(BOARD_ROW + CALIBRATION_AT, plate, sizeof plate);
}
