/* part.h: megaAVR 0-series: names for what main.c needs. */
#ifndef PART_H
#define PART_H

#include <avr/io.h>

#define RESET_POWER RSTCTRL_PORF_bm
#define RESET_BROWN_OUT RSTCTRL_BORF_bm
#define RESET_WATCHDOG RSTCTRL_WDRF_bm
#define RESET_SOFTWARE RSTCTRL_SWRF_bm

#define SLEEP_REGISTER SLPCTRL.CTRLA
#define SLEEP_LIGHT ((uint8_t)(SLPCTRL_SMODE_IDLE_gc | SLPCTRL_SEN_bm))
#define SLEEP_DEEP ((uint8_t)(SLPCTRL_SMODE_STDBY_gc | SLPCTRL_SEN_bm))

#define PART_RING 64U /* bytes that may wait on the serial line: 5 ms of them */

#define LATER(a, b) ((a) > (b) ? (a) : (b))
#define PART_LAST_VECTOR LATER(RTC_CNT_vect_num, LATER(SERIAL_RXC_NUMBER, LATER(BUTTON_A_NUMBER, BUTTON_B_NUMBER)))

#endif
