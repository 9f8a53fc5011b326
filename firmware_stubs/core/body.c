#include "body.h"

#include "breaks.h"
#include "keys.h"

#define DEPTH_MAX 8u
#define IN_ORDER FC_LOST_NOTHING

struct head {
    uint64_t value;
    uint8_t major, more; /* more: how many bytes of the value follow the first */
};

enum { UINT, NINT, BYTES, TEXT, ARRAY, MAP, TAG, SIMPLE };

/* The head at `*at`; false at the end, and for lengths that are not given or reserved. */
static bool take_head(const uint8_t *body, size_t size, size_t *at, struct head *head)
{
    if (*at >= size) {
        return false;
    }
    uint8_t first = body[(*at)++], low = first & 31u;
    head->major = first >> 5;
    head->value = low;
    head->more = 0;
    if (low < 24) {
        return true;
    }
    if (low > 27) {
        return false;
    }
    head->more = (uint8_t)(1u << (low - 24u));
    if (size - *at < head->more) {
        return false;
    }
    head->value = 0;
    for (unsigned i = 0; i < head->more; i++) {
        head->value = head->value << 8 | body[(*at)++];
    }
    return head->major != SIMPLE || head->more != 1u || head->value >= 32u;
}

/* Passes over one whole item, containers in containers included. */
static bool pass_item(const uint8_t *body, size_t size, size_t *at)
{
    uint8_t left[DEPTH_MAX + 1u]; /* no item here has more parts than a body has bytes */
    unsigned depth = 0;
    left[0] = 1;
    for (;;) {
        while (left[depth] == 0) {
            if (depth-- == 0) {
                return true;
            }
        }
        left[depth]--;
        struct head head;
        if (!take_head(body, size, at, &head)) {
            return false;
        }
        size_t rest = size - *at;
        uint64_t parts = 0;
        if (head.major == BYTES || head.major == TEXT) {
            if (head.value > rest) {
                return false;
            }
            *at += (size_t)head.value;
        } else if (head.major == ARRAY || head.major == MAP) {
            if (head.value > rest) {
                return false;
            }
            parts = head.value << (head.major == MAP);
        } else if (head.major == TAG) {
            parts = 1;
        }
        if (parts) {
            if (parts > rest || ++depth > DEPTH_MAX) {
                return false;
            }
            left[depth] = (uint8_t)parts;
        }
    }
}

/* Where the value of a key lies; 0: nowhere. `pairs` as many as the map has. */
static size_t find_key(const uint8_t *body, size_t size, size_t at, unsigned pairs, uint64_t key)
{
    struct head head;
    while (pairs--) {
        (void)take_head(body, size, &at, &head);
        if (head.value == key) {
            return at;
        }
        (void)pass_item(body, size, &at);
    }
    return 0;
}

/* One well-formed map of distinct whole keys, and nothing after it? Gives its pairs and where they begin. */
static enum fc_lost check_map(const uint8_t *body, size_t size, size_t *first, unsigned *pairs)
{
    size_t at = 0;
    if (!pass_item(body, size, &at)) {
        return FC_LOST_NOT_CBOR;
    }
    if (at != size) {
        return FC_LOST_SURPLUS;
    }
    struct head map, key;
    at = 0;
    (void)take_head(body, size, &at, &map);
    if (map.major != MAP) {
        return FC_LOST_NO_MAP;
    }
    *first = at;
    *pairs = (unsigned)map.value;
    for (unsigned i = 0; i < *pairs; i++) {
        (void)take_head(body, size, &at, &key);
        if (key.major != UINT) {
            return FC_LOST_BAD_KEY;
        }
        if (find_key(body, size, *first, i, key.value)) {
            return FC_LOST_NOT_CBOR;
        }
        (void)pass_item(body, size, &at);
    }
    return IN_ORDER;
}

static bool shortest(const struct head *head)
{
    static const uint64_t LEAST[9] = {0, 24, 0x100, 0, 0x10000, 0, 0, 0, 0x100000000u};
    return head->major == SIMPLE || head->value >= LEAST[head->more];
}

/* The keys of a kind: how many, or -1 when nobody has heard of it. */
static int keys_of(uint64_t kind, const uint8_t **keys)
{
    for (size_t row = 0; row < sizeof CONTRACT_KEYS; row += 2u + CONTRACT_KEYS[row + 1u]) {
        if (CONTRACT_KEYS[row] == kind) {
            *keys = CONTRACT_KEYS + row + 2u;
            return CONTRACT_KEYS[row + 1u];
        }
    }
    return -1;
}

/* The known pairs, in order and in the shortest form? Gives where they end. */
static bool known_first(const uint8_t *body, size_t size, size_t first, const uint8_t *keys, int count, size_t *end)
{
    size_t at = 0;
    struct head head;
    (void)take_head(body, size, &at, &head);
    if (!shortest(&head)) {
        return false;
    }
    at = first;
    for (int i = 0; i < count; i++) {
        (void)take_head(body, size, &at, &head);
        if (head.value != keys[i] || !shortest(&head)) {
            return false;
        }
        size_t value = at;
        (void)take_head(body, size, &value, &head);
        if (!shortest(&head)) {
            return false;
        }
        (void)pass_item(body, size, &at);
    }
    *end = at;
    return true;
}

