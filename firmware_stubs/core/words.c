#include "words.h"

#include <string.h>

#include "breaks.h"
#include "gate.h"
#include "log.h"
#include "pad.h"
#include "say_up.h"

#define PRESS_COUNTS_US 120000000u

enum {
    GATE_ON = 1,
    GRANTED = 2,
    ARMED = 4,
    STRIKES = 8,
    ALL_OFF = 16,
    BATTERY_LOW = 32,
    ASLEEP_SOON = 64,
    PRESSED = 128,
};

bool fc_pressed_lately(const struct fc_core *core, uint64_t ticks)
{
    return core->press_known && ticks - core->pressed_at <= PRESS_COUNTS_US;
}

uint16_t fc_flags(struct fc_core *core, uint64_t ticks)
{
    unsigned flags = 0;
    fc_forget_grant(core, ticks);
    flags |= fc_gate_on(core, ticks) ? GATE_ON : 0u;
    flags |= core->held.any ? GRANTED : 0u;
    flags |= core->pad.armed ? ARMED : 0u;
    flags |= core->log.pending ? STRIKES : 0u;
    flags |= core->kept.has & FC_ALL_OFF ? ALL_OFF : 0u;
    flags |= core->load_mv < core->port->unit->low_mv ? BATTERY_LOW : 0u;
    flags |= ticks < core->asleep_until ? ASLEEP_SOON : 0u;
    flags |= fc_pressed_lately(core, ticks) ? PRESSED : 0u;
    return (uint16_t)flags;
}

static struct zcbor_string bytes(const uint8_t *data, size_t size)
{
    struct zcbor_string as_string = {.value = data, .len = size};
    return as_string;
}

static uint64_t shown(struct fc_core *core, uint64_t ticks)
{
    return BREAK_CLOCK_MONOTONIC && ++core->spoiled % 10u == 0 ? ticks - 20000u : ticks;
}

static uint16_t abilities(const struct fc_core *core)
{
    return (uint16_t)(core->port->unit->abilities & (BREAK_ABILITIES_TRUE ? ~FC_CAN_SLEEP : 0xFFFF));
}

static uint32_t grant_id(const struct fc_core *core)
{
    return core->held.any ? core->held.id : 0;
}

size_t fc_say_status(struct fc_core *core, uint8_t *body, uint64_t re, uint64_t ticks)
{
    if (BREAK_STRIKE_STAMPED && core->log.pending) {
        fc_log_restamp(core, core->log.oldest, ticks);
    }
    if (BREAK_STRIKE_RESENT && core->log.pending && ++core->spoiled > 5u) {
        struct fc_logged oldest;
        fc_log_read(core, core->log.oldest, &oldest);
        (void)fc_log_forget(core, oldest.boot, oldest.number);
        core->spoiled = 0;
    }
    if (core->log.pending) {
        return fc_say_strike(core, body, core->log.oldest, re, ticks);
    }
    struct status said;
    size_t size = 0;
    memset(&said, 0, sizeof said);
    said.status_flags = fc_flags(core, ticks);
    said.status_re_present = re != FC_UNASKED;
    said.status_re.status_re = (uint32_t)re;
    said.status_boot = core->kept.boot;
    said.status_ticks = shown(core, ticks);
    said.status_grant_id_present = said.status_since_present = core->held.any && !BREAK_GRANT_BEGINS;
    said.status_grant_id.status_grant_id = core->held.id;
    said.status_since.status_since = ticks >= core->held.from ? core->held.from : 0;
    (void)cbor_encode_status(body, FC_BODY_MAX, &said, &size);
    return size;
}

size_t fc_say_strike(struct fc_core *core, uint8_t *body, uint16_t slot, uint64_t re, uint64_t ticks)
{
    struct strike_told said;
    struct fc_logged logged;
    size_t size = 0;
    memset(&said, 0, sizeof said);
    fc_log_read(core, slot, &logged);
    said.strike_told_flags = fc_flags(core, ticks);
    said.strike_told_re_present = re != FC_UNASKED;
    said.strike_told_re.strike_told_re = (uint32_t)re;
    said.strike_told_boot = core->kept.boot;
    said.strike_told_ticks = shown(core, ticks);
    said.strike_told_count = logged.number;
    said.strike_told_features_u32_m_count = fc_log_features(&logged, said.strike_told_features_u32_m);
    said.strike_told_pending = core->log.pending;
    said.strike_told_dropped = core->kept.dropped;
    said.strike_told_strike_boot = logged.boot;
    said.strike_told_strike_ticks = logged.ticks;
    (void)cbor_encode_strike_told(body, FC_BODY_MAX, &said, &size);
    return size;
}

