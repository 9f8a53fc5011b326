#include "pad.h"

#include <string.h>

#include "breaks.h"
#include "log.h"
#include "push.h"
#include "trace.h"

#define SAMPLE_US 250u
#define BEGIN_NOISE10 70u /* seven times the noise */
#define AVERAGE 13u       /* 2^13 samples: 2 s */
#define LEARN 2048u       /* samples before anything counts as a strike */
#define QUIET 80u         /* samples under a quarter of the peak that end a strike */
#define LONGEST 8000u
#define WINDOW 800u /* samples of envelope and energy: 200 ms */
#define ENVELOPE_SLOT (WINDOW / FC_ENVELOPE)
#define LOOK_BACK_MS 3000u
#define SLOW_SHIFT 4u /* two poles at 4000 / (2π·16) = 40 Hz */
#define LEAST_VARIANCE (1u << 24)
#define ENERGY_MAX 2000u

static uint32_t root(uint64_t square)
{
    uint64_t found = 0;
    for (uint64_t bit = 1ull << 31; bit; bit >>= 1) {
        uint64_t more = found | bit;
        if (more * more <= square) {
            found = more;
        }
    }
    return (uint32_t)found;
}

/* In Q16, and never less than one step of the converter. */
static uint64_t variance(const struct fc_pad *pad)
{
    return (pad->variance > LEAST_VARIANCE ? pad->variance : LEAST_VARIANCE) >> 8;
}

uint16_t fc_pad_noise(const struct fc_core *core)
{
    return (uint16_t)((root(core->pad.variance >> 8) + 128u) >> 8);
}

/* 100 × log10 of a ratio, as tenths of a dB; 0 below one. */
static uint32_t tenths_of_db(uint64_t energy, uint64_t noise)
{
    int32_t log2[2]; /* in 1/256 */
    uint64_t value[2] = {energy, noise};
    for (unsigned i = 0; i < 2; i++) {
        uint64_t v = value[i] | 1u;
        int32_t whole = 63;
        while (!(v >> 63)) {
            v <<= 1;
            whole--;
        }
        uint64_t x = v >> 32; /* 1 ≤ x / 2^31 < 2 */
        int32_t part = 0;
        for (unsigned bit = 0; bit < 8; bit++) {
            x = x * x >> 31;
            part <<= 1;
            if (x >> 32) {
                x >>= 1;
                part |= 1;
            }
        }
        log2[i] = whole * 256 + part;
    }
    int32_t difference = log2[0] - log2[1];
    uint32_t db10 = difference > 0 ? (uint32_t)difference * 30103u / 256000u : 0;
    return db10 < ENERGY_MAX ? db10 : ENERGY_MAX;
}

static uint32_t scaled(uint32_t value, uint32_t by, uint32_t most, uint32_t limit)
{
    uint64_t part = (uint64_t)value * by / most;
    return part < limit ? (uint32_t)part : limit;
}

/* How many strikes at least a third as high began in the 3 s before, and how long ago the last of them. */
static void company(struct fc_pad *pad, uint32_t peak, uint64_t begin, uint32_t *repeats, uint32_t *repeat_ms)
{
    uint32_t at_ms = (uint32_t)(begin / 1000u);
    *repeats = 0;
    *repeat_ms = 0;
    for (unsigned i = 0; i < FC_RECENT; i++) {
        const struct fc_recent *one = &pad->recent[i];
        uint32_t ago = at_ms - one->at_ms;
        if (one->peak && ago <= LOOK_BACK_MS && one->peak * 3u >= peak) {
            *repeats += 1u;
            *repeat_ms = *repeat_ms == 0 || ago < *repeat_ms ? ago : *repeat_ms;
        }
    }
    struct fc_recent *next = &pad->recent[pad->recent_next++ % FC_RECENT];
    next->at_ms = at_ms;
    next->peak = (uint16_t)peak;
}

static void tell(struct fc_core *core)
{
    struct fc_pad *pad = &core->pad;
    uint32_t noise = root(variance(pad)), peak = (uint32_t)pad->peak;
    uint32_t told[FC_FEATURES];
    told[0] = scaled(peak, BREAK_STRIKE_FEATURES ? 5u : 10u, noise, UINT16_MAX);
    told[1] = pad->peak_at * SAMPLE_US;
    told[2] = pad->width * SAMPLE_US;
    told[3] = tenths_of_db(pad->energy, WINDOW * (variance(pad) >> 8));
    told[4] = (uint32_t)(pad->slow_energy * 100u / pad->energy);
    told[4] = told[4] > 100u ? 100u : told[4];
    company(pad, told[0], pad->begin, &told[5], &told[6]);
    for (unsigned i = 0; i < FC_ENVELOPE; i++) {
        told[7 + i] = scaled((uint32_t)pad->envelope[i] << 8, 255u, peak, 255u);
    }
    pad->length = 0;
    if (fc_pad_strike(core, told, FC_FEATURES, pad->begin)) {
        fc_trace_keep(&core->traces, core->log.number);
    }
}

