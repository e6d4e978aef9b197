#include "light.h"

#include "buttons.h"

#define LONG_STEPS 40U
#define SHORT_STEPS 8U
#define GAP_STEPS 16U
#define PAUSE_STEPS 63U
#define SAY_EVERY_S 10U
#define CODE_FIRST_SHIFT (LAYOUT_ESSENTIALS_CODE_BITS - 5U - 24U)

static struct light {
    uint8_t longs, shorts; /* still to come */
    uint8_t left;          /* steps of the present blink or gap, 0: nothing is said */
    bool lit;
    bool code_follows;
    uint8_t wait;          /* s until there may be something to say by itself */
} light;

/* From splash to surfacing it is dark, but for the hold after a power-on reset: as long as buttons do something. */
static PORT_APART void turn(bool on)
{
    light.lit = on;
    dive_port.light(on && buttons_act());
}

static void next(void)
{
    const bool was_lit = light.lit;
    uint8_t steps = GAP_STEPS;
    turn(!was_lit && (light.longs | light.shorts) != 0U);
    if (!was_lit) {
        if (light.longs != 0U) {
            light.longs--;
            steps = LONG_STEPS;
        } else if (light.shorts != 0U) {
            light.shorts--;
            steps = SHORT_STEPS;
        } else if (light.code_follows) {
            const uint8_t digit = (uint8_t)(state.code >> 24) >> CODE_FIRST_SHIFT & 31U;
            light.code_follows = false;
            light.longs = digit / 8U;
            light.shorts = digit % 8U;
            steps = PAUSE_STEPS;
        } else {
            steps = 0;
        }
    }
    light.left = steps;
}

void light_say(uint8_t longs, uint8_t shorts)
{
    turn(false);
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

void light_second(void)
{
    if (light.wait != 0U) {
        light.wait--;
        return;
    }
    light.wait = SAY_EVERY_S - 1U;
    if (light.left != 0U || !buttons_act()) {
        return;
    }
    if ((state.faults & (uint8_t)~LINK_FAULT_SENSE) != 0U) {
        light_say(LIGHT_FAULT);
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
    if (steps < light.left) {
        light.left = (uint8_t)(light.left - steps);
    } else if (light.left != 0U) {
        next();
    }
}
