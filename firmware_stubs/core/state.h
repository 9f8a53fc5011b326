/* All that a target remembers: what lasts (`kept`, in flash) and what ends with this boot. One struct, no pointers but
   the port, so that a board can put it where it likes and a simulation can have hundreds. Nobody outside core/ writes
   to it. */
#ifndef FIELDCTL_STATE_H
#define FIELDCTL_STATE_H

#include "../port/port.h"

#define FC_KEY 16u
#define FC_TAG 8u
#define FC_NONCE 8u
#define FC_BODY_MAX 104u
#define FC_FRAME_MAX 128u
#define FC_PAYLOAD_MAX 123u
#define FC_FEATURES 15u
#define FC_NEVER UINT64_MAX

enum fc_lost { /* why something was dropped: the words of the shared vectors */
    FC_LOST_OVERSIZED,
    FC_LOST_NOT_COBS,
    FC_LOST_SHORT,
    FC_LOST_CRC,
    FC_LOST_NO_FORM,
    FC_LOST_NO_KEYS,
    FC_LOST_NOT_FOR_EVERYBODY,
    FC_LOST_WRONG_FORM,
    FC_LOST_WRONG_KIND,
    FC_LOST_BAD_TAG,
    FC_LOST_REPLAYED,
    FC_LOST_NOT_CBOR,
    FC_LOST_NO_MAP,
    FC_LOST_SURPLUS,
    FC_LOST_BAD_KEY,
    FC_LOST_UNKNOWN_KIND,
    FC_LOST_MISSING_KEY,
    FC_LOST_ILL_TYPED,
    FC_LOST_NOT_DETERMINISTIC,
    FC_LOST_NOT_PRESSED,
    FC_LOST_WRONG_PROOF,
    FC_LOST_STORAGE, /* its counter could not be written ahead of use: it had to stay silent */
    FC_LOST_KINDS,
    FC_LOST_NOTHING = FC_LOST_KINDS
};

enum { FC_HAS_KEYS = 1, FC_HAS_BEFORE = 2, FC_DAMAGED = 4, FC_ALL_OFF = 8 };

struct fc_kept { /* as it lies in flash; the first part alone is written most often */
    uint32_t boot;
    uint32_t used; /* counters: always ahead of use */
    uint32_t seen;
    uint32_t generation;
    uint32_t epoch;
    uint32_t cleared_boot; /* strikes up to this one are no longer anybody's */
    uint32_t cleared_number;
    uint32_t charge_mas;
    uint16_t dropped;
    uint16_t has; /* FC_HAS_… */
    uint32_t version;
    uint8_t own[FC_KEY];
    uint8_t all_off[FC_KEY];
    uint8_t before[FC_KEY]; /* until the new ones were used */
};

struct fc_held { /* the grant in force */
    uint64_t from, until, limit;
    uint32_t id;
    uint16_t period, on, drop_on, drop_off;
    uint8_t level;
    bool any;
};

struct fc_end {      /* one end of a conversation under one key */
    uint32_t high;   /* the controller's highest counter */
    uint32_t window; /* which of the 32 up to it were seen */
    uint32_t seen_mark;
    uint32_t used, used_mark;
};

struct fc_cached { /* the answer to the last order */
    uint32_t counter;
    uint8_t size, before; /* before: given under the keys before */
    uint8_t body[FC_BODY_MAX];
};

struct fc_deframer {
    uint16_t size;
    uint8_t zeros; /* in a row */
    bool skip;     /* the next frame is lost: in broken builds only */
    uint8_t data[FC_FRAME_MAX];
};

struct fc_sending {
    uint64_t due;    /* FC_NEVER: nothing waits */
    uint64_t pushed; /* when to push next; FC_NEVER: not */
    uint32_t wait_us;
    uint16_t slot; /* of this push, the last that went */
    uint8_t left;  /* and how many more */
    bool greet, fresh;
    uint8_t size;
    uint8_t data[FC_FRAME_MAX + 2];
};

