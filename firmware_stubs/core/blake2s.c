#include "blake2s.h"

#include <string.h>

static const uint32_t IV[8] = {0x6A09E667u, 0xBB67AE85u, 0x3C6EF372u, 0xA54FF53Au,
                               0x510E527Fu, 0x9B05688Cu, 0x1F83D9ABu, 0x5BE0CD19u};

static const uint8_t SIGMA[10][8] = {
    /* two to a byte */
    {0x01, 0x23, 0x45, 0x67, 0x89, 0xAB, 0xCD, 0xEF}, {0xEA, 0x48, 0x9F, 0xD6, 0x1C, 0x02, 0xB7, 0x53},
    {0xB8, 0xC0, 0x52, 0xFD, 0xAE, 0x36, 0x71, 0x94}, {0x79, 0x31, 0xDC, 0xBE, 0x26, 0x5A, 0x40, 0xF8},
    {0x90, 0x57, 0x24, 0xAF, 0xE1, 0xBC, 0x68, 0x3D}, {0x2C, 0x6A, 0x0B, 0x83, 0x4D, 0x75, 0xFE, 0x19},
    {0xC5, 0x1F, 0xED, 0x4A, 0x07, 0x63, 0x92, 0x8B}, {0xDB, 0x7E, 0xC1, 0x39, 0x50, 0xF4, 0x86, 0x2A},
    {0x6F, 0xE9, 0xB3, 0x08, 0xC2, 0xD7, 0x14, 0xA5}, {0xA2, 0x84, 0x76, 0x15, 0xFB, 0x9E, 0x3C, 0xD0}};

static uint32_t turn(uint32_t x, unsigned by)
{
    return x >> by | x << (32u - by);
}

static uint32_t word(const uint8_t *at)
{
    return at[0] | (uint32_t)at[1] << 8 | (uint32_t)at[2] << 16 | (uint32_t)at[3] << 24;
}

static void mix(struct blake2s *state, uint32_t last)
{
    uint32_t v[16];
    memcpy(v, state->h, sizeof state->h);
    memcpy(v + 8, IV, sizeof IV);
    v[12] ^= state->taken;
    v[14] ^= last;
    for (unsigned step = 0; step < 80; step++) {
        unsigned i = step % 8u, diagonal = i >= 4u;
        unsigned a = i % 4u, b = 4u + (i + diagonal) % 4u, c = 8u + (i + 2u * diagonal) % 4u;
        unsigned d = 12u + (i + 3u * diagonal) % 4u;
        uint8_t pair = SIGMA[step / 8u][i];
        v[a] += v[b] + word(state->block + 4u * (pair >> 4));
        v[d] = turn(v[d] ^ v[a], 16);
        v[c] += v[d];
        v[b] = turn(v[b] ^ v[c], 12);
        v[a] += v[b] + word(state->block + 4u * (pair & 15u));
        v[d] = turn(v[d] ^ v[a], 8);
        v[c] += v[d];
        v[b] = turn(v[b] ^ v[c], 7);
    }
    for (unsigned i = 0; i < 8; i++) {
        state->h[i] ^= v[i] ^ v[i + 8];
    }
}

void blake2s_begin(struct blake2s *state, size_t size, const uint8_t *key, size_t key_size)
{
    memset(state, 0, sizeof *state);
    memcpy(state->h, IV, sizeof IV);
    state->h[0] ^= 0x01010000u ^ (uint32_t)key_size << 8 ^ (uint32_t)size;
    state->size = (uint8_t)size;
    if (key_size) {
        memcpy(state->block, key, key_size);
        state->fill = sizeof state->block;
    }
}

void blake2s_take(struct blake2s *state, const uint8_t *data, size_t size)
{
    for (size_t i = 0; i < size; i++) {
        if (state->fill == sizeof state->block) {
            state->taken += sizeof state->block;
            mix(state, 0);
            state->fill = 0;
        }
        state->block[state->fill++] = data[i];
    }
}

void blake2s_end(struct blake2s *state, uint8_t *digest)
{
    state->taken += state->fill;
    memset(state->block + state->fill, 0, sizeof state->block - state->fill);
    mix(state, 0xFFFFFFFFu);
    for (unsigned i = 0; i < state->size; i++) {
        digest[i] = (uint8_t)(state->h[i / 4u] >> 8 * (i % 4u));
    }
}
