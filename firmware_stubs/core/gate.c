#include "gate.h"

#include "breaks.h"

#define ON_MIN_MS (BREAK_KEYING_REFUSED ? 69u : 70u)
#define OFF_MIN_MS 400u
#define PERIOD_MIN_MS 700u
#define PERIOD_MAX_MS (BREAK_KEYING_LEGAL ? 1299u : 1300u)
#define TENTH_US 100000ull
#define LATE_MAX_US 2000u /* later than that a pulse is left out: none is ever shorter than was ordered */
#define SETTLES_US 500u /* before a fallen gate is read */

bool fc_keying_legal(uint32_t period, uint32_t on)
{
    return period >= PERIOD_MIN_MS && period <= PERIOD_MAX_MS && on >= ON_MIN_MS && on <= period - OFF_MIN_MS;
}

static uint64_t least(uint64_t a, uint64_t b)
{
    return a < b ? a : b;
}

static uint64_t end_of(const struct fc_held *held)
{
    return least(held->until, held->limit) + (BREAK_GRANT_RUNS_OUT && held->until < held->limit ? 1000000u : 0u);
}

/* The stretch between two drop-outs that is going on or comes next. */
static void stretch(const struct fc_held *held, uint64_t ticks, uint64_t *begin, uint64_t *end)
{
    *begin = held->from;
    *end = end_of(held);
    if (held->drop_off && !BREAK_GRANT_DROPPING_OUT) {
        uint64_t on = held->drop_on * TENTH_US, cycle = on + held->drop_off * TENTH_US; /* an hour each: over 32 bits */
        uint64_t into = ticks > held->from ? ticks - held->from : 0;
        uint64_t passed = into - into % cycle;
        if (into % cycle >= on) {
            passed += cycle;
        }
        *begin += passed;
        *end = least(*end, *begin + on);
    }
}

bool fc_sends_at(const struct fc_core *core, uint64_t ticks)
{
    uint64_t begin, end;
    if (!core->held.any) {
        return false;
    }
    stretch(&core->held, ticks, &begin, &end);
    return ticks >= begin && ticks < end;
}

bool fc_gate_stuck(const struct fc_core *core, uint64_t ticks)
{
    bool settled = !core->gate.closes || ticks >= core->gate.closes + SETTLES_US;
    return settled && core->port->gate_reads(core->port->ctx) && !fc_sends_at(core, ticks);
}

bool fc_gate_on(struct fc_core *core, uint64_t ticks)
{
    if (fc_sends_at(core, ticks)) {
        return !core->gate.mute || BREAK_GATE_READ_BACK;
    }
    return fc_gate_stuck(core, ticks) && !BREAK_GATE_READ_BACK;
}

void fc_end_grant(struct fc_core *core)
{
    if (core->held.any) {
        core->held.any = false;
        core->gate.closes = core->gate.closes ? least(core->gate.closes, core->ticks) : 0;
        core->port->gate(core->port->ctx, 0);
    }
}

void fc_forget_grant(struct fc_core *core, uint64_t ticks)
{
    if (core->held.any && ticks >= end_of(&core->held)) {
        fc_end_grant(core);
    }
}

static void trigger(struct fc_core *core, uint64_t ticks)
{
    uint64_t left = core->gate.closes - ticks;
    core->port->gate(core->port->ctx, (uint32_t)least(left, FC_HOLD_US));
    core->gate.again = left > FC_AGAIN_US ? ticks + FC_AGAIN_US : core->gate.closes;
}

uint64_t fc_gate_step(struct fc_core *core, uint64_t ticks)
{
    const struct fc_held *held = &core->held;
    struct fc_gate *gate = &core->gate;
    fc_forget_grant(core, ticks);
    if (!held->any) {
        return FC_NEVER;
    }
    if (gate->closes > ticks) { /* a pulse is under way */
        if (ticks >= gate->again) {
            gate->mute = !core->port->gate_reads(core->port->ctx);
            trigger(core, ticks);
        }
        return least(gate->again, end_of(held));
    }
    uint64_t begin, end;
    stretch(held, ticks, &begin, &end);
    uint32_t period = held->period * 1000u, on = held->on * 1000u + (BREAK_KEYING_MEASURED ? 5000u : 0u);
    if (BREAK_CLOCK_DRIFT) { /* its pulses are as ordered all the same */
        period += period / 500u;
        on += on / 500u;
    }
    uint64_t into = ticks > begin ? ticks - begin : 0;
    uint64_t pulse = begin + (into - into % period); /* the one that is due, late or not */
    if (gate->opened >= pulse && gate->closes) {
        pulse += period; /* it was sent already */
    }
    if (ticks >= pulse && ticks - pulse <= LATE_MAX_US) {
        if (ticks + on <= end) {
            gate->opened = ticks;
            gate->closes = ticks + on;
            core->port->level(core->port->ctx, held->level);
            trigger(core, ticks);
            return least(gate->again, end_of(held));
        }
        pulse = end; /* it would not be whole: the next stretch, or the end */
    } else if (ticks >= pulse) {
        pulse += period;
    }
    return least(pulse, end_of(held));
}