static int generated(const uint8_t *body, size_t size, struct fc_message *message)
{
    size_t *no_end = NULL;
    switch (message->kind) {
    case FC_GRANT:
        return cbor_decode_grant(body, size, &message->is.grant, no_end);
    case FC_RENEW:
        return cbor_decode_renew(body, size, &message->is.renew, no_end);
    case FC_QUIET:
        return cbor_decode_quiet(body, size, &message->is.quiet, no_end);
    case FC_ALL_OFF_ORDER:
        return cbor_decode_all_off(body, size, &message->is.all_off, no_end);
    case FC_ACK:
        return cbor_decode_ack(body, size, &message->is.ack, no_end);
    case FC_ASK:
        return cbor_decode_ask(body, size, &message->is.ask, no_end);
    case FC_ARM:
        return cbor_decode_arm(body, size, &message->is.arm, no_end);
    case FC_SLEEP:
        return cbor_decode_sleep(body, size, &message->is.sleep, no_end);
    case FC_REKEY:
        return cbor_decode_rekey(body, size, &message->is.rekey, no_end);
    case FC_LEAVE:
        return cbor_decode_leave(body, size, &message->is.leave, no_end);
    case FC_KIND_HAIL:
        return cbor_decode_hail(body, size, &message->is.hail, no_end);
#ifndef FC_CONTRACT_WITHOUT_TRACES
    case FC_TRACE_ASK:
        return cbor_decode_trace_ask(body, size, &message->is.trace_ask, no_end);
#endif
    default:
        return cbor_decode_add(body, size, &message->is.add, no_end);
    }
}

/* GCOVR_EXCL_START What broken builds make of bodies. */
static bool takes_quiet_without_grant(const uint8_t *body, size_t size, size_t first, unsigned pairs,
                                      struct fc_message *message)
{
    struct head head;
    size_t ticks = find_key(body, size, first, pairs, 3), generation = find_key(body, size, first, pairs, 5);
    if (message->kind != FC_QUIET || !ticks || !generation || find_key(body, size, first, pairs, 7)) {
        return false;
    }
    (void)take_head(body, size, &ticks, &head);
    message->is.quiet.quiet_ticks = head.value;
    (void)take_head(body, size, &generation, &head);
    message->is.quiet.quiet_generation = (uint32_t)head.value;
    message->is.quiet.quiet_grant_id = 0;
    return true;
}

static bool has_unknown_list(const uint8_t *body, size_t size, size_t first, unsigned pairs)
{
    for (unsigned key = 50; key < 1000; key++) {
        size_t value = find_key(body, size, first, pairs, key);
        if (value && body[value] >> 5 == ARRAY) {
            return true;
        }
    }
    return false;
}
/* GCOVR_EXCL_STOP */

static enum fc_lost read_body(uint8_t *body, size_t size, struct fc_message *message)
{
    size_t first, end;
    unsigned pairs;
    enum fc_lost wrong = check_map(body, size, &first, &pairs);
    if (wrong != IN_ORDER) {
        return wrong;
    }
    size_t at = find_key(body, size, first, pairs, 0);
    struct head kind;
    if (!at || !take_head(body, size, &at, &kind) || kind.major != UINT) {
        return FC_LOST_UNKNOWN_KIND;
    }
    const uint8_t *keys;
    int count = keys_of(kind.value, &keys);
    if (count <= 0) {
        return count ? FC_LOST_UNKNOWN_KIND : FC_LOST_WRONG_KIND;
    }
    message->kind = (uint8_t)kind.value;
    if ((BREAK_ILL_FORMED && takes_quiet_without_grant(body, size, first, pairs, message)) ||
        (BREAK_UNKNOWN_KEYS && has_unknown_list(body, size, first, pairs))) {
        return BREAK_ILL_FORMED ? IN_ORDER : FC_LOST_BAD_KEY;
    }
    for (int i = 0; i < count; i++) {
        if (!find_key(body, size, first, pairs, keys[i])) {
            return FC_LOST_MISSING_KEY;
        }
    }
    if (!known_first(body, size, first, keys, count, &end)) {
        return FC_LOST_NOT_DETERMINISTIC;
    }
    /* the generated reader is shown the known pairs alone, under a head of one byte */
    body[first - 1u] = (uint8_t)(0xA0 | count);
    return generated(body + first - 1u, end - first + 1u, message) ? FC_LOST_ILL_TYPED : IN_ORDER;
}

enum fc_lost fc_read_body(struct fc_core *core, uint8_t *body, size_t size, struct fc_message *message)
{
    enum fc_lost wrong = read_body(body, size, message);
    if (wrong != IN_ORDER) {
        fc_count(core, wrong);
    }
    return wrong;
}
