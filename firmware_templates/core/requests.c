/* requests.c: what each request does. Numbers and offsets come from link_messages.h; a refusal changes nothing. */
#include <string.h>

#include "journal.h"
#include "history.h"
#include "link.h"
#include "play.h"
#include "sense.h"
#include "store.h"

#define DONE 0U
#define HEAD 2U /* sequence and kind, before the payload */

/* The payload of the request in hand, and room for that of its answer. */
static uint8_t asked[LINK_PAYLOAD_SIZE];
static uint8_t *answer;
static uint8_t answer_size;

static uint32_t number_at(const uint8_t *bytes, uint8_t width)
{
    uint32_t number = 0;
    while (width > 0U) {
        width--;
        number = number << 8 | bytes[width];
    }
    return number;
}

void link_put(uint8_t *to, uint8_t at, uint8_t width, uint32_t number)
{
    for (uint8_t n = 0; n < width; n++) {
        to[at + n] = (uint8_t)(number >> (8U * n));
    }
}

static void put(uint8_t at, uint8_t width, uint32_t number)
{
    link_put(answer, at, width, number);
}

/* The code that counts: while armed the armed one, even where both slots are bad. */
static uint32_t code_that_counts(void)
{
    return state.armed || state.has_block ? state.code : LINK_NO_CODE;
}

static uint8_t check_code(uint32_t code)
{
    if (code_that_counts() == LINK_NO_CODE) {
        return LINK_REASON_NO_SETTINGS;
    }
    return code == code_that_counts() ? DONE : LINK_REASON_WRONG_CODE;
}

static uint8_t identify(void)
{
    store_look();
    sense_measure();
    memcpy(answer + LINK_REPLY_IDENTIFY_TOKEN_AT, asked, 2);
    put(LINK_REPLY_IDENTIFY_PROTOCOL_AT, 1, LINK_PROTOCOL_VERSION);
    put(LINK_REPLY_IDENTIFY_LAYOUT_AT, 1, LAYOUT_VERSION);
    put(LINK_REPLY_IDENTIFY_BOARD_TYPE_AT, 2, BOARD_TYPE);
    put(LINK_REPLY_IDENTIFY_PART_AT, 1, BOARD_PART);
    put(LINK_REPLY_IDENTIFY_EEPROM_SIZE_AT, 2, BOARD_EEPROM_SIZE);
    put(LINK_REPLY_IDENTIFY_SLOT_SIZE_AT, 2, BOARD_SLOT_SIZE);
    put(LINK_REPLY_IDENTIFY_STATE_AT, 1, dive_state());
    put(LINK_REPLY_IDENTIFY_ACTIVE_AT, 1, store_counts);
    put(LINK_REPLY_IDENTIFY_SEQUENCE_A_AT, 1, store_slots[0].sequence);
    put(LINK_REPLY_IDENTIFY_CODE_A_AT, 4, store_slots[0].code);
    put(LINK_REPLY_IDENTIFY_SEQUENCE_B_AT, 1, store_slots[1].sequence);
    put(LINK_REPLY_IDENTIFY_CODE_B_AT, 4, store_slots[1].code);
    put(LINK_REPLY_IDENTIFY_ARMED_AT, 1, state.armed ? 1U : 0U);
    put(LINK_REPLY_IDENTIFY_ELAPSED_AT, 3, dive_started() ? (uint32_t)state.elapsed : 0U);
    put(LINK_REPLY_IDENTIFY_PACK_MV_AT, 2, state.pack_mv);
    put(LINK_REPLY_IDENTIFY_RESETS_AT, 2, state.resets);
    put(LINK_REPLY_IDENTIFY_FAULTS_AT, 2, (uint16_t)(state.faults | (state.held_by_power ? LINK_FAULT_HOLD : 0U)));
    memset(answer + LINK_REPLY_IDENTIFY_BOARD_AT, 0, LINK_NAME_SIZE);
    memcpy(answer + LINK_REPLY_IDENTIFY_BOARD_AT, BOARD_NAME, sizeof BOARD_NAME - 1U);
    answer_size = LINK_REPLY_IDENTIFY_SIZE;
    return DONE;
}

static uint8_t read(void)
{
    const uint16_t address = (uint16_t)number_at(asked + LINK_ASK_READ_ADDRESS_AT, 2);
    const uint8_t length = asked[LINK_ASK_READ_LENGTH_AT];
    if (length > LINK_ASK_READ_LENGTH_TOP || address > BOARD_MEMORY || length > BOARD_MEMORY - address) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    memcpy(answer, asked, LINK_ASK_READ_SIZE);
    store_load(address, answer + LINK_REPLY_READ_DATA_AT, length);
    answer_size = (uint8_t)(LINK_REPLY_READ_SIZE + length);
    return DONE;
}