static void follow(struct fc_pad *pad, int32_t away)
{
    unsigned shift = 0;
    pad->learned++;
    while (shift < AVERAGE && pad->learned >> (shift + 1u)) {
        shift++;
    }
    if (pad->learned == 1u) {
        pad->base += (int64_t)away * 65536;
        return;
    }
    if (pad->learned > 1u << AVERAGE) {
        pad->learned = 1u << AVERAGE;
    }
    uint64_t square = (uint64_t)((int64_t)away * away) << 8;
    pad->base += (int64_t)away * 65536 >> shift;
    pad->variance = pad->variance + (square >> shift) - (pad->variance >> shift);
}

/* One sample of a strike: peak, width, envelope, energy. */
static void measure(struct fc_core *core, int32_t away)
{
    struct fc_pad *pad = &core->pad;
    int32_t size = away < 0 ? -away : away;
    uint32_t index = pad->length++;
    fc_trace_take(&core->traces, index, away);
    if (index < WINDOW) {
        uint16_t *slot = &pad->envelope[index / ENVELOPE_SLOT];
        uint16_t steps = (uint16_t)(size >> 8);
        *slot = steps > *slot ? steps : *slot;
        pad->slow += (away - pad->slow) >> SLOW_SHIFT;
        pad->slower += (pad->slow - pad->slower) >> SLOW_SHIFT;
        int64_t fine = away >> 4, slow = pad->slower >> 4;
        pad->energy += (uint64_t)(fine * fine);
        pad->slow_energy += (uint64_t)(slow * slow);
    }
    if (pad->quiet < QUIET && index < LONGEST) { /* it goes on */
        if (size > pad->peak) {
            pad->peak = size;
            pad->peak_at = index;
        }
        if (size * 4 >= pad->peak) {
            pad->quiet = 0;
            pad->width = index + 1u;
        } else {
            pad->quiet++;
        }
    } else if (index + 1u >= WINDOW) {
        tell(core);
        if (index >= LONGEST) { /* so long a strike is a new rest: louder, or elsewhere */
            pad->learned = 0;
        }
    }
}

static void begin(struct fc_pad *pad, uint64_t at)
{
    pad->begin = at;
    pad->length = pad->quiet = pad->peak_at = pad->width = 0;
    pad->peak = pad->slow = pad->slower = 0;
    pad->energy = pad->slow_energy = 0;
    memset(pad->envelope, 0, sizeof pad->envelope);
}

void fc_pad_take(struct fc_core *core, const int16_t *samples, size_t count, uint64_t first)
{
    struct fc_pad *pad = &core->pad;
    uint32_t level = (uint32_t)((uint64_t)root(variance(pad)) * pad->threshold / 10u); /* good for a batch of 20 ms */
    for (size_t i = 0; i < count && pad->armed; i++) {
        int32_t base = (int32_t)(pad->base >> 16), away = samples[i] * 256 - base;
        uint32_t size = (uint32_t)(away < 0 ? -away : away);
        if (pad->length == 0 && pad->learned >= LEARN && size > level) {
            begin(pad, first + i * SAMPLE_US);
            fc_trace_begin(&core->traces, base, level);
            measure(core, away);
        } else if (pad->length) {
            measure(core, away);
        } else {
            follow(pad, away);
        }
        fc_trace_sample(&core->traces, samples[i]);
    }
}

void fc_pad_arm(struct fc_core *core, bool armed, uint16_t threshold)
{
    struct fc_pad *pad = &core->pad;
    if (armed && !pad->armed) {
        uint64_t before = pad->variance; /* said until there is better */
        memset(pad, 0, sizeof *pad);
        pad->variance = before;
    }
    pad->armed = armed;
    pad->threshold = threshold ? threshold : BEGIN_NOISE10;
}

bool fc_pad_strike(struct fc_core *core, const uint32_t *features, size_t count, uint64_t at)
{
    if ((!core->pad.armed && !BREAK_ARMING) || core->asleep_until || !fc_log_add(core, features, count, at)) {
        return false;
    }
    fc_push_new(core);
    return true;
}
