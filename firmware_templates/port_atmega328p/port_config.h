/* port_config.h: read before every file of the firmware. */
#ifndef PORT_CONFIG_H
#define PORT_CONFIG_H

#include <avr/pgmspace.h>

#define PORT_SECOND __int24
#define PORT_SPAN __uint24

#define PORT_HIDE(pointer) __asm__("" : "+b"(pointer))

#define PORT_APART __attribute__((noinline))

#define PORT_KEPT __attribute__((section(".noinit")))

/* Constants stay in the flash, which is no part of the data space here. */
#define PORT_CONST PROGMEM
#define PORT_CONST_BYTE(place) pgm_read_byte(place)
#define PORT_TEXT(text) PSTR(text)

#endif
