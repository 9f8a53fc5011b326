#include "sim.h"

#include <stdlib.h>
#include <string.h>

#include "breaks.h"
#include "frames.h"
#include "gate.h"
#include "log.h"
#include "pad.h"
#include "store.h"
#include "trace.h"

static void gate(void *ctx, uint32_t hold_us)
{
    struct fc_sim *sim = ctx;
    if (sim->cut) {
        return;
    }
    struct fc_sim_span *last = sim->spans_count ? &sim->spans[sim->spans_count - 1u] : NULL;
    if (last && sim->now < last->off) {
        last->off = sim->now + hold_us;
        return;
    }
    if (hold_us == 0) {
        return;
    }
    if (sim->spans_count == sim->spans_room) {
        sim->spans_room = sim->spans_room * 2u + 16u;
        sim->spans = realloc(sim->spans, sim->spans_room * sizeof *sim->spans);
    }
    sim->spans[sim->spans_count].on = sim->now;
    sim->spans[sim->spans_count++].off = sim->now + hold_us;
}

static bool gate_reads(void *ctx)
{
    const struct fc_sim *sim = ctx;
    bool open = sim->spans_count && sim->now < sim->spans[sim->spans_count - 1u].off;
    return sim->gate_stuck || (open && !sim->gate_lies);
}

static void level(void *ctx, uint8_t percent)
{
    ((struct fc_sim *)ctx)->level = percent;
}

static bool send_out(void *ctx, const uint8_t *data, size_t size)
{
    struct fc_sim *sim = ctx;
    if (sim->cut || sim->sent_count == FC_SIM_SENT) {
        return false;
    }
    struct fc_sim_sent *sent = &sim->sent[sim->sent_count++];
    sent->at = sim->now;
    sent->size = (uint16_t)size;
    memcpy(sent->data, data, size);
    return true;
}

static void listen(void *ctx, bool on)
{
    ((struct fc_sim *)ctx)->listens = on;
}

static void pad(void *ctx, bool on)
{
    ((struct fc_sim *)ctx)->pad_on = on;
}

static void flash_read(void *ctx, uint32_t offset, void *data, uint32_t size)
{
    memcpy(data, ((struct fc_sim *)ctx)->flash + offset, size);
}

/* Whether this write is the one at which the power goes. */
static bool goes_here(struct fc_sim *sim)
{
    return sim->cut_in && --sim->cut_in == 0;
}

static bool flash_erase(void *ctx, uint32_t page)
{
    struct fc_sim *sim = ctx;
    if (sim->cut || sim->broken_flash || page >= FC_FLASH_PAGES) {
        return false;
    }
    sim->writes++;
    sim->words++;
    sim->cut = goes_here(sim);
    uint8_t part = sim->cut ? (sim->cut_words ? 1u : sim->cut_when) : 2u;
    memset(sim->flash + page * FC_FLASH_PAGE, 0xFF, FC_FLASH_PAGE / 2u * part);
    return !sim->cut;
}

static bool flash_write(void *ctx, uint32_t offset, const void *data, uint32_t size)
{
    struct fc_sim *sim = ctx;
    if (sim->cut || sim->broken_flash || offset % 4u || size % 4u || offset + size > FC_SIM_FLASH) {
        return false;
    }
    sim->writes++;
    uint32_t whole = size, torn = size;
    if (!sim->cut_words && goes_here(sim)) {
        sim->cut = true;
        whole = sim->cut_when == 0 ? 0 : sim->cut_when == 1u ? size / 8u * 4u : size;
        torn = sim->cut_when == 1u ? whole : size;
    }
    for (uint32_t at = 0; at < size; at++) {
        if (at % 4u == 0) {
            sim->words++;
            if (sim->cut_words && goes_here(sim)) {
                sim->cut = true;
                whole = torn = at;
            }
        }
        uint8_t byte = ((const uint8_t *)data)[at];
        if (at >= whole) { /* half of one word got through */
            byte |= at / 4u == torn / 4u && at % 4u < 2u ? 0 : 0xFFu;
        }
        sim->flash[offset + at] &= byte;
    }
    return !sim->cut && memcmp(sim->flash + offset, data, size) == 0;
}

static uint16_t battery(void *ctx, bool loaded)
{
    const struct fc_sim *sim = ctx;
    return loaded ? sim->load_mv : sim->rest_mv;
}

static uint16_t kelvin10(void *ctx)
{
    return ((struct fc_sim *)ctx)->kelvin10;
}

