#include "light.h"

#define LONG_STEPS 40U
#define SHORT_STEPS 8U
#define GAP_STEPS 16U
#define SAY_EVERY_S 10U
#define CODE_FIRST_SHIFT (LAYOUT_ESSENTIALS_CODE_BITS - 5U)

static struct {
    uint8_t longs, shorts; /* still to come */
    uint8_t left;          /* steps of the present blink or gap */
    bool lit;
    bool code_follows;
} light;

static void lit(bool on)
{
    light.lit = on;
    dive_port.light(on);
}

static void next(void)
{
    if (light.lit) {
        lit(false);
        light.left = GAP_STEPS;
        return;
    }
    if (light.longs > 0U) {
        light.longs--;
        light.left = LONG_STEPS;
        lit(true);
    } else if (light.shorts > 0U) {
        light.shorts--;
        light.left = SHORT_STEPS;
        lit(true);
    } else if (light.code_follows) {
        const uint8_t digit = (uint8_t)(state.code >> CODE_FIRST_SHIFT & 31U);
        light.code_follows = false;
        light.longs = digit / 8U;
        light.shorts = digit % 8U;
        light.left = 63;
    } else {
        light.left = 0;
    }
}

void light_say(uint8_t longs, uint8_t shorts)
{
    lit(false);
    light.longs = longs;
    light.shorts = shorts;
    light.code_follows = false;
    light.left = 1;
}

void light_say_armed(void)
{
    light_say(1, 0);
    light.code_follows = true;
}

void light_say_change(void)
{
    light_say(2, (uint8_t)(state.choice + 1U));
}

void light_say_fault(void)
{
    light_say(0, 8);
}

/* From splash to surfacing the light is dark, but for the hold after a power-on reset. */
static bool may_shine(void)
{
    return state.armed
           && (state.held_by_power || !dive_started() || !dive_splashed() || dive_surfaced());
}

void light_second(void)
{
    if (!may_shine()) {
        if (light.left != 0U || light.lit) {
            lit(false);
            light.longs = light.shorts = light.left = 0;
            light.code_follows = false;
        }
        return;
    }
    if (light.left != 0U || state.up % (second_t)SAY_EVERY_S != 0) {
        return;
    }
    if (state.held_by_power || (state.faults & (uint16_t)~LINK_FAULT_SENSE) != 0U) {
        light_say_fault();
    } else {
        light_say(0, 1); /* armed, or at the surface: alive */
    }
}

uint8_t light_due(void)
{
    return light.left;
}

void light_pass(uint8_t steps)
{
    if (light.left == 0U) {
        return;
    }
    if (steps < light.left) {
        light.left = (uint8_t)(light.left - steps);
        return;
    }
    light.left = 0;
    next();
}
