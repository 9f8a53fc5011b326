/* Envelopes, tags, counters, windows and wrapped keys: fieldctl/wire/envelope.py, seal.py and adding.py. */
#ifndef FIELDCTL_SEAL_H
#define FIELDCTL_SEAL_H

#include "state.h"

enum {
    FC_TOKEN = 0x10,
    FC_DOWN = 0x20,
    FC_ALL_OFF_FORM = 0x21,
    FC_ASKED = 0x22,
    FC_UP = 0x30,
    FC_HAIL = 0x40,
    FC_HAIL_ANSWER = 0x41,
    FC_ADD = 0x42,
};

#define FC_EVERYBODY 0xFFFFFFFFu
#define FC_HEAD 9u /* form, target, counter */
#define FC_BARE 5u /* form, target */

struct fc_envelope {
    uint8_t form;
    uint32_t address, counter;
    uint8_t *body;
    size_t size;
    uint8_t *payload; /* for the tag: head and body lie together, the tag after them */
};

uint32_t fc_read_u32(const uint8_t *at);
void fc_write_u32(uint8_t *at, uint32_t value);

/* Takes a payload apart; false when it is no form of the contract. */
bool fc_open(uint8_t *payload, size_t size, struct fc_envelope *env);

/* Whether the tag after head and body is right. */
bool fc_tag_holds(const struct fc_envelope *env, const uint8_t key[FC_KEY]);

/* Puts the tag of head and body, `size` bytes in all, behind them. */
void fc_retag(uint8_t *payload, size_t size, const uint8_t key[FC_KEY]);

/* Seals a body that lies at payload + FC_HEAD; gives the whole size. */
size_t fc_seal(uint8_t *payload, uint32_t address, uint32_t counter, size_t body, const uint8_t key[FC_KEY]);

/* Whether a counter was not seen yet and is not too old to tell; and marking it as seen. */
bool fc_fresh(const struct fc_end *end, uint32_t counter, bool radio);
void fc_take_counter(struct fc_end *end, uint32_t counter);

/* Undoes the wrapping of both keys, in place. */
void fc_unwrap(uint8_t keys[2 * FC_KEY], const uint8_t secret[FC_KEY], const char *label, const uint8_t *nonces,
               size_t size);

/* Whether an add message was made for this unit and these nonces. */
bool fc_proof_holds(const struct fc_core *core, const uint8_t nonces[2 * FC_NONCE], uint32_t version,
                    const uint8_t wrapped[2 * FC_KEY], const uint8_t proof[FC_TAG]);

/* The slot in which a new target answers a hail. */
uint32_t fc_slot(const struct fc_core *core, const uint8_t nonce[FC_NONCE], uint32_t salt, uint32_t slots);

#endif
