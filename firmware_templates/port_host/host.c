/* host.c: the core on a desk computer, for tests. What hardware would do is done by variables that the test sets, and
   written down where the test reads it. */
#include "host.h"

#include <string.h>

#include "board.h"

struct host host;

static void output(uint8_t number, uint8_t percent)
{
    if (number >= BOARD_OUTPUTS) {
        host.wrong++;
        return;
    }
    if (percent != 0U && ((unsigned)BOARD_LEVELS >> number & 1U) == 0U) {
        percent = 100;
    }
    if (host.level[number] == percent) {
        return;
    }
    host.level[number] = percent;
    if (percent != 0U && host.sags == number + 1U && host.cut_at == 0U) {
        host.cut_at = host.writes + 1U;
    }
    if (host.edge_count < HOST_EDGES) {
        const struct host_edge edge = {host.second, host.step, number, percent};
        host.edges[host.edge_count++] = edge;
    } else {
        host.wrong++;
    }
}

static void light(bool lit)
{
    host.lit = lit;
    host.blinks += lit ? 1U : 0U;
}

static uint8_t load(uint16_t address)
{
    if (address >= HOST_MEMORY) {
        host.wrong++;
        return 0;
    }
    return host.memory[address];
}

/* One store is one write, as a page of an EEPROM is; the cut-th is not done, or half of it, and nothing after it. */
static void store(uint16_t address, const uint8_t *bytes, uint8_t count)
{
    if ((uint32_t)address + count > HOST_MEMORY) {
        host.wrong++;
        return;
    }
    if (memcmp(host.memory + address, bytes, count) == 0) {
        return;
    }
    host.writes++;
    uint8_t done = count;
    if (host.cut_at != 0U && host.writes >= host.cut_at) {
        done = host.writes == host.cut_at ? (uint8_t)(host.cut_torn ? count / 2U : 0U) : 0U;
    }
    const uint16_t kept = (uint16_t)(host.stuck - 1U);
    const uint8_t before = kept < HOST_MEMORY ? host.memory[kept] : 0U;
    memcpy(host.memory + address, bytes, done);
    if (kept < HOST_MEMORY) {
        host.memory[kept] = before;
    }
}

static uint16_t pack_mv(void)
{
    return host.pack_mv;
}

static uint8_t contacts(void)
{
    return (uint8_t)((host.lead ? PORT_LEAD : 0U) | (BOARD_WATER && host.wet ? PORT_WET : 0U));
}

static uint8_t buttons(void)
{
    return host.buttons;
}

static uint8_t steps(void)
{
    return host.step;
}

static void send(uint8_t byte)
{
    if (host.sent_count < HOST_SENT) {
        host.sent[host.sent_count++] = byte;
    } else {
        host.wrong++;
    }
}

const struct board_port dive_port = {output, light, load, store, pack_mv, contacts, buttons, steps, send};

void host_boot(uint8_t cause, uint16_t resets, uint8_t clock_ok)
{
    memset(host.level, 0, sizeof host.level);
    host.step = 0;
    dive_boot((enum port_reset)cause, resets, clock_ok != 0U);
}

/* The finer steps that are asked for before the step `until`. */
static void fine_until(uint8_t until)
{
    for (uint8_t turn = 0; turn < 64U; turn++) {
        const uint8_t due = dive_fine_due();
        if (due == 0U || due >= until) {
            return;
        }
        host.step = due;
        host.fine_calls++;
        dive_fine();
    }
}

void host_seconds(uint32_t count)
{
    while (count > 0U) {
        fine_until(64);
        host.step = 0;
        host.second++;
        dive_second();
        count--;
    }
}

void host_to_step(uint8_t step)
{
    fine_until((uint8_t)(step + 1U));
    host.step = step;
    dive_fine();
}

void host_receive(const uint8_t *bytes, uint32_t count)
{
    for (uint32_t n = 0; n < count; n++) {
        link_byte(bytes[n]);
    }
}

struct host *host_state(void)
{
    return &host;
}

void host_silence(void)
{
    link_silence();
}

void host_button(void)
{
    dive_button();
}

void host_clock_failed(void)
{
    dive_clock_failed();
}
