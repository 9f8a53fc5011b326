#include "hear.h"

#include <string.h>

#include "body.h"
#include "breaks.h"
#include "core.h"
#include "frames.h"
#include "gate.h"
#include "log.h"
#include "obey.h"
#include "power.h"
#include "push.h"
#include "seal.h"
#include "store.h"
#include "trace.h"
#include "words.h"

#define COUNTER_STEP 64u
#define SLOT_US 12000u
#define LISTENS_US 250000u /* how long a sleeper listens each time that it wakes */
#define NO_ABILITY 9u
#define STORAGE 11u
#define NO_SUCH_TRACE 13u

enum { WHAT_GREETING = 1, WHAT_REPORT = 2, WHAT_COUNTERS = 3 };

/* ---- counters --------------------------------------------------------------------------------------------------- */

static void begin_end(struct fc_core *core, struct fc_end *end)
{
    end->high = end->seen_mark = core->kept.seen;
    end->window = UINT32_MAX; /* after a start nothing behind the highest is taken */
    end->used = end->used_mark = core->kept.used;
}

void fc_begin_talking(struct fc_core *core)
{
    begin_end(core, &core->now);
    begin_end(core, &core->before);
    core->cached.size = 0;
    core->speaks = core->kept.has & FC_HAS_KEYS;
    core->speaks_before = false; /* all that it could give is an answer from the cache */
}

static uint32_t ahead(uint32_t value)
{
    return value > UINT32_MAX - COUNTER_STEP ? UINT32_MAX : value + COUNTER_STEP;
}

/* The next counter of its own, written down ahead of use; 0 when that failed or none is left. */
static uint32_t next_used(struct fc_core *core, struct fc_end *end)
{
    if (end->used == UINT32_MAX) {
        return 0;
    }
    uint32_t next = end->used + 1u;
    if (next > end->used_mark) {
        uint32_t mark = ahead(next);
        if (!fc_store_used(core, mark > core->kept.used ? mark : core->kept.used)) {
            return 0;
        }
        end->used_mark = mark;
    }
    return end->used = next;
}

static bool take_counter(struct fc_core *core, struct fc_end *end, uint32_t counter)
{
    fc_take_counter(end, counter);
    if (end->high > end->seen_mark) {
        uint32_t mark = ahead(end->high);
        if (!BREAK_COUNTERS_KEPT && !fc_store_seen(core, mark > core->kept.seen ? mark : core->kept.seen)) {
            return false;
        }
        end->seen_mark = mark;
    }
    return true;
}

/* ---- speaking --------------------------------------------------------------------------------------------------- */

static uint8_t *payload_at(struct fc_core *core)
{
    return core->out.data + FC_FRAME_HEAD;
}

static uint8_t *body_at(struct fc_core *core)
{
    return payload_at(core) + FC_HEAD;
}

static void hand_over(struct fc_core *core, size_t size, uint64_t due)
{
    core->out.size = (uint8_t)(core->port->unit->radio ? size : fc_frame(core->out.data, size));
    core->out.due = due;
}

/* Seals the body that lies in core->out and lets it wait for its moment. */
static bool send_sealed(struct fc_core *core, size_t body, struct fc_end *end, const uint8_t *key, uint64_t ticks)
{
    bool rising = !(BREAK_SEAL_RISING && body_at(core)[2] == 19u && end->used);
    uint32_t counter = rising ? next_used(core, end) : end->used;
    if (counter == 0) {
        fc_count(core, FC_LOST_STORAGE);
        return false;
    }
    size_t size = fc_seal(payload_at(core), fc_address(core), counter, body, key);
    if (BREAK_SEAL_ANSWERS && body_at(core)[2] == 18u) {
        payload_at(core)[size - 1u] ^= 1u;
    }
    hand_over(core, size, ticks + core->port->unit->turnaround_us);
    return true;
}

static bool say(struct fc_core *core, size_t body, uint64_t ticks)
{
    return send_sealed(core, body, &core->now, core->kept.own, ticks);
}