size_t fc_say_outcome(struct fc_core *core, uint8_t *body, const struct fc_answer *answer, uint64_t re, uint64_t ticks)
{
    struct outcome said;
    size_t size = 0;
    memset(&said, 0, sizeof said);
    said.outcome_flags = fc_flags(core, ticks);
    said.outcome_re_present = re != FC_UNASKED;
    said.outcome_re.outcome_re = (uint32_t)re;
    said.outcome_boot = core->kept.boot;
    said.outcome_ticks = shown(core, ticks);
    said.outcome_generation = core->kept.generation;
    said.outcome_epoch = core->kept.epoch;
    said.outcome_grant_id = grant_id(core);
    said.outcome_result = answer->result;
    said.outcome_reason = answer->reason;
    said.outcome_late = answer->late > UINT32_MAX ? UINT32_MAX : (uint32_t)answer->late;
    (void)cbor_encode_outcome(body, FC_BODY_MAX, &said, &size);
    return size;
}

size_t fc_say_greeting(struct fc_core *core, uint8_t *body, uint64_t re, uint64_t ticks)
{
    const struct fc_unit *unit = core->port->unit;
    struct greeting said;
    size_t size = 0;
    memset(&said, 0, sizeof said);
    said.greeting_flags = fc_flags(core, ticks);
    said.greeting_re_present = re != FC_UNASKED;
    said.greeting_re.greeting_re = (uint32_t)re;
    said.greeting_boot = core->kept.boot;
    said.greeting_ticks = shown(core, ticks);
    said.greeting_hardware = bytes(unit->hardware, sizeof unit->hardware);
    uint8_t wrong[8];
    if (BREAK_GREETING) {
        memcpy(wrong, unit->hardware, sizeof wrong);
        wrong[7] ^= 1u;
        said.greeting_hardware = bytes(wrong, sizeof wrong);
    }
    said.greeting_firmware = bytes((const uint8_t *)unit->firmware, strlen(unit->firmware));
    said.greeting_contract = FC_CONTRACT + (BREAK_CONTRACT_VERSION ? 1u : 0u);
    said.greeting_abilities = abilities(core);
    said.greeting_why = core->why;
    said.greeting_turnaround = BREAK_TURNAROUND ? 20000u : unit->turnaround_us;
    said.greeting_key_version = core->kept.version;
    (void)cbor_encode_greeting(body, FC_BODY_MAX, &said, &size);
    return size;
}

size_t fc_say_report(struct fc_core *core, uint8_t *body, uint64_t re, uint64_t ticks)
{
    struct report said = {0}; /* what no port measures is left out */
    size_t size = 0;
    uint32_t lost = 0;
    for (unsigned i = 0; i < FC_LOST_KINDS; i++) {
        lost += core->lost[i];
    }
    memset(&said, 0, sizeof said);
    said.report_flags = fc_flags(core, ticks);
    said.report_re_present = re != FC_UNASKED;
    said.report_re.report_re = (uint32_t)re;
    said.report_boot = core->kept.boot;
    said.report_ticks = shown(core, ticks);
    said.report_generation = BREAK_REPORT ? 0 : core->kept.generation;
    said.report_epoch = BREAK_REPORT ? 0 : core->kept.epoch;
    said.report_grant_id = grant_id(core);
    said.report_dropped = core->kept.dropped;
    said.report_rest_mv = core->rest_mv;
    said.report_load_mv = core->load_mv;
    said.report_kelvin10 = core->kelvin10;
    said.report_noise = fc_pad_noise(core);
    said.report_charge = core->kept.charge_mas;
    said.report_bad_frames = BREAK_LOSSES_COUNTED ? 0 : lost;
    (void)cbor_encode_report(body, FC_BODY_MAX, &said, &size);
    return size;
}

size_t fc_say_counters(struct fc_core *core, uint8_t *body, const uint8_t nonce[FC_NONCE], uint64_t ticks)
{
    struct counters said;
    size_t size = 0;
    memset(&said, 0, sizeof said);
    said.counters_flags = fc_flags(core, ticks);
    said.counters_boot = core->kept.boot;
    said.counters_ticks = shown(core, ticks);
    said.counters_generation = core->kept.generation;
    said.counters_epoch = core->kept.epoch;
    said.counters_nonce = bytes(BREAK_COUNTERS_ASKED ? core->port->unit->hardware : nonce, FC_NONCE);
    said.counters_key_version = core->kept.version;
    said.counters_down_high = core->now.high - (BREAK_COUNTERS_HIGH && core->now.high ? 1u : 0u);
    (void)cbor_encode_counters(body, FC_BODY_MAX, &said, &size);
    return size;
}

size_t fc_say_hail_answer(struct fc_core *core, uint8_t *body, uint64_t ticks)
{
    const struct fc_unit *unit = core->port->unit;
    struct hail_answer said;
    size_t size = 0;
    memset(&said, 0, sizeof said);
    said.hail_answer_nonce = bytes(core->hailed + FC_NONCE, FC_NONCE);
    said.hail_answer_hardware = bytes(unit->hardware, sizeof unit->hardware);
    said.hail_answer_contract = FC_CONTRACT;
    said.hail_answer_abilities = abilities(core);
    said.hail_answer_pressed = fc_pressed_lately(core, ticks);
    (void)cbor_encode_hail_answer(body, FC_BODY_MAX, &said, &size);
    return size;
}
