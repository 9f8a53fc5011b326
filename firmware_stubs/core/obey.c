#include "obey.h"

#include <stddef.h>
#include <string.h>

#include "breaks.h"
#include "gate.h"
#include "log.h"
#include "pad.h"
#include "store.h"

#define LEASE_MAX_US 120000000u
#define LIMIT_MAX_US 14400000000u /* four hours */

enum {
    NONE,
    OLDER_EPOCH,
    OTHER_BOOT,
    RETAINED,
    KEYING,
    LIMIT,
    LEASE_TOO_LONG,
    NO_SUCH_GRANT,
    BATTERY,
    NO_ABILITY,
    GATE_STUCK,
    STORAGE,
    EMPTY,
};

static struct fc_answer refused(uint8_t reason)
{
    struct fc_answer answer = {FC_REFUSED, reason, 0};
    return answer;
}

static struct fc_answer late_by(uint64_t late)
{
    struct fc_answer answer = {FC_LATE, NONE, BREAK_LATE ? 0 : late};
    return answer;
}

static const struct fc_answer DONE = {FC_DONE, NONE, 0};

static bool is_done(const struct fc_answer *answer)
{
    return answer->result == FC_DONE;
}

static bool can(const struct fc_core *core, uint16_t ability)
{
    return core->port->unit->abilities & ability;
}

/* Rules that many kinds share, in their order: retained, older generation, and for most other boot. */
static struct fc_answer common(const struct fc_core *core, uint32_t generation, bool retained)
{
    struct fc_answer superseded = {FC_SUPERSEDED, NONE, 0};
    if (retained && !BREAK_RETAINED) {
        return refused(RETAINED);
    }
    return generation < core->kept.generation && !BREAK_GENERATION ? superseded : DONE;
}

static bool boot_counts(const struct fc_core *core, uint32_t boot)
{
    return boot == core->kept.boot || (BREAK_OTHER_BOOT && boot > core->kept.boot) ||
           (BREAK_REBOOT_ORDER_IN_FLIGHT && boot + 1u == core->kept.boot);
}

static struct fc_answer common_of_boot(const struct fc_core *core, uint32_t generation, uint32_t boot, bool retained)
{
    struct fc_answer answer = common(core, generation, retained);
    return is_done(&answer) && !boot_counts(core, boot) ? refused(OTHER_BOOT) : answer;
}

static struct fc_answer grant(const struct fc_core *core, const struct grant *order, uint64_t ticks, bool retained)
{
    struct fc_answer answer = common(core, order->grant_generation, retained);
    if (!is_done(&answer)) {
        return answer;
    }
    if (order->grant_epoch < core->kept.epoch && !BREAK_EPOCH_OLDER) {
        return refused(OLDER_EPOCH);
    }
    if (!boot_counts(core, order->grant_boot)) {
        return refused(OTHER_BOOT);
    }
    if (!can(core, FC_CAN_TRANSMITTER)) {
        return refused(NO_ABILITY);
    }
    if (fc_gate_stuck(core, ticks) && !BREAK_GATE_READ_BACK) {
        return refused(GATE_STUCK);
    }
    if (core->load_mv < core->port->unit->weak_mv && !BREAK_BATTERY) {
        return refused(BATTERY);
    }
    if (!fc_keying_legal(order->grant_period, order->grant_on)) {
        return refused(KEYING);
    }
    if (order->grant_until <= order->grant_from && !BREAK_EMPTY) {
        return refused(EMPTY);
    }
    if (!BREAK_LIMIT &&
        (order->grant_until > order->grant_limit || order->grant_limit - order->grant_from > LIMIT_MAX_US)) {
        return refused(LIMIT);
    }
    uint64_t begin = order->grant_from > ticks ? order->grant_from : ticks;
    if (!BREAK_LEASE_TOO_LONG && order->grant_until > begin && order->grant_until - begin > LEASE_MAX_US) {
        return refused(LEASE_TOO_LONG);
    }
    if (order->grant_from < ticks && !(BREAK_EXPIRY && order->grant_until <= ticks)) {
        return late_by(ticks - order->grant_from);
    }
    return core->kept.has & FC_DAMAGED ? refused(STORAGE) : DONE;
}

