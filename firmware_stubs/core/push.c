#include "push.h"

#include "breaks.h"
#include "hear.h"
#include "log.h"

#define FIRST_US 400000u
#define LONGEST_US 5000000u
#define PUSH_MAX 8u /* strikes in one push */

static bool may(const struct fc_core *core)
{
    return core->port->unit->radio && core->speaks;
}

/* So that targets that were struck together part: up to 1.3 times the wait. */
static void arm(struct fc_core *core, uint64_t ticks)
{
    uint8_t chance;
    core->port->entropy(core->port->ctx, &chance, 1);
    core->out.pushed = core->log.pending && !BREAK_STRIKE_PUSHED
                           ? ticks + core->out.wait_us + core->out.wait_us / 1024u * chance
                           : FC_NEVER;
    core->out.wait_us = core->out.wait_us * 2u < LONGEST_US ? core->out.wait_us * 2u : LONGEST_US;
}

void fc_push_begin(struct fc_core *core)
{
    core->out.greet = may(core);
    core->out.wait_us = FIRST_US;
    core->out.pushed = may(core) ? 0 : FC_NEVER;
}

void fc_push_new(struct fc_core *core)
{
    if (may(core)) {
        core->out.fresh = true;
    }
}

void fc_push_soon(struct fc_core *core, uint64_t ticks)
{
    if (may(core)) {
        core->out.wait_us = FIRST_US;
        arm(core, ticks);
    }
}

/* The last strike of this boot: those before it have had their turn. */
static void push_fresh(struct fc_core *core, uint64_t ticks)
{
    uint16_t last = (uint16_t)(core->log.next - 1u);
    if (fc_push_strike(core, last, ticks)) {
        core->out.fresh = false;
        if (core->out.pushed > ticks) { /* else all that waits is due in any case */
            core->out.wait_us = FIRST_US;
            arm(core, ticks);
        }
    }
}

uint64_t fc_push_step(struct fc_core *core, uint64_t ticks)
{
    struct fc_sending *out = &core->out;
    if (!may(core)) {
        return FC_NEVER;
    }
    if (out->due != FC_NEVER) {
        return FC_NEVER; /* what waits goes first; then this is asked again */
    }
    if (out->greet) {
        out->greet = !fc_push_greeting(core, ticks);
    } else if (out->fresh) {
        push_fresh(core, ticks);
    } else if (out->left) {
        out->slot = fc_log_next(core, out->slot);
        out->left--;
        if (out->slot == FC_LOG_NONE) {
            out->left = 0;
        } else if (!fc_push_strike(core, out->slot, ticks)) {
            out->left = 0;
        }
    } else if (ticks >= out->pushed) {
        out->left = core->log.pending < PUSH_MAX ? core->log.pending : PUSH_MAX;
        out->slot = FC_LOG_NONE;
        arm(core, ticks);
    } else {
        return out->pushed;
    }
    return ticks + 1000u;
}
