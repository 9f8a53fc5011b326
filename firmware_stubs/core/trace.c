#include "trace.h"

#include <string.h>

#include "body.h"
#include "breaks.h"
#include "say_up.h"
#include "words.h"

#define EVERY_US 250u
#define PART 32u /* samples */
#define PARTS (FC_TRACE / PART)

static struct fc_trace *under_way(struct fc_traces *traces)
{
    return &traces->of[traces->next];
}

void fc_trace_sample(struct fc_traces *traces, int16_t sample)
{
    traces->before[traces->seen++ % FC_BEFORE] = sample;
}

/* Puts one sample; all of them are halved as often as it needs to fit. */
static void put(struct fc_trace *trace, uint32_t at, int32_t away)
{
    while (away >> (8 + trace->scale) != (int8_t)(away >> (8 + trace->scale))) {
        trace->scale++;
        for (uint32_t i = 0; i < at; i++) {
            trace->samples[i] = (int8_t)(trace->samples[i] >> 1);
        }
    }
    trace->samples[at] = (int8_t)(away >> (8 + trace->scale));
}

void fc_trace_begin(struct fc_traces *traces, int32_t base, uint32_t level)
{
    struct fc_trace *trace = under_way(traces);
    trace->scale = 0;
    trace->begins = (uint16_t)(level >> 8 < UINT16_MAX ? level >> 8 : UINT16_MAX);
    for (uint32_t i = 0; i < FC_BEFORE; i++) {
        put(trace, i, traces->before[(traces->seen + i) % FC_BEFORE] * 256 - base);
    }
}

void fc_trace_take(struct fc_traces *traces, uint32_t index, int32_t away)
{
    if (index < FC_TRACE - FC_BEFORE) {
        put(under_way(traces), FC_BEFORE + index, away);
    }
}

void fc_trace_keep(struct fc_traces *traces, uint32_t number)
{
    under_way(traces)->number = number;
    traces->next = (uint8_t)((traces->next + 1u) % (FC_TRACES + 1u));
    under_way(traces)->number = 0;
}

#ifdef FC_CONTRACT_WITHOUT_TRACES
size_t fc_say_trace(struct fc_core *core, uint8_t *body, const struct fc_message *ask, uint64_t re, uint64_t ticks)
{
    (void)core, (void)body, (void)ask, (void)re, (void)ticks;
    return 0; /* nobody can ask */
}
#else
size_t fc_say_trace(struct fc_core *core, uint8_t *body, const struct fc_message *ask, uint64_t re, uint64_t ticks)
{
    const struct trace_ask *asked = &ask->is.trace_ask;
    const struct fc_trace *trace = core->traces.of;
    struct trace said;
    size_t size = 0;
    while (trace->number != asked->trace_ask_count && trace < core->traces.of + FC_TRACES) {
        trace++;
    }
    if (trace->number != asked->trace_ask_count || !trace->number || asked->trace_ask_part >= PARTS ||
        asked->trace_ask_strike_boot != core->kept.boot) {
        return 0;
    }
    memset(&said, 0, sizeof said);
    said.trace_flags = fc_flags(core, ticks);
    said.trace_re_present = re != FC_UNASKED;
    said.trace_re.trace_re = (uint32_t)re;
    said.trace_boot = said.trace_strike_boot = core->kept.boot;
    said.trace_ticks = ticks;
    said.trace_count = trace->number;
    said.trace_part = asked->trace_ask_part;
    said.trace_parts = PARTS;
    said.trace_every = EVERY_US;
    said.trace_before = FC_BEFORE;
    said.trace_begins = trace->begins;
    said.trace_scale = trace->scale;
    said.trace_samples.value = (const uint8_t *)trace->samples +
                               PART * (BREAK_STRIKE_TRACED ? PARTS - 1u - said.trace_part : said.trace_part);
    said.trace_samples.len = PART;
    (void)cbor_encode_trace(body, FC_BODY_MAX, &said, &size);
    return size;
}
#endif
