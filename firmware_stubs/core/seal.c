#include "seal.h"

#include <string.h>

#include "blake2s.h"
#include "breaks.h"

#define WINDOW 32u

uint32_t fc_read_u32(const uint8_t *at)
{
    return (uint32_t)at[0] << 24 | (uint32_t)at[1] << 16 | (uint32_t)at[2] << 8 | at[3];
}

void fc_write_u32(uint8_t *at, uint32_t value)
{
    for (unsigned i = 0; i < 4; i++) {
        at[i] = (uint8_t)(value >> (24u - 8u * i));
    }
}

static bool sealed_form(uint8_t form)
{
    return form == FC_DOWN || form == FC_ALL_OFF_FORM || form == FC_ASKED || form == FC_UP;
}

bool fc_open(uint8_t *payload, size_t size, struct fc_envelope *env)
{
    if (size < FC_BARE + 1u) {
        return false;
    }
    memset(env, 0, sizeof *env);
    env->form = payload[0];
    env->address = fc_read_u32(payload + 1);
    env->payload = payload;
    if (env->form == FC_TOKEN) {
        env->counter = payload[FC_BARE];
        return size == FC_BARE + 1u;
    }
    if (sealed_form(env->form)) {
        size_t most = FC_HEAD + FC_TAG + (BREAK_FRAMING_LONGEST ? 96u : FC_BODY_MAX);
        if (size <= FC_HEAD + FC_TAG || size > most) {
            return false;
        }
        env->counter = fc_read_u32(payload + FC_BARE);
        env->body = payload + FC_HEAD;
        env->size = size - FC_HEAD - FC_TAG;
        return true;
    }
    env->body = payload + FC_BARE;
    env->size = size - FC_BARE;
    return (env->form == FC_HAIL || env->form == FC_HAIL_ANSWER || env->form == FC_ADD) && env->size <= FC_BODY_MAX;
}

static void tag_of(const uint8_t *payload, size_t size, const uint8_t key[FC_KEY], uint8_t tag[FC_TAG])
{
    struct blake2s hash;
    blake2s_begin(&hash, FC_TAG, key, FC_KEY);
    blake2s_take(&hash, payload, size);
    blake2s_end(&hash, tag);
}

/* In the same time wherever they differ. */
static bool same(const uint8_t *a, const uint8_t *b, size_t size)
{
    uint8_t differs = 0;
    for (size_t i = 0; i < size; i++) {
        differs |= a[i] ^ b[i];
    }
    return differs == 0;
}

static bool holds(const struct fc_envelope *env, const uint8_t key[FC_KEY])
{
    uint8_t tag[FC_TAG];
    size_t size = FC_HEAD + env->size;
    tag_of(env->payload, size, key, tag);
    return same(tag, env->payload + size, BREAK_SEAL_TAG ? FC_TAG - 1u : FC_TAG);
}

#define SPOILED (BREAK_SEAL_BODY || BREAK_SEAL_COUNTER || BREAK_SEAL_DIRECTION || BREAK_SEAL_TARGET)

/* With one part of head or body as a broken build also takes it. */
static bool holds_spoiled(const struct fc_envelope *env, const uint8_t key[FC_KEY])
{
    uint8_t head[FC_HEAD], *last = env->payload + FC_HEAD + env->size - 1u;
    memcpy(head, env->payload, FC_HEAD);
    env->payload[0] = BREAK_SEAL_DIRECTION ? FC_UP : env->form;
    fc_write_u32(env->payload + 1, BREAK_SEAL_TARGET ? env->address ^ 1u : env->address);
    fc_write_u32(env->payload + FC_BARE, BREAK_SEAL_COUNTER ? 0 : env->counter);
    *last ^= BREAK_SEAL_BODY ? 3u : 0u;
    bool well = holds(env, key);
    *last ^= BREAK_SEAL_BODY ? 3u : 0u;
    memcpy(env->payload, head, FC_HEAD);
    return well;
}

