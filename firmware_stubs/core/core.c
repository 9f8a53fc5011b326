#include "core.h"

#include <string.h>

#include "breaks.h"
#include "frames.h"
#include "gate.h"
#include "hear.h"
#include "log.h"
#include "pad.h"
#include "power.h"
#include "push.h"
#include "seal.h"
#include "store.h"

#define FEED_EVERY_US 500000u /* the watchdog */
#define RETRY_US 1000u
#define LISTENS_US 250000u

static uint64_t least(uint64_t a, uint64_t b)
{
    return a < b ? a : b;
}

/* A broken build's clock: 2000 parts in a million fast. */
static uint64_t board_ticks(uint64_t ticks)
{
    return BREAK_CLOCK_DRIFT ? ticks + ticks / 500u : ticks;
}

void fc_start(struct fc_core *core, const struct fc_port *port, uint64_t at, uint8_t why)
{
    uint64_t ticks = board_ticks(at);
    struct fc_held held = core->held;
    memset(core, 0, sizeof *core);
    port->gate(port->ctx, 0);
    core->port = port;
    core->ticks = core->counted_at = core->written_at = ticks;
    core->why = BREAK_REBOOT_NAMED ? FC_WHY_POWER : why;
    core->out.due = core->out.pushed = FC_NEVER;
    core->listening = true;
    port->listen(port->ctx, true);
    port->pad(port->ctx, false);
    fc_store_open(core);
    fc_log_open(core);
    fc_sample_battery(core, ticks);
    struct fc_kept next = core->kept;
    next.boot++;
    next.has &= (uint16_t)~FC_HAS_BEFORE;
    memset(next.before, 0, sizeof next.before);
    if (BREAK_GENERATION_KEPT) {
        next.generation = 0;
    }
    if (BREAK_ALLOFF_KEPT) {
        next.has &= (uint16_t)~FC_ALL_OFF;
    }
    if (BREAK_REBOOT_QUIET && held.any) {
        held.limit = held.until = ticks + 30000000u;
        held.from = ticks;
        core->held = held;
    }
    if (!fc_store(core, &next)) {
        fc_count(core, FC_LOST_STORAGE); /* a boot without a name of its own says nothing */
        return;
    }
    fc_begin_talking(core);
}

/* Sleeping, it listens for a quarter of a second whenever the wake time has gone by. */
static uint64_t sleep_step(struct fc_core *core, uint64_t ticks)
{
    uint64_t next = FC_NEVER;
    bool listen = true;
    if (core->asleep_until && ticks >= core->asleep_until) {
        core->asleep_until = 0;
    }
    if (core->asleep_until) {
        uint64_t into = (core->asleep_until - ticks) % core->wake_us;
        listen = into <= LISTENS_US || core->out.due != FC_NEVER;
        next = ticks + (into > LISTENS_US ? into - LISTENS_US : into + 1u);
    }
    if (listen != core->listening) {
        core->listening = listen;
        core->port->listen(core->port->ctx, listen);
    }
    return next;
}

static void send_step(struct fc_core *core, uint64_t ticks)
{
    struct fc_sending *out = &core->out;
    if (out->due == FC_NEVER || ticks < out->due) {
        return;
    }
    const uint8_t *data = out->data + (core->port->unit->radio ? FC_FRAME_HEAD : BREAK_FRAMING_ANSWER ? 1u : 0u);
    size_t size = out->size - (BREAK_FRAMING_ANSWER && !core->port->unit->radio ? 1u : 0u);
    out->due = core->port->send(core->port->ctx, data, size) ? FC_NEVER : ticks + RETRY_US;
}

static void pad_step(struct fc_core *core)
{
    bool on = core->pad.armed && !core->asleep_until;
    if (on != core->pad_on) {
        core->pad_on = on;
        core->port->pad(core->port->ctx, on);
    }
}

/* What broken builds do by themselves. */
static void spoil_step(struct fc_core *core, uint64_t ticks)
{
    if (BREAK_BUS_SILENT && core->speaks && core->out.due == FC_NEVER && ticks / 1000000u != core->spoiled) {
        core->spoiled = (uint32_t)(ticks / 1000000u);
        (void)fc_push_status(core, ticks);
    }
    if (BREAK_GATE_INSIDE_GRANT && core->spoils_at && ticks >= core->spoils_at) {
        core->spoils_at = 0;
        core->gate.closes = ticks + 100000u;
        core->port->gate(core->port->ctx, 100000u);
    }
    if (BREAK_STRIKE_CUT) {
        fc_log_flush(core, ticks);
    }
}

uint64_t fc_step(struct fc_core *core, uint64_t at)
{
    uint64_t ticks = board_ticks(at);
    core->ticks = ticks;
    core->port->watchdog(core->port->ctx);
    uint64_t next = fc_gate_step(core, ticks); /* the gate first: it has the nearest moments */
    send_step(core, ticks);
    next = least(next, fc_push_step(core, ticks));
    next = least(next, core->out.due);
    next = least(next, sleep_step(core, ticks));
    next = least(next, fc_power_step(core, ticks));
    pad_step(core);
    spoil_step(core, ticks);
    return BREAK_CLOCK_DRIFT ? at + 50u : least(next, ticks + FEED_EVERY_US);
}

void fc_bytes(struct fc_core *core, const uint8_t *data, size_t size, uint64_t at)
{
    size_t payload;
    uint64_t ticks = board_ticks(at);
    core->ticks = ticks;
    for (size_t i = 0; i < size; i++) {
        if (fc_deframe(core, data[i], &payload)) {
            fc_hear(core, core->in.data, payload, ticks, false);
            if (BREAK_FRAMING_TWO) {
                return;
            }
        }
    }
}

void fc_payload(struct fc_core *core, uint8_t *payload, size_t size, uint64_t at, bool retained)
{
    uint64_t ticks = board_ticks(at);
    core->ticks = ticks;
    fc_hear(core, payload, size, ticks, retained);
}

void fc_connected(struct fc_core *core, uint64_t ticks)
{
    core->ticks = ticks;
    fc_push_begin(core);
}

void fc_samples(struct fc_core *core, const int16_t *samples, size_t count, uint64_t first)
{
    fc_pad_take(core, samples, count, board_ticks(first));
}

void fc_pressed(struct fc_core *core, uint64_t at)
{
    uint64_t ticks = board_ticks(at);
    core->ticks = ticks;
    core->pressed_at = ticks;
    core->press_known = true;
}

bool fc_strike(struct fc_core *core, const uint32_t *features, size_t count, uint64_t at)
{
    return fc_pad_strike(core, features, count, board_ticks(at));
}

bool fc_give_keys(struct fc_core *core, const uint8_t own[FC_KEY], const uint8_t all_off[FC_KEY], uint32_t version)
{
    struct fc_kept next = core->kept;
    memcpy(next.own, own, FC_KEY);
    memcpy(next.all_off, all_off, FC_KEY);
    next.version = version;
    next.has = FC_HAS_KEYS;
    if (!fc_store(core, &next)) {
        return false;
    }
    fc_begin_talking(core);
    return true;
}