struct fc_gate {
    uint64_t opened, closes; /* the pulse under way; closes 0: none */
    uint64_t again;          /* when the one-shot is triggered next */
    bool mute;               /* the last pulse was not seen at the read-back */
};

#define FC_LOG_SLOTS 120u
#define FC_LOG_NONE 0xFFFFu

struct fc_log {      /* of the strikes in flash */
    uint16_t next;   /* slot to be written; at a page's begin: none is being filled */
    uint16_t oldest; /* slot of the oldest that waits */
    uint8_t pending;
    uint8_t waits[FC_LOG_SLOTS / 8u];
    uint32_t number; /* of the last one of this boot */
};

#define FC_RECENT 12u
#define FC_ENVELOPE 8u

struct fc_recent {
    uint32_t at_ms;
    uint16_t peak;
};

struct fc_pad {
    bool armed;
    uint8_t recent_next;
    uint16_t threshold;   /* in tenths of the noise */
    uint32_t learned;     /* samples */
    int64_t base;         /* Q24: an average over 2^13 samples loses 13 bits of each */
    uint64_t variance;    /* Q24 */
    int32_t slow, slower; /* Q8, below 40 Hz */
    /* the strike under way */
    uint64_t begin;
    uint32_t length, quiet; /* samples; length 0: none */
    uint32_t peak_at;
    int32_t peak;
    uint32_t width;
    uint64_t energy, slow_energy;
    uint16_t envelope[FC_ENVELOPE];
    struct fc_recent recent[FC_RECENT];
};

#define FC_TRACES 4u  /* that can be told */
#define FC_TRACE 128u /* samples of each: 32 ms */
#define FC_BEFORE 8u  /* of them before the strike begins */

struct fc_trace {
    uint32_t number; /* of the strike in this boot; 0: there is none */
    uint16_t begins; /* what its first sample had to exceed, in steps */
    uint8_t scale;
    int8_t samples[FC_TRACE]; /* steps about the baseline as it was at the begin, shifted right by the scale */
};

struct fc_traces {
    struct fc_trace of[FC_TRACES + 1u];
    uint8_t next; /* the one that the next strike goes to: the oldest */
    uint8_t seen; /* samples, modulo 256 */
    int16_t before[FC_BEFORE];
};

struct fc_core {
    const struct fc_port *port;
    struct fc_kept kept;
    struct fc_held held;
    struct fc_end now, before;
    struct fc_cached cached;
    struct fc_deframer in;
    struct fc_sending out;
    struct fc_gate gate;
    struct fc_log log;
    struct fc_pad pad;
    struct fc_traces traces;
    uint64_t ticks; /* of the last call */
    uint64_t pressed_at;
    uint64_t asleep_until; /* 0: awake */
    uint64_t sampled_at;   /* the battery */
    uint64_t counted_at;   /* the charge */
    uint64_t charge_rest;  /* in 1e-9 mA·s */
    uint64_t written_at;
    uint64_t wake_us; /* up to 18 hours */
    uint32_t store_at; /* where the next record of `kept` goes */
    uint32_t store_seq;
    uint16_t rest_mv, load_mv, kelvin10;
    uint16_t lost[FC_LOST_KINDS];
    uint8_t hailed[2 * FC_NONCE]; /* theirs and ours */
    uint32_t spoiled;             /* what a broken build has to remember */
    uint64_t spoils_at;
    uint8_t why;
    bool speaks; /* this boot has its id on file, and there are keys */
    bool speaks_before;
    bool press_known, hailed_known, listening, pad_on;
};

static inline uint32_t fc_address(const struct fc_core *core)
{
    const uint8_t *id = core->port->unit->hardware + 4;
    return (uint32_t)id[0] << 24 | (uint32_t)id[1] << 16 | (uint32_t)id[2] << 8 | id[3];
}

static inline void fc_count(struct fc_core *core, enum fc_lost kind)
{
    if (core->lost[kind] < UINT16_MAX) {
        core->lost[kind]++;
    }
}

#endif
