/* state.h: all that the core remembers, in one place. */
#ifndef STATE_H
#define STATE_H

#include "block.h"
#include "board.h"
#include "dive.h"
#include "dive_layout.h"
#include "link_messages.h"
#include "schedule.h"

#define HOLD_S 900U          /* after the bench lead goes, and after a power-on reset */
#define FRAME_HOLDS_S 60U    /* once in the water the lead holds the release only this long after a frame */
#define WET_S 60U
#define BELOW_S 180U         /* a voltage counts as low after this long */
#define SENSE_EVERY_S 10U
#define FURTHER_TRY_S 21600L
#define STORM_RESETS 8U
#define STORM_INTERVAL_S 10U

enum stage { STAGE_ARMED, STAGE_STARTED, STAGE_FIRED, STAGE_OVER };

/* The essentials record, outside both slots. */
struct essentials {
    bool valid;
    uint8_t version;
    bool armed;
    bool without_water;
    uint8_t keep;
    uint32_t code;
    second_t not_before, at, latest;
    struct firing primary;
};

/* One release under way. */
struct release {
    bool on;
    uint8_t tries;   /* begun so far, not counting further ones */
    second_t until;  /* the try under way ends */
    second_t next;   /* the next one begins */
};

struct pulse {
    bool on;
    uint8_t output;
    uint8_t level;
    uint32_t until; /* in 1/64 s of up-time */
};

struct state {
    /* what it flies */
    uint8_t block[BOARD_BLOCK_MOST];
    struct settings said;
    bool has_block; /* else the essentials alone */
    bool armed;
    uint32_t code;  /* of what is armed */
    uint8_t choice; /* combination of field changes */
    uint16_t faults;

    /* where it is */
    uint8_t stage;
    second_t elapsed;
    second_t up;       /* s since this boot */
    bool wet_latched;
    uint8_t wet_run;   /* s continuously wet, 60 at most */
    bool reduced;      /* everything outside the keep mask is off */
    bool alone;        /* a try was cut by a reset: nothing else is on while one fires */
    bool journal_lost; /* no entry could be read: decided once, a dry board decides again */
    uint8_t resets_hour;
    uint16_t resets;
    bool clock_fault;    /* in this dive */
    bool clock_internal; /* now, by a fault */
    second_t clock_failed_at;

    /* seconds that the dive hangs on, see release_lay_out(); UNKNOWN_S: it does not come */
    second_t not_before, at, latest; /* the release's, stretched and shortened where the crystal failed */
    second_t planned;  /* first firing command */
    second_t end;
    second_t splash;   /* in the water by then, where no contact can say it */
    second_t last_end; /* of the last try of the release that is fired first */
    second_t surface;

    /* release */
    struct release primary, backup;
    bool fired;
    second_t fired_at;
    second_t shift;        /* of moving edges, by an early command */
    uint16_t hold;        /* s that a release still has to wait */
    bool held_by_power;   /* ... because of a power-on reset */
    bool no_further;      /* no further tries: a power-on reset came between */
    bool low_asks;        /* low voltage asks for the release */

    /* senses */
    bool lead, lead_holds, wet;
    uint8_t frame_age;    /* s since the last valid frame, 255 at most */
    uint16_t pack_mv;
    uint16_t lowest_mv;
    uint8_t below_shed, below_release; /* s */
    uint16_t quiet_mv;    /* the last reading with nothing but what is kept on; 0: none */
    second_t history_spacing;
    uint8_t history_next; /* reading that comes next */

    /* outputs */
    struct output_state outputs[BOARD_OUTPUTS];
    uint8_t driven[BOARD_OUTPUTS]; /* percent that the port was told */
    bool look_now;
    bool drive_now;
    second_t next_look;
    uint8_t flash_step;   /* 1/64 s to which the phases belong */
    struct pulse pulse;
};

extern struct state state;

/* Opens the reader on the block that is flown. */
void dive_read_block(void);

/* dive.c */
uint8_t dive_state(void);
bool dive_started(void);
bool dive_splashed(void);
bool dive_surfaced(void);
bool dive_passed(const second_t *second);
void dive_start(second_t elapsed);
void dive_stand_down(void);
void dive_armed_now(void);
void dive_choose(uint8_t combination);
void dive_drive(void);
void dive_look(void); /* works out what the outputs do at the present second */
uint32_t dive_up64(void);

#endif