static void entropy(void *ctx, uint8_t *data, size_t size)
{
    struct fc_sim *sim = ctx;
    for (size_t i = 0; i < size; i++) {
        sim->chance = sim->chance * 1664525u + 1013904223u;
        data[i] = sim->nonce_set ? sim->nonce[i % 8u] : (uint8_t)(sim->chance >> 24);
    }
}

static void watchdog(void *ctx)
{
    ((struct fc_sim *)ctx)->watchdog++;
}

struct fc_sim *fc_sim_new(const uint8_t hardware[8], const uint8_t secret[16], const char *firmware, uint16_t abilities,
                          bool radio, uint8_t log_max, uint32_t chance)
{
    struct fc_sim *sim = calloc(1, sizeof *sim);
    const struct fc_port port = {sim,        &sim->unit,  gate,        gate_reads, level,    send_out, listen,  pad,
                                 flash_read, flash_erase, flash_write, battery,    kelvin10, entropy,  watchdog};
    sim->port = port;
    memcpy(sim->unit.hardware, hardware, sizeof sim->unit.hardware);
    memcpy(sim->unit.secret, secret, sizeof sim->unit.secret);
    strncpy(sim->unit.firmware, firmware, sizeof sim->unit.firmware - 1u);
    sim->unit.abilities = abilities;
    sim->unit.radio = radio;
    sim->unit.log_max = log_max;
    sim->unit.turnaround_us = 200;
    sim->unit.weak_mv = 2200;
    sim->unit.low_mv = 2600;
    sim->unit.awake_ua = 3000;
    sim->unit.sending_ua = 12000;
    sim->rest_mv = 3550;
    sim->load_mv = 3350;
    sim->kelvin10 = 2611;
    sim->chance = chance;
    memset(sim->flash, 0xFF, sizeof sim->flash);
    return sim;
}

void fc_sim_free(struct fc_sim *sim)
{
    free(sim->spans);
    free(sim);
}

bool fc_sim_give_keys(struct fc_sim *sim, const uint8_t own[16], const uint8_t all_off[16], uint32_t version)
{
    sim->core.port = &sim->port;
    fc_store_open(&sim->core);
    return fc_give_keys(&sim->core, own, all_off, version);
}

void fc_sim_power_on(struct fc_sim *sim, uint64_t ticks, uint8_t why)
{
    sim->now = ticks;
    sim->on = true;
    sim->cut = false;
    sim->sent_count = 0;
    fc_start(&sim->core, &sim->port, ticks, why);
    sim->next = ticks;
}

void fc_sim_power_off(struct fc_sim *sim)
{
    struct fc_sim_span *last = sim->spans_count ? &sim->spans[sim->spans_count - 1u] : NULL;
    if (last && sim->now < last->off) {
        last->off = sim->now;
    }
    sim->on = false;
}

/* The core's own moments up to `ticks`. */
static void run_to(struct fc_sim *sim, uint64_t ticks)
{
    while (sim->on && !sim->cut && sim->next <= ticks) {
        sim->now = sim->next > sim->now ? sim->next : sim->now;
        sim->next = fc_step(&sim->core, sim->now);
        if (sim->next <= sim->now) {
            sim->next = sim->now + 1u;
        }
    }
    sim->now = ticks > sim->now ? ticks : sim->now;
}

static uint64_t speaks_next(const struct fc_sim *sim)
{
    const struct fc_sending *out = &sim->core.out;
    if (!sim->on || sim->cut) {
        return FC_NEVER;
    }
    if (out->due != FC_NEVER) {
        return out->due;
    }
    if (!sim->unit.radio || (out->pushed == FC_NEVER && !out->greet && !out->fresh && !out->left)) {
        return FC_NEVER;
    }
    bool pushing = out->greet || out->fresh || out->left || out->pushed <= sim->now;
    return pushing ? sim->now + 1000u : out->pushed;
}

uint64_t fc_sim_step(struct fc_sim *sim, uint64_t ticks, int what, uint8_t *data, size_t size)
{
    run_to(sim, ticks);
    if (sim->on && !sim->cut) {
        switch (what) {
        case FC_SIM_BYTES:
            fc_bytes(&sim->core, data, size, sim->now);
            break;
        case FC_SIM_PAYLOAD:
        case FC_SIM_RETAINED:
            fc_payload(&sim->core, data, size, sim->now, what == FC_SIM_RETAINED);
            break;
        case FC_SIM_CONNECTED:
            fc_connected(&sim->core, sim->now);
            break;
        case FC_SIM_PRESSED:
            fc_pressed(&sim->core, sim->now);
            break;
        default:
            break;
        }
        sim->next = sim->now; /* after every input (P3) */
        run_to(sim, ticks);
    }
    return speaks_next(sim);
}