static struct fc_answer renew(const struct fc_core *core, const struct renew *order, uint64_t ticks, bool retained)
{
    const struct fc_held *held = &core->held;
    struct fc_answer answer = common(core, order->renew_generation, retained);
    if (!is_done(&answer)) {
        return answer;
    }
    if (order->renew_epoch < core->kept.epoch) {
        return refused(OLDER_EPOCH);
    }
    if (!boot_counts(core, order->renew_boot)) {
        return refused(OTHER_BOOT);
    }
    if (!(held->any || (BREAK_RENEW_STARTS_NOTHING && held->id && ticks < held->until + 5000000u)) ||
        held->id != order->renew_grant_id || (ticks >= held->until && !BREAK_RENEW_STARTS_NOTHING)) {
        return refused(NO_SUCH_GRANT);
    }
    if (order->renew_until > held->limit + (BREAK_LIMIT_RENEW ? 1000000u : 0u)) {
        return refused(LIMIT);
    }
    if (!BREAK_LEASE_TOO_LONG && order->renew_until > ticks && order->renew_until - ticks > LEASE_MAX_US) {
        return refused(LEASE_TOO_LONG);
    }
    return order->renew_until <= ticks ? late_by(ticks - order->renew_until) : DONE;
}

static struct fc_answer quiet(const struct fc_core *core, const struct quiet *order, bool retained)
{
    struct fc_answer answer = common(core, order->quiet_generation, retained);
    bool other = order->quiet_grant_id != 0 && (!core->held.any || core->held.id != order->quiet_grant_id);
    return is_done(&answer) && other && !BREAK_QUIET_OTHER ? refused(NO_SUCH_GRANT) : answer;
}

static struct fc_answer word_on(const struct fc_core *core, const struct fc_message *order, uint64_t ticks,
                                bool retained)
{
    struct fc_answer answer = DONE;
    switch (order->kind) {
    case FC_GRANT:
        return grant(core, &order->is.grant, ticks, retained);
    case FC_RENEW:
        return renew(core, &order->is.renew, ticks, retained);
    case FC_QUIET:
        return quiet(core, &order->is.quiet, retained);
    case FC_ARM:
        answer = common_of_boot(core, order->is.arm.arm_generation, order->is.arm.arm_boot, retained);
        return is_done(&answer) && !can(core, FC_CAN_PAD) ? refused(NO_ABILITY) : answer;
    case FC_SLEEP:
        answer = common_of_boot(core, order->is.sleep.sleep_generation, order->is.sleep.sleep_boot, retained);
        return is_done(&answer) && !can(core, FC_CAN_SLEEP) && !BREAK_ABILITIES_TRUE ? refused(NO_ABILITY) : answer;
    case FC_LEAVE:
        return common_of_boot(core, order->is.leave.leave_generation, order->is.leave.leave_boot, retained);
    default:
        return answer; /* all off, whatever the generation; an acknowledgement */
    }
}

bool fc_broadcast_counts(const struct fc_core *core, uint32_t epoch)
{
    return epoch > core->kept.epoch ||
           (epoch == core->kept.epoch && (core->kept.has & FC_ALL_OFF || BREAK_ALLOFF_RECORDED));
}