bool fc_push_strike(struct fc_core *core, uint16_t slot, uint64_t ticks)
{
    return say(core, fc_say_strike(core, body_at(core), slot, FC_UNASKED, ticks), ticks);
}

bool fc_push_greeting(struct fc_core *core, uint64_t ticks)
{
    return say(core, fc_say_greeting(core, body_at(core), FC_UNASKED, ticks), ticks);
}

/* GCOVR_EXCL_START of a broken build */
bool fc_push_status(struct fc_core *core, uint64_t ticks)
{
    return core->out.due == FC_NEVER && say(core, fc_say_status(core, body_at(core), FC_UNASKED, ticks), ticks);
}
/* GCOVR_EXCL_STOP */

/* ---- orders ----------------------------------------------------------------------------------------------------- */

/* New keys under the own one in force; what answers the order goes out under that, and so does a repeated one. */
static struct fc_answer rekey(struct fc_core *core, const struct rekey *order)
{
    struct fc_answer answer = {FC_DONE, 0, 0};
    struct fc_kept next = core->kept;
    uint8_t both[2 * FC_KEY];
    memcpy(both, order->rekey_wrapped.value, sizeof both);
    fc_unwrap(both, core->kept.own, "fieldctl rekey", order->rekey_nonce.value, FC_NONCE);
    memcpy(next.before, core->kept.own, FC_KEY);
    memcpy(next.own, both, FC_KEY);
    memcpy(next.all_off, both + FC_KEY, FC_KEY);
    next.version = order->rekey_key_version;
    next.has |= FC_HAS_KEYS | FC_HAS_BEFORE;
    if (!fc_store(core, &next)) {
        answer.result = FC_REFUSED;
        answer.reason = STORAGE;
        return answer;
    }
    core->before = core->now;
    begin_end(core, &core->now);
    core->speaks_before = true;
    return answer;
}

/* Carries an order out, or answers a question; gives the size of the body at body_at(core). */
static size_t carry_out(struct fc_core *core, const struct fc_message *order, uint32_t counter, uint64_t ticks,
                        bool retained)
{
    struct fc_answer answer = {FC_REFUSED, NO_ABILITY, 0};
    uint8_t *body = body_at(core);
    if (order->kind == FC_ASK) {
        if (order->is.ask.ask_what == WHAT_GREETING) {
            core->kept.has &= (uint16_t)~(BREAK_ALLOFF_RELEASED ? FC_ALL_OFF : 0u);
            return fc_say_greeting(core, body, counter, ticks);
        }
        if (order->is.ask.ask_what == WHAT_REPORT) {
            fc_sample_battery(core, ticks);
            return fc_say_report(core, body, counter, ticks);
        }
    } else if (order->kind == FC_TRACE_ASK) {
        if (core->port->unit->abilities & FC_CAN_TRACES) {
            size_t told = fc_say_trace(core, body, order, counter, ticks);
            if (told) {
                return told;
            }
            answer.reason = NO_SUCH_TRACE;
        }
    } else if (order->kind == FC_REKEY) {
        answer = rekey(core, &order->is.rekey);
    } else {
        if (order->kind == FC_GRANT) {
            fc_sample_battery(core, ticks);
        }
        answer = fc_obey(core, order, ticks, retained);
        if (order->kind == FC_ACK) {
            fc_push_soon(core, ticks);
        }
    }
    size_t size = fc_say_outcome(core, body, &answer, counter, ticks);
    if (BREAK_GATE_INSIDE_GRANT && order->kind == FC_ALL_OFF_ORDER) {
        core->spoils_at = ticks + 500000u;
    }
    if (BREAK_ALLOFF_ANSWERED && order->kind == FC_ALL_OFF_ORDER && core->kept.epoch) {
        core->kept.epoch--;
        size = fc_say_outcome(core, body, &answer, counter, ticks);
        core->kept.epoch++;
    }
    return size;
}

/* T2: what the cache keeps of an answer is what was said, not how it was sealed: a repeated one has a counter of its
 * own. */
