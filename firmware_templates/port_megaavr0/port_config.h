/* port_config.h: read before every file of the firmware. */
#ifndef PORT_CONFIG_H
#define PORT_CONFIG_H

#define PORT_SECOND __int24
#define PORT_SPAN __uint24

#define PORT_HIDE(pointer) __asm__("" : "+b"(pointer))

#define PORT_APART __attribute__((noinline))

#define PORT_KEPT __attribute__((section(".noinit")))

/* Constants stand in the flash, which is part of the data space here. */
#define PORT_CONST
#define PORT_CONST_BYTE(place) (*(place))
#define PORT_TEXT(text) (text)

#endif
