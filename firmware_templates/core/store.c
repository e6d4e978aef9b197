#include "store.h"

#include <string.h>

#include "sums.h"

#define CODE_MASK ((1UL << LAYOUT_ESSENTIALS_CODE_BITS) - 1UL)
#define CALIBRATION_AT LAYOUT_ESSENTIALS_BYTES
#define NAME_AT (CALIBRATION_AT + 2U)
#define NAME_SUM_AT (NAME_AT + LINK_GIVEN_NAME_SIZE)
#define VOID 0xFFU

uint16_t store_address(uint8_t slot)
{
    return slot == 0U ? BOARD_SLOT_A : BOARD_SLOT_B;
}

uint32_t store_sum(uint16_t address, uint16_t count)
{
    uint32_t sum = SUM32_START;
    for (uint16_t n = 0; n < count; n++) {
        sum = sum32(sum, dive_port->load((uint16_t)(address + n)));
    }
    return ~sum;
}

static bool sum_is_there(uint16_t address, uint32_t sum)
{
    for (uint8_t n = 0; n < BOARD_SUM_BYTES; n++) {
        if (dive_port->load((uint16_t)(address + n)) != (uint8_t)(sum >> (8U * n))) {
            return false;
        }
    }
    return true;
}

void store_slot(uint8_t number, struct slot *slot)
{
    const uint16_t address = store_address(number);
    slot->valid = false;
    slot->sequence = dive_port->load(address);
    slot->length = dive_port->load((uint16_t)(address + 1U));
    slot->code = LINK_NO_CODE;
    if (slot->length < 1U || slot->length > BOARD_BLOCK_MOST) {
        return;
    }
    const uint16_t covered = (uint16_t)(1U + slot->length);
    if (!sum_is_there((uint16_t)(address + covered), store_sum(address, covered))) {
        return;
    }
    struct bits from = {NULL, (uint16_t)(address + 1U), slot->length, 0, false};
    struct settings said;
    if (block_open(&from, &said) && said.board_type == BOARD_TYPE) {
        slot->valid = true;
        slot->code = store_sum((uint16_t)(address + 1U), slot->length) & CODE_MASK;
    }
}

