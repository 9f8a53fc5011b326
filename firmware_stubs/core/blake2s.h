/* BLAKE2s (RFC 7693), keyed or not, 4 to 32 bytes of result. */
#ifndef FIELDCTL_BLAKE2S_H
#define FIELDCTL_BLAKE2S_H

#include <stddef.h>
#include <stdint.h>

struct blake2s {
    uint32_t h[8];
    uint8_t block[64];
    uint32_t taken; /* bytes before this block */
    uint8_t fill, size;
};

void blake2s_begin(struct blake2s *state, size_t size, const uint8_t *key, size_t key_size);
void blake2s_take(struct blake2s *state, const uint8_t *data, size_t size);
void blake2s_end(struct blake2s *state, uint8_t *digest);

#endif
