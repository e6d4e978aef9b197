#include "buttons.h"

#include "light.h"

#define BUTTON_A 1U
#define BUTTON_B 2U
#define BOTH 3U
#define BOUNCE_LOOKS 3U
#define START_STEPS 192U      /* 3 s */
#define STAND_DOWN_STEPS 320U /* 5 s; whatever is pressed for as long is not looked at before it is released */
#define SHORT_STEPS 96U       /* 1.5 s */
#define CHANGE_S 60

enum phase { IDLE, WATCHED, DONE }; /* done: nothing more comes of it until all are released */

static struct buttons {
    uint8_t phase;
    uint8_t seen;
    uint8_t bounce;  /* looks until what is seen counts */
    uint8_t pressed; /* all that took part */
    uint16_t held;   /* steps since the last of them came */
    uint8_t chosen;  /* combination that waits to be confirmed, counted from 1; 0: none */
} buttons;

bool buttons_act(void)
{
    return state.armed && state.at_hand;
}

void buttons_wake(void)
{
    const bool none = dive_port.buttons() == 0U;
    if (none && buttons.phase == DONE) {
        buttons.phase = IDLE;
    }
    if (!none && buttons.phase == IDLE && buttons_act()) {
        buttons.phase = WATCHED;
        buttons.pressed = buttons.seen = 0;
    }
}

bool buttons_watched(void)
{
    return buttons.phase == WATCHED;
}

static bool by_button(void)
{
    return state.said.trigger == LAYOUT_TRIGGER_BUTTON;
}

static bool may_change(void)
{
    return state.said.changes != 0U
           && (state.stage == STAGE_ARMED
               || (state.stage == STAGE_STARTED && by_button() && state.elapsed < (second_t)CHANGE_S));
}

/* Both go round: a steps the first change on, b the second, or, with one change, that one back. */
static void step_change(bool second)
{
    const uint8_t faster = state.said.faster, all = state.said.combinations;
    uint8_t number = buttons.chosen != 0U ? (uint8_t)(buttons.chosen - 1U) : state.choice;
    const bool of_two = second && state.said.changes > 1U;
    number = (uint8_t)(number + (of_two ? 1U : second ? all - 1U : faster));
    if (number >= all && !of_two) {
        number = (uint8_t)(number - all);
    }
    uint8_t value = 0, rest = number; /* of the first change, of the second */
    while (rest >= faster) {
        rest = (uint8_t)(rest - faster);
        value++;
    }
    if (of_two) {
        value = rest;
        if (value == 0U) {
            number = (uint8_t)(number - faster);
        }
    }
    light_say(0, (uint8_t)(value + 1U));
    buttons.chosen = (uint8_t)(number + 1U);
}

static void confirm(void)
{
    const uint8_t number = (uint8_t)(buttons.chosen - 1U);
    buttons.chosen = 0;
    dive_read_block();
    if (block_allowed(&state.said, number)) {
        dive_choose(number);
        light_say(LIGHT_CHANGE(number));
    } else {
        light_say(LIGHT_FAULT);
    }
}

static void released(void)
{
    if (buttons.pressed == 0U || buttons.held >= SHORT_STEPS || !state.armed) {
        return;
    }
    if (!may_change()) {
        light_say_armed();
    } else if (buttons.pressed != BOTH) {
        step_change(buttons.pressed == BUTTON_B);
    } else if (buttons.chosen != 0U) {
        confirm();
    } else {
        light_say_armed();
    }
}

static void holding(void)
{
    if (buttons.held >= STAND_DOWN_STEPS) {
        buttons.phase = DONE;
        if (buttons.pressed == BOTH && buttons_act()) {
            buttons.chosen = 0;
            dive_stand_down();
        }
    } else if (buttons.held >= START_STEPS && buttons.pressed == BUTTON_B && state.armed
               && state.stage == STAGE_ARMED && by_button()) {
        buttons.phase = DONE;
        dive_start(0);
    }
}

void buttons_pass(uint8_t steps)
{
    if (buttons.phase != WATCHED) {
        return;
    }
    const uint8_t now = dive_port.buttons();
    buttons.held = (uint16_t)(buttons.held + steps);
    if (now != buttons.seen) {
        buttons.seen = now;
        buttons.bounce = BOUNCE_LOOKS;
    }
    if (buttons.bounce != 0U) {
        buttons.bounce--;
    } else if ((now & (uint8_t)~buttons.pressed) != 0U) {
        buttons.pressed |= now;
        buttons.held = 0; /* the second finger has come: both count from here */
    } else if (now == 0U || now != buttons.pressed) {
        buttons.phase = now == 0U ? IDLE : DONE;
        released();
    } else {
        holding();
    }
}
