/* port_config.h: read before every file of the firmware. */
#ifndef PORT_CONFIG_H
#define PORT_CONFIG_H

#define PORT_SECOND __int24
#define PORT_SPAN __uint24

#define PORT_HIDE(pointer) __asm__("" : "+b"(pointer))

#define PORT_APART __attribute__((noinline))

/* All registers that a function must leave as they are count as used, and a shared piece of program saves them at once;
   those that a function uses by itself have gaps between them, and it would save one by one. */
#define PORT_SAVES                                                                                                     \
    __asm__ volatile("" ::: "r2", "r3", "r4", "r5", "r6", "r7", "r8", "r9", "r10", "r11", "r12", "r13", "r14", "r15", \
                     "r16", "r17")

#define PORT_KEPT __attribute__((section(".noinit")))

#if __AVR_ARCH__ >= 100 /* the flash is part of the data space */
#define PORT_CONST
#define PORT_CONST_BYTE(place) (*(place))
#define PORT_TEXT(text) (text)
#else
#include <avr/pgmspace.h>
#define PORT_CONST PROGMEM
#define PORT_CONST_BYTE(place) pgm_read_byte(place)
#define PORT_TEXT(text) PSTR(text)
#endif

#endif