uint8_t store_active(bool armed, uint32_t code)
{
    struct slot slots[2];
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

bool store_fly(uint8_t number)
{
    const uint16_t address = (uint16_t)(store_address(number) + 1U);
    const uint8_t length = dive_port->load(address);
    if (length < 1U || length > BOARD_BLOCK_MOST) {
        return false;
    }
    for (uint8_t n = 0; n < length; n++) {
        state.block[n] = dive_port->load((uint16_t)(address + n));
    }
    struct bits from = flown();
    return block_header(&from, &state.said);
}

bool store_put(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    dive_port->store(address, bytes, count);
    for (uint8_t n = 0; n < count; n++) {
        if (dive_port->load((uint16_t)(address + n)) != bytes[n]) {
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
        for (uint8_t n = 0; n < count; n++) {
            piece[n] = dive_port->load((uint16_t)(source + done + n));
        }
        if (!store_put((uint16_t)(target + done), piece, count)) {
            return false;
        }
        done = (uint16_t)(done + count);
    }
    for (uint16_t n = 0; n < whole; n++) {
        if (dive_port->load((uint16_t)(source + n)) != dive_port->load((uint16_t)(target + n))) {
            return false;
        }
    }
    return true;
}

void store_essentials(struct essentials *essentials)
{
    uint8_t record[LAYOUT_ESSENTIALS_BYTES];
    uint16_t sum = SUM16_START;
    memset(essentials, 0, sizeof *essentials);
    for (uint8_t n = 0; n < sizeof record; n++) {
        record[n] = dive_port->load((uint16_t)(BOARD_ROW + n));
        sum = n < sizeof record - 2U ? sum16(sum, record[n]) : sum;
    }
    if (record[sizeof record - 2U] != (uint8_t)sum || record[sizeof record - 1U] != (uint8_t)(sum >> 8)) {
        return;
    }
    struct bits from = {record, 0, sizeof record - 2U, 0, false};
    if (bits_take(&from, LAYOUT_ESSENTIALS_LAYOUT_VERSION_BITS) != LAYOUT_VERSION) {
        return;
    }
    essentials->armed = bits_take(&from, LAYOUT_ESSENTIALS_ARMED_BITS) != 0U;
    essentials->code = bits_take(&from, LAYOUT_ESSENTIALS_CODE_BITS);
    essentials->not_before = bits_take(&from, LAYOUT_ESSENTIALS_NOT_BEFORE_BITS);
    essentials->at = bits_take(&from, LAYOUT_ESSENTIALS_AT_BITS);
    essentials->latest = bits_take(&from, LAYOUT_ESSENTIALS_LATEST_BITS);
    essentials->without_water = bits_take(&from, LAYOUT_ESSENTIALS_WITHOUT_WATER_BITS) != 0U;
    essentials->primary.present = bits_take(&from, LAYOUT_ESSENTIALS_PRIMARY_PRESENT_BITS) != 0U;
    essentials->primary.output = (uint8_t)bits_take(&from, LAYOUT_ESSENTIALS_PRIMARY_OUTPUT_BITS);
    essentials->primary.fire_s = (uint16_t)bits_take(&from, LAYOUT_ESSENTIALS_PRIMARY_FIRE_BITS);
    essentials->primary.tries = (uint8_t)(bits_take(&from, LAYOUT_ESSENTIALS_PRIMARY_TRIES_BITS)
                                          + LAYOUT_ESSENTIALS_PRIMARY_TRIES_OFFSET);
    essentials->primary.pause_s = (uint16_t)bits_take(&from, LAYOUT_ESSENTIALS_PRIMARY_PAUSE_BITS);
    essentials->keep = (uint8_t)bits_take(&from, LAYOUT_ESSENTIALS_KEEP_BITS);
    if (essentials->primary.present
        && (essentials->primary.output >= BOARD_OUTPUTS
            || !bit_set(BOARD_RELEASES, essentials->primary.output))) {
        return; /* what is no release output is never fired */
    }
    essentials->valid = true;
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
    uint16_t at = 0;
    uint16_t sum = SUM16_START;
    const struct firing *primary = &state.said.primary;
    memset(record, 0, sizeof record);
    bits_put(record, &at, LAYOUT_ESSENTIALS_LAYOUT_VERSION_BITS, LAYOUT_VERSION);
    bits_put(record, &at, LAYOUT_ESSENTIALS_ARMED_BITS, armed ? 1U : 0U);
    bits_put(record, &at, LAYOUT_ESSENTIALS_CODE_BITS, code);
    bits_put(record, &at, LAYOUT_ESSENTIALS_NOT_BEFORE_BITS, state.said.not_before);
    bits_put(record, &at, LAYOUT_ESSENTIALS_AT_BITS, (uint32_t)((int32_t)state.said.at - state.said.shift));
    bits_put(record, &at, LAYOUT_ESSENTIALS_LATEST_BITS, state.said.latest);
    bits_put(record, &at, LAYOUT_ESSENTIALS_WITHOUT_WATER_BITS, state.said.without_water ? 1U : 0U);
    bits_put(record, &at, LAYOUT_ESSENTIALS_PRIMARY_PRESENT_BITS, primary->present ? 1U : 0U);
    bits_put(record, &at, LAYOUT_ESSENTIALS_PRIMARY_OUTPUT_BITS, primary->output);
    bits_put(record, &at, LAYOUT_ESSENTIALS_PRIMARY_FIRE_BITS, primary->fire_s);
    bits_put(record, &at, LAYOUT_ESSENTIALS_PRIMARY_TRIES_BITS,
             (uint32_t)primary->tries - LAYOUT_ESSENTIALS_PRIMARY_TRIES_OFFSET);
    bits_put(record, &at, LAYOUT_ESSENTIALS_PRIMARY_PAUSE_BITS, primary->pause_s);
    bits_put(record, &at, LAYOUT_ESSENTIALS_KEEP_BITS, state.said.keep);
    for (uint8_t n = 0; n < sizeof record - 2U; n++) {
        sum = sum16(sum, record[n]);
    }
    record[sizeof record - 2U] = (uint8_t)sum;
    record[sizeof record - 1U] = (uint8_t)(sum >> 8);
    return put_record(record);
}

bool store_void_essentials(void)
{
    const uint8_t none = VOID;
    return store_put(BOARD_ROW, &none, 1);
}

static bool name_is_valid(void)
{
    uint16_t sum = SUM16_START;
    for (uint8_t n = CALIBRATION_AT; n < NAME_SUM_AT; n++) {
        sum = sum16(sum, dive_port->load((uint16_t)(BOARD_ROW + n)));
    }
    return dive_port->load(BOARD_ROW + NAME_SUM_AT) == (uint8_t)(sum >> 8)
           && dive_port->load(BOARD_ROW + NAME_SUM_AT + 1U) == (uint8_t)sum;
}

int16_t store_calibration(void)
{
    if (!name_is_valid()) {
        return 0;
    }
    const uint16_t low = dive_port->load(BOARD_ROW + CALIBRATION_AT);
    return (int16_t)(low | (uint16_t)(dive_port->load(BOARD_ROW + CALIBRATION_AT + 1U) << 8));
}

/* Printable ASCII, then zeros only. */
static bool name_is_text(void)
{
    bool ended = false;
    for (uint8_t n = 0; n < LINK_GIVEN_NAME_SIZE; n++) {
        const uint8_t byte = dive_port->load((uint16_t)(BOARD_ROW + NAME_AT + n));
        if (byte == 0U) {
            ended = true;
        } else if (ended || byte < 0x20U || byte > 0x7EU) {
            return false;
        }
    }
    return true;
}

bool store_rename(const uint8_t *name)
{
    uint8_t body[2U + LINK_GIVEN_NAME_SIZE + 2U];
    const int16_t kept = name_is_text() ? store_calibration() : 0;
    body[0] = (uint8_t)(uint16_t)kept;
    body[1] = (uint8_t)((uint16_t)kept >> 8);
    memcpy(body + 2, name, LINK_GIVEN_NAME_SIZE);
    uint16_t sum = SUM16_START;
    for (uint8_t n = 0; n < sizeof body - 2U; n++) {
        sum = sum16(sum, body[n]);
    }
    body[sizeof body - 2U] = (uint8_t)(sum >> 8);
    body[sizeof body - 1U] = (uint8_t)sum;
    return store_put(BOARD_ROW + CALIBRATION_AT, body, sizeof body);
}
