/* The receive path under a coverage-guided fuzzer: whatever arrives, the core lives on, within its memory, and never
   sends without a grant. An input is a row of pieces: what happens, how many bytes, and the bytes.

       fuzz [libFuzzer's options]                until it is told to stop
       FUZZ_BYTES=10000000 fuzz -seed=7 …        ends well after so many bytes of its making that reached the receiver */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "seal.h"
#include "sim.h"

#define S 1000000u

enum { RAW, PAYLOAD, SEALED, ASKED, ALL_OFF, UNSEALED, TIME, SAMPLES, STRIKE, POWER, BROKEN, PRESS, WHATS };

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const uint8_t OWN[16] = "own key of fuzz", OFF[16] = "off key of fuzz";
static uint64_t bytes_in, most;

/* A body sealed as the controller would, so that the fuzzer gets behind the tag. */
static size_t sealed(struct fc_sim *sim, uint8_t *out, uint8_t form, uint32_t counter, const uint8_t *body, size_t size)
{
    size_t whole;
    memcpy(out + FC_HEAD, body, size);
    whole = fc_seal(out, form == FC_ALL_OFF_FORM ? FC_EVERYBODY : fc_address(&sim->core), counter, size, OWN);
    out[0] = form;
    fc_retag(out, FC_HEAD + size, form == FC_ALL_OFF_FORM ? OFF : OWN);
    return whole;
}

static void check(struct fc_sim *sim)
{
    struct fc_look look;
    fc_sim_look(sim, &look);
    bool open = sim->spans_count && sim->now < sim->spans[sim->spans_count - 1u].off;
    if ((open && !look.sends) || (look.sends && !look.held) || look.pending > sim->unit.log_max) {
        abort();
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const uint8_t hardware[8] = {0, 1, 2, 3, 0x0a, 0x1b, 0x2c, 0x3d}, secret[16] = "factory secret f";
    struct fc_sim *sim = fc_sim_new(hardware, secret, "fuzz", 0x3FF, size & 1u, 8, (uint32_t)size);
    uint32_t counter = 0;
    uint64_t ticks = S;
    (void)fc_sim_give_keys(sim, OWN, OFF, 1);
    fc_sim_power_on(sim, 0, 0);
    while (size >= 2) {
        uint8_t what = data[0] % WHATS, buffer[256];
        size_t some = data[1];
        data += 2;
        size -= 2;
        some = some < size ? some : size;
        size_t body = some < FC_BODY_MAX ? some : FC_BODY_MAX;
        memset(buffer, 0, sizeof buffer);
        memcpy(buffer, data, some);
        if (what <= UNSEALED) { /* the receiver's; times, samples and the rest are not counted */
            bytes_in += what <= PAYLOAD ? some : body;
        }
        switch (what) {
        case RAW:
            (void)fc_sim_step(sim, ticks, FC_SIM_BYTES, buffer, some);
            break;
        case PAYLOAD:
            (void)fc_sim_step(sim, ticks, some & 1u ? FC_SIM_RETAINED : FC_SIM_PAYLOAD, buffer, some);
            break;
        case SEALED:
            counter++;
            (void)fc_sim_step(sim, ticks, FC_SIM_PAYLOAD, buffer, sealed(sim, buffer, FC_DOWN, counter, data, body));
            break;
        case ASKED:
            (void)fc_sim_step(sim, ticks, FC_SIM_PAYLOAD, buffer, sealed(sim, buffer, FC_ASKED, 0, data, body));
            break;
        case ALL_OFF:
            (void)fc_sim_step(sim, ticks, FC_SIM_PAYLOAD, buffer, sealed(sim, buffer, FC_ALL_OFF_FORM, some, data, body));
            break;
        case UNSEALED:
            buffer[0] = some & 1u ? FC_HAIL : FC_ADD;
            fc_write_u32(buffer + 1, some & 2u ? FC_EVERYBODY : fc_address(&sim->core));
            memcpy(buffer + FC_BARE, data, body);
            (void)fc_sim_step(sim, ticks, FC_SIM_PAYLOAD, buffer, FC_BARE + body);
            break;
        case TIME:
            ticks += some * some * 1000u + 1u;
            (void)fc_sim_step(sim, ticks, FC_SIM_NOTHING, NULL, 0);
            break;
        case SAMPLES: {
            int16_t samples[4000];
            for (size_t i = 0; i < 4000; i++) {
                samples[i] = some ? (int16_t)((int8_t)data[i * i % some] * 20) : 0;
            }
            (void)fc_sim_samples(sim, samples, 4000, ticks);
            ticks += S;
            break;
        }
        case STRIKE: {
            uint32_t features[16];
            for (size_t i = 0; i < 16; i++) {
                features[i] = some ? (uint32_t)data[i % some] << (i * 5u % 25u) : 0;
            }
            (void)fc_sim_strike(sim, features, some % 17u, ticks);
            break;
        }
        case POWER:
            sim->cut_words = some & 1u;
            sim->cut_when = some % 3u;
            sim->cut_in = some / 4u;
            if (some & 2u) {
                fc_sim_power_off(sim);
                ticks = S;
                sim->now = 0;
                fc_sim_power_on(sim, 0, (uint8_t)(some % 5u));
            }
            break;
        case BROKEN:
            sim->broken_flash = some & 1u;
            if (some) {
                sim->flash[data[0] * 64u % FC_SIM_FLASH] ^= (uint8_t)some;
            }
            break;
        default:
            (void)fc_sim_step(sim, ticks, some & 1u ? FC_SIM_PRESSED : FC_SIM_CONNECTED, NULL, 0);
            break;
        }
        if (sim->cut) {
            fc_sim_power_off(sim);
            ticks = S;
            sim->now = 0;
            sim->cut_in = 0;
            fc_sim_power_on(sim, 0, 0);
        }
        sim->sent_count = 0;
        ticks += 1000u;
        data += some;
        size -= some;
        check(sim);
    }
    fc_sim_free(sim);
    if (most == 0) {
        const char *told = getenv("FUZZ_BYTES");
        most = told ? strtoull(told, NULL, 10) : UINT64_MAX;
    }
    if (bytes_in >= most) {
        fprintf(stderr, "fuzz: %llu bytes received, nothing found\n", (unsigned long long)bytes_in);
        _Exit(0);
    }
    return 0;
}