static uint8_t write(void)
{
    const uint8_t slot = asked[LINK_ASK_WRITE_SLOT_AT];
    const uint32_t offset = number_at(asked + LINK_ASK_WRITE_OFFSET_AT, 2);
    const uint8_t length = asked[LINK_ASK_WRITE_LENGTH_AT];
    if (slot > LINK_ASK_WRITE_SLOT_TOP || length > LINK_ASK_WRITE_LENGTH_TOP) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (state.armed) {
        return LINK_REASON_ARMED;
    }
    if (slot == store_counts || length < 1U || offset + length > BOARD_SLOT_SIZE - BOARD_SUM_BYTES) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (!store_put((uint16_t)(store_address(slot) + offset), asked + LINK_ASK_WRITE_DATA_AT, length)) {
        return LINK_REASON_MEMORY_FAILED;
    }
    store_written(slot); /* a checksum that stood there, or came with the data, may make it valid */
    memcpy(answer, asked, LINK_REPLY_WRITE_SIZE);
    answer_size = LINK_REPLY_WRITE_SIZE;
    return DONE;
}

/* Settings that this board could fly, in a slot that lacks no more than its checksum. */
static uint8_t check_written(uint8_t slot, uint8_t length)
{
    struct settings said;
    bits_open(NULL, (uint16_t)(store_address(slot) + 1U), length);
    if (!block_open(&said)) {
        return LINK_REASON_UNREADABLE_SETTINGS;
    }
    return said.board_type == BOARD_TYPE ? DONE : LINK_REASON_WRONG_BOARD_TYPE;
}

static uint8_t commit(void)
{
    const uint8_t slot = asked[LINK_ASK_COMMIT_SLOT_AT];
    const uint8_t sequence = asked[LINK_ASK_COMMIT_SEQUENCE_AT];
    const uint8_t length = asked[LINK_ASK_COMMIT_LENGTH_AT];
    if (slot > LINK_ASK_COMMIT_SLOT_TOP) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (state.armed) {
        return LINK_REASON_ARMED;
    }
    if (!store_fits(length)) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    const uint16_t address = store_address(slot);
    if (dive_port.load(address) != sequence || dive_port.load((uint16_t)(address + 1U)) != length
        || store_sum(address, (uint16_t)(1U + length)) != number_at(asked + LINK_ASK_COMMIT_CRC_AT, 4)) {
        return LINK_REASON_BAD_CHECKSUM;
    }
    const uint8_t reason = check_written(slot, length);
    if (reason != DONE) {
        return reason;
    }
    if (!store_seal(slot)) {
        return LINK_REASON_MEMORY_FAILED;
    }
    store_fly();
    put(LINK_REPLY_COMMIT_SLOT_AT, 1, slot);
    put(LINK_REPLY_COMMIT_SEQUENCE_AT, 1, sequence);
    put(LINK_REPLY_COMMIT_CODE_AT, 4, store_slots[slot].code);
    answer_size = LINK_REPLY_COMMIT_SIZE;
    return DONE;
}

static uint8_t write_arming(void)
{
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
    return DONE;
}

static uint8_t arm(void)
{
    const uint32_t code = number_at(asked + LINK_ASK_ARM_CODE_AT, 4);
    if (state.armed && code != state.code) {
        return LINK_REASON_ARMED;
    }
    if (!state.armed) {
        store_fly();
        uint8_t reason = check_code(code);
        if (reason == DONE) {
            reason = write_arming();
        }
        if (reason != DONE) {
            return reason;
        }
    }
    put(LINK_REPLY_ARM_STATE_AT, 1, dive_state());
    put(LINK_REPLY_ARM_CODE_AT, 4, code);
    answer_size = LINK_REPLY_ARM_SIZE;
    return DONE;
}

static uint8_t disarm(void)
{
    play_stop();
    if (state.armed) {
        dive_stand_down();
        (void)store_essentials();
        if (state.armed) {
            return LINK_REASON_MEMORY_FAILED;
        }
        store_fly();
    }
    put(LINK_REPLY_DISARM_STATE_AT, 1, dive_state());
    answer_size = LINK_REPLY_DISARM_SIZE;
    return DONE;
}