static void answer_order(struct fc_core *core, const struct fc_message *order, uint32_t counter, uint64_t ticks,
                         bool retained)
{
    uint8_t key[FC_KEY];
    memcpy(key, core->kept.own, FC_KEY);
    size_t size = carry_out(core, order, counter, ticks, retained);
    bool rotated = order->kind == FC_REKEY && core->speaks_before;
    core->cached.counter = counter;
    core->cached.before = rotated;
    core->cached.size = (uint8_t)size;
    memcpy(core->cached.body, body_at(core), size);
    (void)send_sealed(core, size, rotated ? &core->before : &core->now, key, ticks);
    if (order->kind == FC_LEAVE && !(core->kept.has & FC_HAS_KEYS) && !BREAK_LEAVE) {
        core->speaks = core->speaks_before = false;
    }
}

/* T3: the same again, nothing carried out. */
static bool from_cache(struct fc_core *core, struct fc_end *end, uint32_t counter, uint64_t ticks)
{
    bool old = end == &core->before;
    if (core->cached.size == 0 || core->cached.counter != counter || core->cached.before != old ||
        (BREAK_KEYS_ROTATED_AGAIN && old)) {
        return false;
    }
    memcpy(body_at(core), core->cached.body, core->cached.size);
    (void)send_sealed(core, core->cached.size, end, old ? core->kept.before : core->kept.own, ticks);
    return true;
}

/* Broken builds that make something of what is nothing. */
static void spoil_unread(struct fc_core *core, const struct fc_envelope *env, enum fc_lost why)
{
    if (BREAK_SURVIVES_JUNK && env->body[0] >> 5 != 5) {
        fc_start(core, core->port, core->ticks, FC_WHY_FAULT);
    } else if (BREAK_UNKNOWN_KIND && why == FC_LOST_UNKNOWN_KIND) {
        (void)say(core, fc_say_status(core, body_at(core), env->counter, core->ticks), core->ticks);
    }
}

static bool read_order(struct fc_core *core, struct fc_envelope *env, struct fc_message *message)
{
    enum fc_lost why = fc_read_body(core, env->body, env->size, message);
    if (why != FC_LOST_NOTHING) {
        spoil_unread(core, env, why);
        return false;
    }
    if (message->kind == FC_KIND_HAIL || message->kind == FC_KIND_ADD) {
        fc_count(core, FC_LOST_WRONG_KIND);
        return false;
    }
    return true;
}

enum taken { DROPPED, REPEATED, FRESH };

static enum taken take_down(struct fc_core *core, struct fc_envelope *env, struct fc_end *end, const uint8_t *key,
                            struct fc_message *message, uint64_t ticks)
{
    bool forged = BREAK_SEAL_ALLOFF_KEY && fc_tag_holds(env, core->kept.all_off);
    if (!forged && !fc_tag_holds(env, key)) {
        fc_count(core, FC_LOST_BAD_TAG);
        return DROPPED;
    }
    if (!read_order(core, env, message)) {
        return DROPPED;
    }
    if (BREAK_REPLAY_CACHED && end == &core->now && core->cached.size && core->cached.counter == env->counter) {
        return FRESH;
    }
    if (!fc_fresh(end, env->counter, core->port->unit->radio)) {
        if (from_cache(core, end, env->counter, ticks)) {
            return REPEATED;
        }
        fc_count(core, FC_LOST_REPLAYED);
        return DROPPED;
    }
    if (!take_counter(core, end, env->counter)) {
        fc_count(core, FC_LOST_STORAGE);
        return DROPPED;
    }
    return FRESH;
}

static void hear_down(struct fc_core *core, struct fc_envelope *env, uint64_t ticks, bool retained)
{
    struct fc_message message;
    enum taken taken = take_down(core, env, &core->now, core->kept.own, &message, ticks);
    if (taken == DROPPED && core->speaks_before) {
        enum taken old = take_down(core, env, &core->before, core->kept.before, &message, ticks);
        if (BREAK_KEYS_ROTATED && old == FRESH) {
            answer_order(core, &message, env->counter, ticks, retained);
        }
        return;
    }
    if (taken != DROPPED && core->speaks_before && !BREAK_KEYS_ROTATED) {
        struct fc_kept next = core->kept;
        next.has &= (uint16_t)~FC_HAS_BEFORE;
        memset(next.before, 0, sizeof next.before);
        (void)fc_store(core, &next);
        core->speaks_before = false;
    }
    if (taken == FRESH) {
        answer_order(core, &message, env->counter, ticks, retained);
    }
}

