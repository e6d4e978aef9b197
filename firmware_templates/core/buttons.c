#include "buttons.h"

#include "light.h"

#define BUTTON_A 1U
#define BUTTON_B 2U
#define BOTH 3U
#define BOUNCE_STEPS 3U
#define START_STEPS 192U      /* 3 s */
#define STAND_DOWN_STEPS 320U /* 5 s */
#define SHORT_STEPS 96U       /* 1.5 s */
#define GIVE_UP_STEPS 640U    /* something other than a finger */
#define CHANGE_S 60U

static struct {
    bool watched;
    bool acted;      /* until all are released */
    bool stuck;      /* pressed longer than anybody presses: not looked at before it is released */
    uint8_t pressed; /* after bouncing */
    uint8_t seen, seen_steps;
    uint8_t mask;    /* all that took part */
    uint16_t held;   /* steps with all of mask pressed */
    uint8_t pending; /* combination that was chosen and is not confirmed */
    bool has_pending;
} buttons;

static bool may_change(void)
{
    if (!state.armed || !state.has_block || state.said.changes == 0U || state.fired) {
        return false;
    }
    return state.stage == STAGE_ARMED
           || (state.said.trigger == LAYOUT_TRIGGER_BUTTON && state.stage == STAGE_STARTED
               && state.elapsed < (second_t)CHANGE_S);
}

static bool may_stand_down(void)
{
    return state.armed && (!dive_started() || !dive_splashed() || dive_surfaced() || state.held_by_power);
}

bool buttons_act(void)
{
    return may_stand_down();
}

void buttons_wake(void)
{
    if (dive_port.buttons() == 0U) {
        buttons.stuck = false;
    }
    if (buttons_act() && !buttons.watched && !buttons.stuck) {
        buttons.watched = true;
        buttons.acted = false;
        buttons.mask = buttons.pressed = buttons.seen = 0;
        buttons.seen_steps = 0;
        buttons.held = 0;
    }
}

bool buttons_watched(void)
{
    return buttons.watched;
}

static void step_change(uint8_t button)
{
    const uint8_t faster = state.said.faster;
    const uint8_t values = state.said.combinations / faster;
    const uint8_t now = buttons.has_pending ? buttons.pending : state.choice;
    uint8_t slow = now / faster, fast = now % faster;
    if (button == BUTTON_A) {
        slow = (uint8_t)((slow + 1U) % values);
    } else if (state.said.changes < 2U) {
        slow = (uint8_t)((unsigned)(slow + values - 1) % values);
    } else {
        fast = (uint8_t)((fast + 1U) % faster);
    }
    buttons.pending = (uint8_t)(slow * faster + fast);
    buttons.has_pending = true;
    light_say(0, (uint8_t)((button == BUTTON_A || state.said.changes < 2U ? slow : fast) + 1U));
}

static void confirm(void)
{
    if (!buttons.has_pending) {
        light_say_armed();
        return;
    }
    buttons.has_pending = false;
    dive_read_block();
    if (block_allowed(&state.said, buttons.pending)) {
        dive_choose(buttons.pending);
        light_say_change();
    } else {
        light_say_fault();
    }
}

static void released(void)
{
    if (!buttons.acted && buttons.held < SHORT_STEPS && state.armed) {
        if (!may_change()) {
            light_say_armed();
        } else if (buttons.mask == BOTH) {
            confirm();
        } else {
            step_change(buttons.mask);
        }
    }
    buttons.watched = false;
}

static void holding(void)
{
    if (buttons.acted) {
        return;
    }
    if (buttons.mask == BOTH && buttons.held >= STAND_DOWN_STEPS && may_stand_down()) {
        buttons.acted = true;
        buttons.has_pending = false;
        dive_stand_down();
    } else if (buttons.mask == BUTTON_B && buttons.held >= START_STEPS && state.armed && state.has_block
               && state.stage == STAGE_ARMED && state.said.trigger == LAYOUT_TRIGGER_BUTTON) {
        buttons.acted = true;
        dive_start(0);
    }
}

void buttons_pass(uint8_t steps)
{
    if (!buttons.watched || steps == 0U) {
        return;
    }
    const uint8_t now = dive_port.buttons() & BOTH;
    if (now != buttons.seen) {
        buttons.seen = now;
        buttons.seen_steps = 0;
    } else if (buttons.seen_steps < BOUNCE_STEPS) {
        buttons.seen_steps = (uint8_t)(buttons.seen_steps + steps);
    }
    if (buttons.seen_steps >= BOUNCE_STEPS && buttons.pressed != now) {
        buttons.pressed = now;
        if ((now & (uint8_t)~buttons.mask) != 0U) {
            buttons.mask |= now;
            buttons.held = 0; /* the second finger has come: both count from here */
        }
        if (now == 0U && buttons.mask != 0U) {
            released();
            return;
        }
    }
    if (buttons.pressed != 0U && buttons.pressed == buttons.mask) {
        buttons.held = (uint16_t)(buttons.held + steps);
        holding();
    }
    buttons.stuck = buttons.held > GIVE_UP_STEPS;
    if (buttons.stuck || (now == 0U && buttons.mask == 0U && buttons.seen_steps >= BOUNCE_STEPS)) {
        buttons.watched = false;
    }
}