static uint8_t start(void)
{
    const uint32_t code = number_at(asked + LINK_ASK_START_CODE_AT, 4);
    if (!state.armed) {
        return LINK_REASON_NOT_ARMED;
    }
    if (code != state.code) {
        return LINK_REASON_WRONG_CODE;
    }
    if (!state.has_block || state.said.trigger != LAYOUT_TRIGGER_COMMAND) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (!dive_started()) {
        dive_start(0);
    }
    put(LINK_REPLY_START_STATE_AT, 1, dive_state());
    put(LINK_REPLY_START_CODE_AT, 4, code);
    answer_size = LINK_REPLY_START_SIZE;
    return DONE;
}

static uint8_t check_pulse(uint8_t output, uint8_t level, uint16_t duration)
{
    if (output > LINK_ASK_PULSE_OUTPUT_TOP || level > LINK_ASK_PULSE_LEVEL_TOP) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (state.armed) {
        return LINK_REASON_ARMED;
    }
    if (output >= BOARD_OUTPUTS || (level != 0U && duration == 0U)) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (!bit_set(BOARD_LEVELS, output) && level != 0U && level != FULL) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (level != 0U && bit_set(BOARD_RELEASES, output)) {
        const uint8_t reason = check_code(number_at(asked + LINK_ASK_PULSE_CODE_AT, 4));
        if (reason != DONE) {
            return reason;
        }
        if (duration > LINK_PULSE_RELEASE_MS) {
            return LINK_REASON_OUT_OF_RANGE;
        }
    }
    return level != 0U && state.pulse_left != 0U ? LINK_REASON_BUSY : DONE;
}

static uint8_t pulse(void)
{
    const uint8_t output = asked[LINK_ASK_PULSE_OUTPUT_AT];
    const uint8_t level = asked[LINK_ASK_PULSE_LEVEL_AT];
    const uint16_t duration = (uint16_t)number_at(asked + LINK_ASK_PULSE_DURATION_MS_AT, 2);
    const uint8_t reason = check_pulse(output, level, duration);
    if (reason != DONE) {
        return reason;
    }
    dive_pulse(output, level, (uint16_t)(((uint32_t)duration * 64U + 999U) / 1000U));
    put(LINK_REPLY_PULSE_OUTPUT_AT, 1, output);
    put(LINK_REPLY_PULSE_LEVEL_AT, 1, level);
    answer_size = LINK_REPLY_PULSE_SIZE;
    return DONE;
}

static uint8_t name(void)
{
    if (!store_is_text(asked, LINK_GIVEN_NAME_SIZE)) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (state.armed) {
        return LINK_REASON_ARMED;
    }
    if (!store_rename(asked)) {
        return LINK_REASON_MEMORY_FAILED;
    }
    memcpy(answer, asked, LINK_GIVEN_NAME_SIZE);
    answer_size = LINK_REPLY_NAME_SIZE;
    return DONE;
}

static uint8_t measure(void)
{
    const uint16_t readings = (uint16_t)number_at(asked, 2);
    if (state.armed) {
        return LINK_REASON_ARMED;
    }
    if (readings < 1U || readings > LINK_ASK_MEASURE_READINGS_TOP) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    sense_measure();
    const uint16_t first = state.pack_mv;
    uint32_t sum = first, squares = 0;
    for (uint16_t n = 1; n < readings; n++) {
        sense_measure();
        const uint16_t off = state.pack_mv > first ? (uint16_t)(state.pack_mv - first) : (uint16_t)(first - state.pack_mv);
        const uint32_t square = (uint32_t)off * off;
        sum += state.pack_mv;
        squares = squares > UINT32_MAX - square ? UINT32_MAX : squares + square;
    }
    put(LINK_REPLY_MEASURE_READINGS_AT, 2, readings);
    put(LINK_REPLY_MEASURE_FIRST_MV_AT, 2, first);
    put(LINK_REPLY_MEASURE_SUM_MV_AT, 4, sum);
    put(LINK_REPLY_MEASURE_SQUARES_AT, 4, squares);
    answer_size = LINK_REPLY_MEASURE_SIZE;
    return DONE;
}

static uint8_t play(void)
{
    const uint16_t speed = (uint16_t)number_at(asked + LINK_ASK_PLAY_SPEED_AT, 2);
    if (speed > LINK_ASK_PLAY_SPEED_TOP) {
        return LINK_REASON_OUT_OF_RANGE;
    }
    if (state.armed) {
        return LINK_REASON_ARMED;
    }
    if (speed == 0U) {
        play_stop();
    } else {
        if (play_on() || state.pulse_left != 0U) {
            return LINK_REASON_BUSY;
        }
        store_fly();
        const uint8_t reason = check_code(number_at(asked + LINK_ASK_PLAY_CODE_AT, 4));
        if (reason != DONE) {
            return reason;
        }
        play_begin(speed);
    }
    put(LINK_REPLY_PLAY_SPEED_AT, 2, speed);
    answer_size = LINK_REPLY_PLAY_SIZE;
    return DONE;
}