/* What an order that no rule stopped makes of the grant. */
static void change_grant(struct fc_held *held, const struct fc_message *order, uint64_t ticks)
{
    const struct grant *grant = &order->is.grant;
    uint64_t end;
    switch (order->kind) {
    case FC_GRANT:
        held->any = true;
        held->id = grant->grant_id;
        held->from = grant->grant_from;
        held->until = grant->grant_until;
        held->limit = grant->grant_limit;
        held->period = (uint16_t)grant->grant_period;
        held->on = (uint16_t)grant->grant_on;
        held->level = (uint8_t)grant->grant_level;
        held->drop_on = (uint16_t)grant->grant_drop_on;
        held->drop_off = (uint16_t)grant->grant_drop_off;
        held->any = !(BREAK_EMPTY && held->until <= held->from);
        break;
    case FC_RENEW: /* one that was overtaken by a later one shortens nothing */
        end = order->is.renew.renew_until;
        held->until = end > held->until || BREAK_GRANT_RENEWED ? end : held->until;
        held->any = true;
        break;
    case FC_QUIET:
        end = order->is.quiet.quiet_ticks;
        if (end <= ticks || !held->any) {
            held->any = held->any && BREAK_QUIET;
            held->id = held->any ? held->id : 0;
        } else if (!BREAK_QUIET_TICK) {
            held->limit = held->until = end < held->until ? end : held->until;
        }
        break;
    case FC_ALL_OFF_ORDER:
    case FC_SLEEP:
    case FC_LEAVE:
        held->any = false;
        held->id = 0;
        break;
    default:
        break;
    }
}

/* What has to last of it. */
static void change_kept(struct fc_kept *kept, const struct fc_message *order)
{
    switch (order->kind) {
    case FC_GRANT:
        kept->generation = order->is.grant.grant_generation;
        kept->epoch = order->is.grant.grant_epoch;
        kept->has &= (uint16_t)~FC_ALL_OFF;
        break;
    case FC_RENEW:
        kept->generation = order->is.renew.renew_generation;
        break;
    case FC_QUIET:
        kept->generation = order->is.quiet.quiet_generation;
        break;
    case FC_ARM:
        kept->generation = order->is.arm.arm_generation;
        break;
    case FC_SLEEP:
        kept->generation = order->is.sleep.sleep_generation;
        break;
    case FC_LEAVE:
        kept->has = (uint16_t)((kept->has & (BREAK_LEAVE ? FC_DAMAGED | FC_HAS_KEYS : FC_DAMAGED)) | FC_ALL_OFF);
        if (BREAK_LEAVE) {
            break;
        }
        memset(&kept->version, 0, sizeof *kept - offsetof(struct fc_kept, version));
        break;
    case FC_ALL_OFF_ORDER:
        if (order->is.all_off.all_off_epoch > kept->epoch) {
            kept->epoch = order->is.all_off.all_off_epoch;
        }
        kept->has |= FC_ALL_OFF;
        break;
    default:
        break;
    }
}

/* False when it could not be written: then only what makes it quieter has happened. */
static bool persist(struct fc_core *core, const struct fc_message *order)
{
    if (order->kind == FC_ACK) {
        return fc_log_forget(core, order->is.ack.ack_boot, order->is.ack.ack_count);
    }
    struct fc_kept next = core->kept;
    change_kept(&next, order);
    return memcmp(&next, &core->kept, sizeof next) == 0 || fc_store(core, &next);
}

struct fc_answer fc_obey(struct fc_core *core, const struct fc_message *order, uint64_t ticks, bool retained)
{
    struct fc_answer answer = word_on(core, order, ticks, retained);
    if (!is_done(&answer)) {
        return answer;
    }
    struct fc_held held = core->held;
    change_grant(&held, order, ticks);
    if (!held.any) {
        fc_end_grant(core); /* quiet first, whatever the storage says */
    }
    if (!persist(core, order)) {
        return refused(STORAGE);
    }
    core->held = held;
    switch (order->kind) {
    case FC_GRANT:
        core->gate.closes = 0;
        core->port->gate(core->port->ctx, 0);
        core->gate.mute = false;
        break;
    case FC_ARM:
        fc_pad_arm(core, order->is.arm.arm_armed, (uint16_t)order->is.arm.arm_threshold);
        break;
    case FC_SLEEP:
        fc_pad_arm(core, false, 0);
        core->asleep_until = order->is.sleep.sleep_until;
        core->wake_us = (order->is.sleep.sleep_wake ? order->is.sleep.sleep_wake : 1u) * 1000000ull;
        break;
    default:
        break;
    }
    return answer;
}
