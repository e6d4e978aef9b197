/* host.h: what a test sets and reads. The layout is known to schedgen/firmware/host.py. */
#ifndef HOST_H
#define HOST_H

#include "dive.h"

#define HOST_EDGES 4096U
#define HOST_SENT 4096U
#define HOST_MEMORY 1088U

struct host_edge {
    uint32_t second;
    uint8_t step, output, level;
};

struct host {
    uint32_t second; /* ticks since the library was loaded */
    uint32_t edge_count;
    uint32_t sent_count;
    uint32_t writes;
    uint32_t cut_at; /* the power goes at this write, 0: never */
    uint32_t wrong;  /* calls that no port could obey */
    uint32_t blinks;
    uint32_t fine_calls;
    uint16_t pack_mv;
    uint16_t stuck; /* the byte before this address keeps what it holds, 0: none does */
    uint8_t step, buttons, wet, lead, lit, cut_torn;
    uint8_t sags; /* with the output before this one the power goes: nothing is written any more */
    uint8_t level[8];
    uint8_t memory[HOST_MEMORY];
    uint8_t sent[HOST_SENT];
    struct host_edge edges[HOST_EDGES];
};

extern struct host host;

void host_boot(uint8_t cause, uint16_t resets, uint8_t clock_ok);
void host_seconds(uint32_t count);
void host_to_step(uint8_t step);
void host_receive(const uint8_t *bytes, uint32_t count);
void host_silence(void);
void host_button(void);
void host_clock_failed(void);
struct host *host_state(void);

#endif
