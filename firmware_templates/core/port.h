/* port.h: the only way from the core to the hardware. A port fills one struct of functions and calls the dive_*
   functions of dive.h; the core calls nothing else.

   Every function returns in bounded time. Addresses are those of the board's memory: the EEPROM from 0 on, then, on
   parts that have one, the user row from BOARD_EEPROM_SIZE on. */
#ifndef PORT_H
#define PORT_H

#include <stdbool.h>
#include <stdint.h>

/* Where the linker keeps what must survive a reset without loss of power; the host has no such place. */
#ifndef PORT_KEPT
#define PORT_KEPT
#endif

/* Constants, where they would otherwise be copied to memory, and how a byte of them is read. */
#ifndef PORT_CONST
#define PORT_CONST
#define PORT_CONST_BYTE(place) (*(place))
#define PORT_TEXT(text) (text)
#endif

/* Hides from the compiler where a pointer points: what stands there is then reached through a register, with one word of
   program a byte on an 8-bit part instead of two. */
#ifndef PORT_HIDE
#define PORT_HIDE(pointer) ((void)0)
#endif

/* A function that is shorter once for all than in each place. */
#ifndef PORT_APART
#define PORT_APART
#endif

/* A structure whose members follow each other without gaps. */
#define PORT_PACKED __attribute__((packed))

/* Stands first in a function that uses many registers: it is shorter where they are saved all at once. */
#ifndef PORT_SAVES
#define PORT_SAVES ((void)0)
#endif

/* Seconds, also as a difference: 24 bits and a sign in them are enough for every dive, and short on an 8-bit part. A span
   is a difference that has no sign, and any other number of as many bits. */
#ifdef PORT_SECOND
__extension__ typedef PORT_SECOND second_t;
__extension__ typedef PORT_SPAN span_t;
#else
typedef int32_t second_t;
typedef uint32_t span_t;
#endif
#define FOREVER ((second_t)0x7FFFFFL) /* later than any second that can come */
#define UNKNOWN_S FOREVER

enum port_reset {
    PORT_RESET_POWER,    /* the supply came up, or nobody knows */
    PORT_RESET_BROWN_OUT,
    PORT_RESET_WATCHDOG,
    PORT_RESET_SOFTWARE
};

#define PORT_LEAD 1U
#define PORT_WET 2U

struct board_port {
    void (*output)(uint8_t number, uint8_t percent); /* 0: its safe level; one that has no levels
                                                        is on at any other */
    void (*light)(bool lit);
    uint8_t (*load)(uint16_t address);
    void (*store)(uint16_t address, const uint8_t *bytes, uint8_t count); /* may leave out bytes that are right already */
    uint16_t (*pack_mv)(void); /* battery sense, not calibrated; takes a measurement */
    uint8_t (*contacts)(void); /* looks at both at once: PORT_LEAD, the bench lead is detected; PORT_WET, the water
                                  contact is closed (never, where none is fitted) */
    uint8_t (*buttons)(void);  /* bit 0: a is pressed, bit 1: b */
    uint8_t (*steps)(void);    /* 1/64 s since the second began, 0 to 63 */
    void (*send)(uint8_t byte);
};

#endif