uint64_t fc_sim_samples(struct fc_sim *sim, const int16_t *samples, size_t count, uint64_t first)
{
    for (size_t at = 0; at < count && sim->on && !sim->cut; at += 80) { /* 20 ms at once, as P11 has it */
        size_t some = count - at < 80u ? count - at : 80u;
        run_to(sim, first + (at + some) * 250u);
        if (sim->pad_on) {
            fc_samples(&sim->core, samples + at, some, first + at * 250u);
        }
        sim->next = sim->now;
    }
    run_to(sim, sim->now);
    return speaks_next(sim);
}

size_t fc_sim_pull(struct fc_sim *sim, uint64_t *due)
{
    struct fc_sending *out = &sim->core.out;
    size_t begin = sim->unit.radio ? FC_FRAME_HEAD : 0;
    *due = out->due;
    if (out->due == FC_NEVER || !send_out(sim, out->data + begin, out->size)) {
        return 0;
    }
    out->due = FC_NEVER;
    return out->size;
}

#ifdef BREAKS_CHOSEN
int fc_breaks;

bool fc_sim_break(int number)
{
    fc_breaks = number;
    return true;
}
#else
bool fc_sim_break(int number)
{
    return number == 0;
}
#endif

void fc_sim_trace(struct fc_sim *sim, const int16_t *steps, size_t count, uint16_t begins)
{
    struct fc_traces *traces = &sim->core.traces;
    for (size_t i = 0; i < FC_BEFORE; i++) {
        fc_trace_sample(traces, i < count ? steps[i] : 0);
    }
    fc_trace_begin(traces, 0, (uint32_t)begins << 8);
    for (uint32_t i = FC_BEFORE; i < FC_TRACE; i++) {
        fc_trace_take(traces, i - FC_BEFORE, i < count ? steps[i] * 256 : 0);
    }
    sim->traced = true;
}

bool fc_sim_strike(struct fc_sim *sim, const uint32_t *features, size_t count, uint64_t ticks)
{
    run_to(sim, ticks);
    bool logged = sim->on && !sim->cut && fc_strike(&sim->core, features, count, sim->now);
    if (logged && sim->traced) {
        fc_trace_keep(&sim->core.traces, sim->core.log.number);
    }
    sim->traced = false;
    sim->next = sim->now;
    return logged && !sim->cut;
}

void fc_sim_look(struct fc_sim *sim, struct fc_look *look)
{
    const struct fc_core *core = &sim->core;
    const struct fc_kept *kept = &core->kept;
    const struct fc_held *held = &core->held;
    memset(look, 0, sizeof *look);
    look->boot = kept->boot;
    look->used = kept->used;
    look->seen = kept->seen;
    look->generation = kept->generation;
    look->epoch = kept->epoch;
    look->version = kept->version;
    look->number = core->log.number;
    look->charge_mas = kept->charge_mas;
    look->dropped = kept->dropped;
    memcpy(look->lost, core->lost, sizeof look->lost);
    memcpy(look->own, kept->own, 16);
    memcpy(look->all_off, kept->all_off, 16);
    memcpy(look->before, kept->before, 16);
    look->has_keys = kept->has & FC_HAS_KEYS;
    look->has_before = kept->has & FC_HAS_BEFORE;
    look->damaged = kept->has & FC_DAMAGED;
    look->off = kept->has & FC_ALL_OFF;
    look->armed = core->pad.armed;
    look->threshold = core->pad.threshold;
    look->asleep = core->asleep_until > sim->now;
    look->held = held->any && sim->now < held->until && sim->now < held->limit;
    look->sends = sim->on && core->port && fc_sends_at(core, sim->now);
    look->reads_on = gate_reads(sim);
    look->listens = sim->listens;
    look->grant_id = held->id;
    look->from = held->from;
    look->until = held->until;
    look->limit = held->limit;
    look->period = held->period;
    look->on = held->on;
    look->drop_on = held->drop_on;
    look->drop_off = held->drop_off;
    look->level = held->level;
    look->pending = core->log.pending;
    look->noise = fc_pad_noise(core);
}

uint32_t fc_sim_waiting(struct fc_sim *sim, uint32_t *pairs, uint32_t most)
{
    struct fc_logged one;
    uint32_t count = 0;
    for (uint16_t slot = fc_log_next(&sim->core, FC_LOG_NONE); slot != FC_LOG_NONE && count < most;
         slot = fc_log_next(&sim->core, slot)) {
        fc_log_read(&sim->core, slot, &one);
        pairs[2u * count] = one.boot;
        pairs[2u * count + 1u] = one.number;
        count++;
    }
    return count;
}