/* T5: the question for counters, under counter 0, with a nonce; nothing else is taken in that form. */
static void hear_asked(struct fc_core *core, struct fc_envelope *env, uint64_t ticks)
{
    struct fc_message message;
    if (!fc_tag_holds(env, core->kept.own)) {
        fc_count(core, FC_LOST_BAD_TAG);
        return;
    }
    if (!read_order(core, env, &message)) {
        return;
    }
    if (message.kind != FC_ASK || env->counter != 0 || message.is.ask.ask_what != WHAT_COUNTERS) {
        if (BREAK_COUNTERS_FORM) {
            answer_order(core, &message, env->counter, ticks, false);
            return;
        }
        fc_count(core, FC_LOST_WRONG_FORM);
        return;
    }
    uint8_t nonce[FC_NONCE];
    memcpy(nonce, message.is.ask.ask_nonce.value, FC_NONCE);
    (void)say(core, fc_say_counters(core, body_at(core), nonce, ticks), ticks);
}

/* T6: everybody hears it, so nobody answers. */
static void hear_all_off(struct fc_core *core, struct fc_envelope *env, uint64_t ticks)
{
    struct fc_message message;
    if (!fc_tag_holds(env, core->kept.all_off)) {
        fc_count(core, FC_LOST_BAD_TAG);
        return;
    }
    if (!read_order(core, env, &message)) {
        return;
    }
    if (message.kind != FC_ALL_OFF_ORDER ||
        (message.is.all_off.all_off_epoch != env->counter && !BREAK_ALLOFF_FORGED)) {
        fc_count(core, FC_LOST_WRONG_FORM);
        return;
    }
    if (fc_broadcast_counts(core, message.is.all_off.all_off_epoch) &&
        !(BREAK_ALLOFF_EVERYBODY && fc_sends_at(core, ticks))) {
        (void)fc_obey(core, &message, ticks, false);
    }
}

/* ---- being found and added -------------------------------------------------------------------------------------- */

static bool read_unsealed(struct fc_core *core, struct fc_envelope *env, uint8_t kind, struct fc_message *message)
{
    if (fc_read_body(core, env->body, env->size, message) != FC_LOST_NOTHING) {
        return false;
    }
    if (message->kind != kind) {
        fc_count(core, FC_LOST_WRONG_KIND);
        return false;
    }
    return true;
}

static void hear_hail(struct fc_core *core, struct fc_envelope *env, uint64_t ticks)
{
    struct fc_message message;
    bool everybody = env->address == FC_EVERYBODY;
    if (!read_unsealed(core, env, FC_KIND_HAIL, &message) ||
        (BREAK_HAIL_ANSWERED && core->speaks && !everybody && !fc_pressed_lately(core, ticks))) {
        return;
    }
    if (everybody && core->speaks && !fc_pressed_lately(core, ticks)) {
        return;
    }
    const struct hail *hail = &message.is.hail;
    uint64_t slot = everybody ? fc_slot(core, hail->hail_nonce.value, hail->hail_salt, hail->hail_slots) : 0;
    memcpy(core->hailed, hail->hail_nonce.value, FC_NONCE);
    core->port->entropy(core->port->ctx, core->hailed + FC_NONCE, FC_NONCE);
    core->hailed_known = true;
    uint8_t *payload = payload_at(core);
    size_t body = fc_say_hail_answer(core, payload + FC_BARE, ticks);
    payload[0] = FC_HAIL_ANSWER;
    fc_write_u32(payload + 1, fc_address(core));
    hand_over(core, FC_BARE + body, ticks + core->port->unit->turnaround_us + slot * SLOT_US);
}

