/* The core as compiled for this processor, answering scripts that come over the UART: the shared vectors, byte for byte.
   The board in memory of ../sim stands between, so that time is what the script says.

   A request is its size (two bytes, little end first), what it asks for (one byte) and what belongs to it; an answer is
   its size and itself. `tests/firmware/test_board_vectors.py` has the same layout. */
#include <string.h>

#include "../sim/sim.h"
#include "board.h"

#define ROOM 512u

static struct fc_sim *sim;
static const uint8_t *at;
static uint8_t answer[ROOM];
static size_t size;

static uint64_t number(size_t bytes)
{
    uint64_t value = 0;
    for (size_t i = 0; i < bytes; i++) {
        value |= (uint64_t)at[i] << 8u * i;
    }
    at += bytes;
    return value;
}

static const uint8_t *take(size_t bytes)
{
    const uint8_t *here = at;
    at += bytes;
    return here;
}

static void put(uint64_t value, size_t bytes)
{
    for (size_t i = 0; i < bytes; i++) {
        answer[size++] = (uint8_t)(value >> 8u * i);
    }
}

static void begin(void)
{
    const uint8_t *hardware = take(8), *secret = take(16);
    const char *firmware = (const char *)take(17);
    bool radio = number(1);
    bool keyed = number(1);
    const uint8_t *own = take(16), *all_off = take(16);
    uint32_t version = (uint32_t)number(4);
    if (sim) {
        fc_sim_free(sim);
    }
    sim = fc_sim_new(hardware, secret, firmware, 0, radio, 4, 12345);
    put(!keyed || fc_sim_give_keys(sim, own, all_off, version), 1);
}

static void body(void)
{
    sim->unit.abilities = (uint16_t)number(2);
    sim->unit.turnaround_us = (uint16_t)number(2);
    sim->unit.log_max = (uint8_t)number(1);
    sim->unit.awake_ua = sim->unit.sending_ua = 0;
    sim->unit.weak_mv = sim->unit.low_mv = number(1) ? 1 : 0xFFFF;
    sim->gate_stuck = number(1);
    sim->rest_mv = (uint16_t)number(2);
    sim->load_mv = (uint16_t)number(2);
    sim->kelvin10 = (uint16_t)number(2);
    uint32_t noise = (uint32_t)number(2) << 8u; /* as the pad keeps it: the square of it, in Q16 */
    sim->core.pad.variance = (uint64_t)noise * noise << 8u;
    sim->core.kept.charge_mas = (uint32_t)number(4);
}

static void hear(size_t left)
{
    static uint8_t payload[FC_FRAME_MAX];
    uint64_t ticks = number(8), due;
    int what = number(1) ? FC_SIM_RETAINED : FC_SIM_PAYLOAD;
    sim->nonce_set = number(1);
    memcpy(sim->nonce, take(8), 8);
    size_t heard = left - 18u;
    memcpy(payload, take(heard), heard);
    (void)fc_sim_step(sim, ticks, what, payload, heard);
    size_t said = fc_sim_pull(sim, &due);
    put(said ? due - ticks - sim->unit.turnaround_us : 0, 8);
    for (size_t kind = 0; kind < FC_LOST_KINDS; kind++) {
        put(sim->core.lost[kind], 2);
    }
    if (said) {
        memcpy(answer + size, sim->sent[sim->sent_count - 1u].data, said);
        size += said;
    }
    sim->sent_count = 0;
}

static void strike(void)
{
    uint32_t features[FC_FEATURES];
    uint64_t ticks = number(8);
    size_t count = (size_t)number(1);
    for (size_t i = 0; i < count; i++) {
        features[i] = (uint32_t)number(4);
    }
    put(fc_sim_strike(sim, features, count, ticks), 1);
}

static void samples(size_t left)
{
    static int16_t shown[ROOM / 2u];
    uint64_t ticks = number(8);
    size_t count = (left - 8u) / 2u;
    for (size_t i = 0; i < count; i++) {
        shown[i] = (int16_t)number(2);
    }
    (void)fc_sim_samples(sim, shown, count, ticks);
}

static void obey(const uint8_t *request, size_t left)
{
    at = request + 1;
    size = 2;
    switch (request[0]) {
    case 'n':
        begin();
        break;
    case 'b':
        body();
        break;
    case 'o':
        fc_sim_power_off(sim);
        fc_sim_power_on(sim, 0, (uint8_t)number(1));
        break;
    case 'h':
        hear(left - 1u);
        break;
    case 's':
        strike();
        break;
    case 'w':
        samples(left - 1u);
        break;
    case 'p':
        (void)fc_sim_step(sim, number(8), FC_SIM_PRESSED, answer, 0);
        break;
    default:
        break;
    }
    answer[0] = (uint8_t)(size - 2u);
    answer[1] = (uint8_t)((size - 2u) >> 8u);
    size_t sent = 0;
    while (sent < size) {
        size_t some = size - sent < 64u ? size - sent : 64u;
        sent += uart_give(answer + sent, (uint32_t)some) ? some : 0;
    }
}

int main(void)
{
    static uint8_t request[ROOM];
    size_t have = 0;
    uint64_t last;
    board_begin();
    for (;;) {
        watchdog_feed();
        have += board_bytes(request + have, ROOM - have, &last);
        size_t need = 2u + (have < 2u ? 0u : request[0] | (size_t)request[1] << 8u);
        if (have >= 2u && have >= need) {
            obey(request + 2, need - 2u);
            have = 0;
        } else {
            board_idle(clock_us() + 1000u);
        }
    }
}