bool fc_tag_holds(const struct fc_envelope *env, const uint8_t key[FC_KEY])
{
    return (SPOILED && env->form == FC_DOWN && holds_spoiled(env, key)) || holds(env, key);
}

void fc_retag(uint8_t *payload, size_t size, const uint8_t key[FC_KEY])
{
    tag_of(payload, size, key, payload + size);
}

size_t fc_seal(uint8_t *payload, uint32_t address, uint32_t counter, size_t body, const uint8_t key[FC_KEY])
{
    payload[0] = FC_UP;
    fc_write_u32(payload + 1, address);
    fc_write_u32(payload + FC_BARE, counter);
    fc_retag(payload, FC_HEAD + body, key);
    return FC_HEAD + body + FC_TAG;
}

bool fc_fresh(const struct fc_end *end, uint32_t counter, bool radio)
{
    if (counter > end->high) {
        return true;
    }
    uint32_t behind = end->high - counter;
    if (BREAK_REPLAY_OVERTAKEN && !radio && behind == 1u && !(end->window >> 1 & 1u)) {
        return true;
    }
    if (BREAK_REPLAY_OLDER && behind >= 3u && behind <= 8u) {
        return true;
    }
    if (BREAK_REPLAY_WINDOW) {
        return false;
    }
    return radio && behind < WINDOW && !(end->window >> behind & 1u);
}

void fc_take_counter(struct fc_end *end, uint32_t counter)
{
    if (counter > end->high) {
        uint32_t ahead = counter - end->high;
        end->window = ahead < WINDOW ? end->window << ahead | 1u : 1u;
        end->high = counter;
    } else if (end->high - counter < WINDOW) {
        end->window |= 1u << (end->high - counter);
    }
}

static void take_text(struct blake2s *hash, const char *text)
{
    blake2s_take(hash, (const uint8_t *)text, strlen(text) + 1u); /* with its zero */
}

void fc_unwrap(uint8_t keys[2 * FC_KEY], const uint8_t secret[FC_KEY], const char *label, const uint8_t *nonces,
               size_t size)
{
    struct blake2s hash;
    uint8_t stream[2 * FC_KEY];
    blake2s_begin(&hash, sizeof stream, secret, FC_KEY);
    take_text(&hash, label);
    blake2s_take(&hash, nonces, size);
    blake2s_end(&hash, stream);
    for (unsigned i = 0; i < sizeof stream; i++) {
        keys[i] ^= stream[i];
    }
}

bool fc_proof_holds(const struct fc_core *core, const uint8_t nonces[2 * FC_NONCE], uint32_t version,
                    const uint8_t wrapped[2 * FC_KEY], const uint8_t proof[FC_TAG])
{
    const struct fc_unit *unit = core->port->unit;
    struct blake2s hash;
    uint8_t as_bytes[4], made[FC_TAG];
    fc_write_u32(as_bytes, version);
    blake2s_begin(&hash, FC_TAG, unit->secret, sizeof unit->secret);
    take_text(&hash, "fieldctl add proof");
    blake2s_take(&hash, unit->hardware, sizeof unit->hardware);
    blake2s_take(&hash, nonces, 2u * FC_NONCE);
    blake2s_take(&hash, as_bytes, sizeof as_bytes);
    blake2s_take(&hash, wrapped, 2u * FC_KEY);
    blake2s_end(&hash, made);
    return same(made, proof, FC_TAG);
}

uint32_t fc_slot(const struct fc_core *core, const uint8_t nonce[FC_NONCE], uint32_t salt, uint32_t slots)
{
    struct blake2s hash;
    uint8_t as_byte = (uint8_t)salt, digest[4];
    blake2s_begin(&hash, sizeof digest, NULL, 0);
    blake2s_take(&hash, core->port->unit->hardware, 8);
    blake2s_take(&hash, nonce, FC_NONCE);
    blake2s_take(&hash, &as_byte, 1);
    blake2s_end(&hash, digest);
    return fc_read_u32(digest) % slots;
}