/* Whether a request would change something: not while a dive is played. */
static bool changes_something(uint8_t kind)
{
    return kind == LINK_ASK_WRITE || kind == LINK_ASK_COMMIT || kind == LINK_ASK_ARM || kind == LINK_ASK_START
           || kind == LINK_ASK_PULSE || kind == LINK_ASK_NAME;
}

/* Payload of a request of this kind without a closing data field; 255 for a kind that is none. */
static uint8_t size_of(uint8_t kind)
{
    static const PORT_CONST uint8_t sizes[][2] = {
        {LINK_ASK_IDENTIFY, LINK_ASK_IDENTIFY_SIZE}, {LINK_ASK_READ, LINK_ASK_READ_SIZE},
        {LINK_ASK_WRITE, LINK_ASK_WRITE_SIZE},       {LINK_ASK_COMMIT, LINK_ASK_COMMIT_SIZE},
        {LINK_ASK_ARM, LINK_ASK_ARM_SIZE},           {LINK_ASK_DISARM, LINK_ASK_DISARM_SIZE},
        {LINK_ASK_START, LINK_ASK_START_SIZE},       {LINK_ASK_PULSE, LINK_ASK_PULSE_SIZE},
        {LINK_ASK_NAME, LINK_ASK_NAME_SIZE},         {LINK_ASK_MEASURE, LINK_ASK_MEASURE_SIZE},
        {LINK_ASK_PLAY, LINK_ASK_PLAY_SIZE},         {LINK_ASK_FOLLOW, LINK_ASK_FOLLOW_SIZE},
    };
    for (uint8_t n = 0; n < sizeof sizes / sizeof sizes[0]; n++) {
        if (PORT_CONST_BYTE(&sizes[n][0]) == kind) {
            return PORT_CONST_BYTE(&sizes[n][1]);
        }
    }
    return 255;
}

static uint8_t obey(uint8_t kind)
{
    if (play_on() && changes_something(kind)) {
        return LINK_REASON_BUSY;
    }
    switch (kind) {
    case LINK_ASK_IDENTIFY:
        return identify();
    case LINK_ASK_READ:
        return read();
    case LINK_ASK_WRITE:
        return write();
    case LINK_ASK_COMMIT:
        return commit();
    case LINK_ASK_ARM:
        return arm();
    case LINK_ASK_DISARM:
        return disarm();
    case LINK_ASK_START:
        return start();
    case LINK_ASK_PULSE:
        return pulse();
    case LINK_ASK_NAME:
        return name();
    case LINK_ASK_MEASURE:
        return measure();
    case LINK_ASK_PLAY:
        return play();
    case LINK_ASK_FOLLOW:
        if (state.armed) {
            return LINK_REASON_ARMED;
        }
        answer_size = play_follow(answer);
        return DONE;
    default:
        return LINK_REASON_BAD_REQUEST;
    }
}

uint8_t requests_answer(uint8_t *body, uint8_t length)
{
    const uint8_t sequence = body[0], kind = body[1];
    const uint8_t payload = (uint8_t)(length - HEAD);
    const uint8_t size = size_of(kind);
    if (size != 255U) {
        const uint8_t data = kind == LINK_ASK_WRITE && payload >= size ? body[HEAD + LINK_ASK_WRITE_LENGTH_AT] : 0U;
        if (payload != (uint16_t)size + data) {
            return 0;
        }
    }
    memset(asked, 0, sizeof asked);
    memcpy(asked, body + HEAD, payload < sizeof asked ? payload : sizeof asked);
    answer = body + HEAD;
    uint8_t reason = LINK_REASON_BAD_REQUEST;
    if (size != 255U && (sequence == 0U) == (kind == LINK_ASK_IDENTIFY)) {
        reason = obey(kind);
    }
    if (reason == DONE) {
        body[1] = (uint8_t)(kind + LINK_REPLY);
        return (uint8_t)(HEAD + answer_size);
    }
    body[1] = LINK_REFUSED;
    put(LINK_REFUSED_REQUEST_AT, 1, kind);
    put(LINK_REFUSED_REASON_AT, 1, reason);
    return HEAD + LINK_REFUSED_SIZE;
}
