/* requests.c: what each request does. Numbers and offsets come from link_messages.h; a refusal changes nothing that counts. An answer
   is made in the place of its request, whose first fields it mostly begins with; numbers lie there with the low byte first,
   as they do in the memory of every computer that this runs on. */
#include <string.h>

#include "journal.h"
#include "link.h"
#include "play.h"
#include "sense.h"
#include "store.h"

#define HEAD 2U /* sequence and kind, before the payload */
#define LOCKED 0x80U /* refused while armed, and while seconds are played */
#define KINDS LINK_ASK_PLAY
#define SLOT_ROOM (BOARD_SLOT_SIZE - BOARD_SUM_BYTES)

const PORT_CONST struct about link_about = {
    {LINK_PROTOCOL_VERSION, LAYOUT_VERSION, BOARD_TYPE & 0xFFU, BOARD_TYPE >> 8, BOARD_PART, BOARD_EEPROM_SIZE & 0xFFU,
     BOARD_EEPROM_SIZE >> 8, BOARD_SLOT_SIZE & 0xFFU, BOARD_SLOT_SIZE >> 8},
    BOARD_NAME, 0};

static uint16_t number_at(const uint8_t *bytes)
{
    return (uint16_t)(bytes[0] | bytes[1] << 8);
}

uint8_t link_check_code(const uint8_t *code)
{
    if (!state.armed && !state.has_block) {
        return LINK_REASON_NO_SETTINGS;
    }
    return memcmp(code, &state.code, 4) == 0 ? LINK_DONE : LINK_REASON_WRONG_CODE;
}

static uint8_t kept(bool by_memory)
{
    if (!by_memory) {
        return LINK_REASON_MEMORY_FAILED;
    }
    return LINK_DONE;
}

static uint8_t *put(uint8_t *to, const void *from, uint8_t count)
{
    memcpy(to, from, count);
    return to + count;
}

static void identify(uint8_t *to)
{
    const uint8_t *from = (const uint8_t *)&link_about;
    store_look();
    sense_measure();
    to += LINK_REPLY_IDENTIFY_PROTOCOL_AT;
    for (uint8_t n = 0; n < offsetof(struct about, end); n++) {
        *to++ = PORT_CONST_BYTE(from + n);
    }
    *to++ = dive_state();
    to = put(to, &store_found, sizeof store_found);
    *to++ = state.armed;
    to = put(to, &state.resets, LINK_REPLY_IDENTIFY_FAULTS_AT - LINK_REPLY_IDENTIFY_RESETS_AT);
    *to++ = state.faults;
    *to = 0;
}

static uint8_t read(uint8_t *body)
{
    const uint16_t address = number_at(body + LINK_ASK_READ_ADDRESS_AT);
    const uint8_t length = body[LINK_ASK_READ_LENGTH_AT];
    if (length > LINK_CHUNK || address > BOARD_MEMORY - length) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    store_load(address, body + LINK_REPLY_READ_DATA_AT, length);
    return LINK_DONE;
}

static uint8_t write(const uint8_t *body)
{
    const uint8_t slot = body[LINK_ASK_WRITE_SLOT_AT];
    const uint16_t offset = number_at(body + LINK_ASK_WRITE_OFFSET_AT);
    const uint8_t length = body[LINK_ASK_WRITE_LENGTH_AT];
    if (slot > 1U || slot == store_found.counts || length < 1U || length > LINK_CHUNK || offset > SLOT_ROOM - length) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    const bool put = store_put((uint16_t)(store_address(slot) + offset), body + LINK_ASK_WRITE_DATA_AT, length);
    store_written(slot); /* a checksum that stood there, or came with the data, may make it valid */
    return kept(put);
}

static uint8_t commit(uint8_t *body)
{
    const uint8_t slot = body[LINK_ASK_COMMIT_SLOT_AT];
    if (slot > 1U) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    const uint16_t address = store_address(slot);
    const uint8_t length = dive_port.load((uint16_t)(address + 1U));
    if (!store_fits(length)) {
        return LINK_REASON_BAD_CHECKSUM;
    }
    const uint32_t sum = store_sum(address, (uint16_t)(1U + length));
    if (memcmp(body + LINK_ASK_COMMIT_CRC_AT, &sum, 4) != 0) {
        return LINK_REASON_BAD_CHECKSUM;
    }
    if (!store_seal(slot)) {
        return LINK_REASON_MEMORY_FAILED;
    }
    store_fly();
    memcpy(body + LINK_REPLY_COMMIT_CODE_AT, &store_found.slots[slot].code, 4);
    if (store_found.slots[slot].code == LINK_NO_CODE) {
        return LINK_REASON_UNREADABLE_SETTINGS;
    }
    return LINK_DONE;
}

static uint8_t arm(const uint8_t *code)
{
    uint8_t reason = link_check_code(code);
    if (state.armed) {
        if (reason != LINK_DONE) {
            reason = LINK_REASON_ARMED;
        }
        return reason;
    }
    play_stop();
    store_fly();
    reason = link_check_code(code);
    if (reason != LINK_DONE) {
        return reason;
    }
    if (!store_copy()) {
        return LINK_REASON_MEMORY_FAILED;
    }
    /* The journal says "not started" before the record says "armed", and "armed" after it: whatever is torn, the board
       either is armed and has not started, or is not armed. */
    state.stage = STAGE_OVER;
    state.elapsed = 0;
    journal_put_all();
    journal_put_early(0);
    if (!store_put_essentials(true)) {
        return LINK_REASON_MEMORY_FAILED;
    }
    dive_armed_now();
    journal_put_all();
    dive_drive();
    return LINK_DONE;
}

