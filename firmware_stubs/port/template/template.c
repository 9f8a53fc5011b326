/* A port with nothing in it: copy this folder, fill in function after function in the order of ../BRINGUP.md, and let
   ../../selftest name the rule that is broken. As it stands it compiles, sends nothing, hears nothing and keeps nothing. */
#include "../../core/core.h"
#include "bus_driver.h"
#include "carrier.h"
#include "front_end.h"
#include "gate.h"
#include "surge.h"

/* ---- parts of the board: see the headers ----------------------------------------------------------------------- */

void gate_open(uint32_t hold_us)
{
    (void)hold_us;
}

bool gate_is_open(void)
{
    return false;
}

void gate_level(uint8_t percent)
{
    (void)percent;
}

bool carrier_heard(void)
{
    return false;
}

void front_end_power(bool on)
{
    (void)on;
}

size_t front_end_take(int16_t *samples, size_t room, uint64_t *first)
{
    (void)samples;
    (void)room;
    *first = 0;
    return 0;
}

void bus_begin(uint32_t baud)
{
    (void)baud;
}

bool bus_send(const uint8_t *data, size_t size)
{
    (void)data;
    (void)size;
    return false;
}

void bus_listen(bool on)
{
    (void)on;
}

size_t bus_take(uint8_t *data, size_t room, uint64_t *last)
{
    (void)data;
    (void)room;
    *last = 0;
    return 0;
}

/* ---- the chip ------------------------------------------------------------------------------------------------- */

static uint64_t ticks(void) /* P1: a hardware counter, never counted interrupts */
{
    return 0;
}

static uint8_t why(void) /* P2: from the reset register */
{
    return FC_WHY_POWER;
}

static void idle(uint64_t until) /* P3: sleep until then or an interrupt; a clock that runs on */
{
    (void)until;
}

static bool pressed(void) /* P19: once a press */
{
    return false;
}

/* ---- the contract --------------------------------------------------------------------------------------------- */

static void gate(void *ctx, uint32_t hold_us) /* P6 */
{
    (void)ctx;
    gate_open(hold_us);
}

static bool gate_reads(void *ctx) /* P7 */
{
    (void)ctx;
    return gate_is_open();
}

static void level(void *ctx, uint8_t percent) /* P8 */
{
    (void)ctx;
    gate_level(percent);
}

static bool send(void *ctx, const uint8_t *data, size_t size) /* P9 */
{
    (void)ctx;
    return bus_send(data, size);
}

static void listen(void *ctx, bool on) /* P10 */
{
    (void)ctx;
    bus_listen(on);
}

static void pad(void *ctx, bool on) /* P11 */
{
    (void)ctx;
    front_end_power(on);
}

static void flash_read(void *ctx, uint32_t offset, void *data, uint32_t size) /* P12 */
{
    (void)ctx;
    (void)offset;
    for (uint32_t i = 0; i < size; i++) {
        ((uint8_t *)data)[i] = 0xFF;
    }
}

static bool flash_erase(void *ctx, uint32_t page) /* P13 */
{
    (void)ctx;
    (void)page;
    return false;
}

static bool flash_write(void *ctx, uint32_t offset, const void *data, uint32_t size) /* P14 */
{
    (void)ctx;
    (void)offset;
    (void)data;
    (void)size;
    return false;
}

static uint16_t battery(void *ctx, bool loaded) /* P15: what a timer measured last; it does not wait for the load */
{
    (void)ctx;
    (void)loaded;
    return 0;
}

static uint16_t kelvin10(void *ctx) /* P16 */
{
    (void)ctx;
    return 0;
}

static void entropy(void *ctx, uint8_t *data, size_t size) /* P17 */
{
    (void)ctx;
    (void)data;
    (void)size;
}

static void watchdog(void *ctx) /* P18 */
{
    (void)ctx;
}

static const struct fc_unit unit = { /* P21 */
    .firmware = "template",
    .abilities = 0,
    .log_max = 64,
};

static const struct fc_port port = {
    .unit = &unit,
    .gate = gate,
    .gate_reads = gate_reads,
    .level = level,
    .send = send,
    .listen = listen,
    .pad = pad,
    .flash_read = flash_read,
    .flash_erase = flash_erase,
    .flash_write = flash_write,
    .battery = battery,
    .kelvin10 = kelvin10,
    .entropy = entropy,
    .watchdog = watchdog,
};

/* ---- the loop --------------------------------------------------------------------------------------------------- */

static struct fc_core core;

int main(void)
{
    gate_open(0); /* before anything else (P2) */
    bus_begin(115200);
    fc_start(&core, &port, ticks(), why());
    for (;;) {
        uint8_t bytes[64];
        int16_t samples[40];
        uint64_t at;
        size_t count;
        while ((count = bus_take(bytes, sizeof bytes, &at)) > 0) {
            fc_bytes(&core, bytes, count, at);
        }
        while ((count = front_end_take(samples, sizeof samples / sizeof *samples, &at)) > 0) {
            fc_samples(&core, samples, count, at);
        }
        while (pressed()) {
            fc_pressed(&core, ticks());
        }
        idle(fc_step(&core, ticks()));
    }
}
