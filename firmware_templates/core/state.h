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

/* One release under way. */
struct release {
    uint8_t on;    /* while a try runs the bit of its output, otherwise 0 */
    bool further;  /* the last try begun is one of those every 6 h */
    uint8_t tries; /* begun so far, not counting further ones */
    second_t turn; /* the try under way ends, or the next one begins */
};

/* What is used most stands first: a processor of 8 bits reaches 64 bytes from a pointer in one step. Not cleared by a reset
   before dive_boot() does it. */
struct state {
    bool armed;
    bool lead;            /* of the bench, detected */
    uint8_t frame_age;    /* s since the last valid frame, 255 at most */
    uint8_t step;         /* of this second, in 1/64 s, up to which all is done */
    uint16_t resets;      /* this, the next and elapsed are told as they stand here, one behind the other */
    uint16_t pack_mv;

    /* of one dive: forgotten when it is armed and when it is stood down */
    second_t elapsed;
    second_t next;        /* nothing that hangs on time is due before this second, see dive_passed() */
    second_t next_look;   /* no output changes before this second */
    second_t next_sample;
    second_t at;          /* planned release, sooner where the crystal failed */
    second_t last_end;    /* of the last try of the release that is fired first */
    struct face face;     /* the dive as the outputs see it; cut UNKNOWN_S: no firing command is expected */
    uint8_t stage;
    bool wet_latched;
    uint8_t wet_run;      /* s continuously wet */
    bool reduced;         /* everything outside the keep mask is off */
    bool fired;
    bool alone;           /* a try was cut by a reset: nothing else is on while one fires */
    bool low_asks;        /* low voltage asks for the release */
    bool no_further;      /* no further tries: a power-on reset came between, or nobody knows the end */
    bool clock_fault;     /* in this dive */
    bool entry_due;       /* the journal's next entry must not wait for its time */
    uint8_t resets_hour;
    uint8_t fires;        /* release outputs that are on, as bits */
    uint8_t lit;          /* outputs that are on, as bits */
    uint8_t flash_every;  /* steps from one turn of any flash pattern to the next, 0: nothing flashes */
    uint8_t flash_since;  /* steps since the phases of the outputs were right */
    bool drive_now;       /* an output may have to change */
    uint16_t hold;        /* s that a release still has to wait; known again after a reset, at most HOLD_S */
    uint16_t pulse_left;  /* steps of 1/64 s that a pulse on the bench still has */
    uint8_t below_shed, below_release; /* s */
    uint16_t lowest_mv;
    uint8_t faults;       /* LINK_FAULT_HOLD: hold is because of a power-on reset */
    bool at_hand;         /* on deck or at the surface, or held after a power-on reset: buttons act, the light speaks */
    second_t clock_failed; /* where clock_fault says so */
    uint8_t choice;       /* combination of field changes */
    uint8_t readings;     /* of the voltage history, so far */
    struct release primary, backup;
    struct output_state outputs[BOARD_OUTPUTS];

    /* lasting; the first of them is known to dive_forget() */
    uint32_t code;        /* of what is armed */
    bool has_block;       /* else the essentials alone */
    bool clock_internal;  /* now, by a fault */
    uint8_t driven[BOARD_OUTPUTS]; /* percent that the port was told */
    struct settings said;
    uint8_t block[BOARD_BLOCK_MOST];
};

extern struct state state;

/* The state through a pointer that the compiler cannot see through, see PORT_HIDE. */
static inline struct state *state_here(void)
{
    struct state *here = &state;
    PORT_HIDE(here);
    return here;
}

/* The settings in the same way. */
static inline struct settings *settings_here(void)
{
    struct settings *said = &state.said;
    PORT_HIDE(said);
    return said;
}

/* Opens the reader on the block that is flown. */
void dive_read_block(void);

/* dive.c */
uint8_t dive_state(void);
bool dive_started(void);
bool dive_splashed(void);
void dive_start(second_t elapsed);

/* Whether a second has come. Where it has not, the dive is looked at again when it does: whoever asks in the course of
   dive_fly() need not ask before. */
bool dive_passed(const second_t *second);

/* Everything that hangs on elapsed time, as far as it is due. */
void dive_fly(void);

/* boot.c */
void dive_forget(void);
void dive_armed_now(void);
void dive_stand_down(void);
void dive_choose(uint8_t combination);

/* outputs.c */
void dive_look(void);  /* works out what the outputs do at the present second */
void dive_drive(void); /* and drives them */
void dive_pass(uint8_t steps);
void dive_pulse(uint8_t output, uint8_t level, uint16_t steps);

#endif