static uint8_t disarm(void)
{
    play_stop();
    if (state.armed) {
        dive_stand_down();
        (void)store_row();
        if (state.armed) {
            return LINK_REASON_MEMORY_FAILED;
        }
        store_fly();
    }
    return LINK_DONE;
}

static uint8_t start(const uint8_t *code)
{
    if (!state.armed) {
        return LINK_REASON_NOT_ARMED;
    }
    const uint8_t reason = link_check_code(code);
    if (reason != LINK_DONE) {
        return reason;
    }
    if (!state.has_block || state.said.trigger != LAYOUT_TRIGGER_COMMAND) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (!dive_started()) {
        dive_start(0);
    }
    return LINK_DONE;
}

static uint8_t pulse(const uint8_t *body)
{
    const uint8_t output = body[LINK_ASK_PULSE_OUTPUT_AT];
    const uint8_t level = body[LINK_ASK_PULSE_LEVEL_AT];
    const uint16_t steps = number_at(body + LINK_ASK_PULSE_STEPS_AT);
    if (output >= BOARD_OUTPUTS || level > FULL || (level != 0U && level != FULL && !bit_set(BOARD_LEVELS, output))
        || (level != 0U && steps == 0U)) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (level != 0U) {
        if (bit_set(BOARD_RELEASES, output)) {
            const uint8_t reason = link_check_code(body + LINK_ASK_PULSE_CODE_AT);
            if (reason != LINK_DONE) {
                return reason;
            }
            if (steps > LINK_PULSE_RELEASE_STEPS) {
                return LINK_REASON_OUT_OF_RANGE;
            }
        }
        if (state.pulse_left != 0U) {
            return LINK_REASON_BUSY;
        }
    }
    dive_pulse(output, level, steps);
    return LINK_DONE;
}

static uint8_t name(const uint8_t *text)
{
    return kept(store_rename(text));
}

static void measure(uint8_t *to)
{
    for (uint8_t n = 0; n < LINK_REPLY_MEASURE_SIZE / 2U; n++) {
        const uint16_t reading = dive_port.pack_mv();
        to = put(to, &reading, 2);
    }
}

static uint8_t obey(uint8_t kind, uint8_t *body)
{
    switch (kind) {
    case LINK_ASK_IDENTIFY:
        identify(body);
        return LINK_DONE;
    case LINK_ASK_READ:
        return read(body);
    case LINK_ASK_WRITE:
        return write(body);
    case LINK_ASK_COMMIT:
        return commit(body);
    case LINK_ASK_ARM:
        return arm(body);
    case LINK_ASK_DISARM:
        return disarm();
    case LINK_ASK_START:
        return start(body);
    case LINK_ASK_PULSE:
        return pulse(body);
    case LINK_ASK_NAME:
        return name(body);
    case LINK_ASK_MEASURE:
        measure(body);
        return LINK_DONE;
    case LINK_ASK_PLAY:
        return play_show(body);
    default:
        return LINK_REASON_BAD_REQUEST;
    }
}

/* Bytes of payload by kind, without a closing data field: of the request, of the answer. */
static const PORT_CONST uint8_t sizes[KINDS][2] = {
#define SIZES(name, lock) [LINK_ASK_##name - 1U] = {LINK_ASK_##name##_SIZE | (lock), LINK_REPLY_##name##_SIZE}
    SIZES(IDENTIFY, 0), SIZES(READ, 0),       SIZES(WRITE, LOCKED), SIZES(COMMIT, LOCKED),
    SIZES(ARM, 0),      SIZES(DISARM, 0),     SIZES(START, 0),      SIZES(PULSE, LOCKED),
    SIZES(NAME, LOCKED), SIZES(MEASURE, LOCKED), SIZES(PLAY, LOCKED),
};

static uint8_t judge(uint8_t sequence, uint8_t kind, bool locked, uint8_t *body)
{
    if ((sequence == 0U) != (kind == LINK_ASK_IDENTIFY)) {
        return LINK_REASON_BAD_REQUEST;
    }
    if (locked && state.armed) {
        return LINK_REASON_ARMED;
    }
    if (locked && play_on() && kind != LINK_ASK_PLAY) {
        return LINK_REASON_BUSY;
    }
    return obey(kind, body);
}

uint8_t requests_answer(uint8_t *frame, uint8_t length)
{
    const uint8_t kind = frame[1];
    uint8_t *body = frame + HEAD;
    uint8_t reason = LINK_REASON_BAD_REQUEST;
    if ((uint8_t)(kind - 1U) < KINDS) {
        const uint8_t asked = PORT_CONST_BYTE(&sizes[kind - 1U][0]);
        uint8_t size = (uint8_t)(HEAD + (asked & ~LOCKED));
        if (kind == LINK_ASK_WRITE) {
            size = (uint8_t)(size + body[LINK_ASK_WRITE_LENGTH_AT]);
        }
        if (length != size) {
            return 0;
        }
        reason = judge(frame[0], kind, (asked & LOCKED) != 0U, body);
    }
    if (reason != LINK_DONE) {
        frame[1] = LINK_REFUSED;
        body[LINK_REFUSED_REQUEST_AT] = kind;
        body[LINK_REFUSED_REASON_AT] = reason;
        return HEAD + LINK_REFUSED_SIZE;
    }
    uint8_t size = (uint8_t)(HEAD + PORT_CONST_BYTE(&sizes[kind - 1U][1]));
    if (kind == LINK_ASK_READ) {
        size = (uint8_t)(size + body[LINK_REPLY_READ_LENGTH_AT]);
    }
    frame[1] = (uint8_t)(kind + LINK_REPLY);
    return size;
}