static void hear_add(struct fc_core *core, struct fc_envelope *env, uint64_t ticks)
{
    struct fc_message message;
    if (!read_unsealed(core, env, FC_KIND_ADD, &message)) {
        return;
    }
    const struct add *add = &message.is.add;
    if (!core->hailed_known || !(fc_pressed_lately(core, ticks) || BREAK_KEYS_NEED_PRESS)) {
        fc_count(core, FC_LOST_NOT_PRESSED);
        return;
    }
    if (memcmp(add->add_nonce.value, core->hailed + FC_NONCE, FC_NONCE) != 0 ||
        !fc_proof_holds(core, core->hailed, add->add_key_version, add->add_wrapped.value, add->add_proof.value)) {
        fc_count(core, FC_LOST_WRONG_PROOF);
        return;
    }
    uint8_t both[2 * FC_KEY];
    memcpy(both, add->add_wrapped.value, sizeof both);
    fc_unwrap(both, core->port->unit->secret, "fieldctl add", core->hailed, sizeof core->hailed);
    struct fc_kept next = core->kept;
    if (core->kept.has & FC_HAS_KEYS && core->kept.version == add->add_key_version &&
        memcmp(both, core->kept.own, FC_KEY) == 0 && memcmp(both + FC_KEY, core->kept.all_off, FC_KEY) == 0) {
        return; /* the same again */
    }
    fc_end_grant(core);
    memcpy(next.own, both, FC_KEY);
    memcpy(next.all_off, both + FC_KEY, FC_KEY);
    memset(next.before, 0, sizeof next.before);
    next.version = add->add_key_version;
    next.has = FC_HAS_KEYS | FC_ALL_OFF;
    next.generation = next.epoch = 0;
    next.cleared_boot = core->kept.boot; /* another site's strikes are nobody's here */
    next.cleared_number = core->log.number;
    if (!fc_store(core, &next)) {
        fc_count(core, FC_LOST_STORAGE);
        return;
    }
    fc_log_clear(core);
    fc_begin_talking(core);
}

/* ---- one payload ------------------------------------------------------------------------------------------------ */

/* Whether a sleeper happens to listen; being spoken to, or the end of the time, wakes it. */
static bool awake(struct fc_core *core, uint64_t ticks)
{
    if (ticks < core->asleep_until && ((core->asleep_until - ticks) % core->wake_us > LISTENS_US || BREAK_SLEEP)) {
        return false;
    }
    core->asleep_until = 0;
    return true;
}

static bool for_us(const struct fc_core *core, const struct fc_envelope *env)
{
    return env->address == FC_EVERYBODY || env->address == fc_address(core) ||
           (BREAK_BUS_ADDRESS && env->form == FC_TOKEN);
}

static void hear_sealed(struct fc_core *core, struct fc_envelope *env, uint64_t ticks, bool retained)
{
    if (!core->speaks) {
        fc_count(core, FC_LOST_NO_KEYS);
    } else if (env->form == FC_ALL_OFF_FORM) {
        hear_all_off(core, env, ticks);
    } else if (env->address == FC_EVERYBODY) {
        fc_count(core, FC_LOST_NOT_FOR_EVERYBODY);
    } else if (env->form == FC_TOKEN) { /* T1 */
        (void)say(core, fc_say_status(core, body_at(core), env->counter, ticks), ticks);
    } else if (env->form == FC_DOWN) {
        hear_down(core, env, ticks, retained);
    } else if (env->form == FC_ASKED) {
        hear_asked(core, env, ticks);
    } else {
        fc_count(core, FC_LOST_WRONG_FORM);
    }
}

void fc_hear(struct fc_core *core, uint8_t *payload, size_t size, uint64_t ticks, bool retained)
{
    struct fc_envelope env;
    fc_forget_grant(core, ticks);
    if (!fc_open(payload, size, &env)) {
        fc_count(core, FC_LOST_NO_FORM);
        return;
    }
    if (!for_us(core, &env) || (core->asleep_until && !awake(core, ticks))) {
        return;
    }
    if (env.form == FC_HAIL) {
        hear_hail(core, &env, ticks);
    } else if (env.form == FC_ADD && env.address != FC_EVERYBODY) {
        hear_add(core, &env, ticks);
    } else {
        hear_sealed(core, &env, ticks, retained);
    }
}
