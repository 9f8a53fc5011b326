/* The contract of port.h on mps2-an385. What a board of silicon has as parts (one-shot of the gate, converter, cell,
   button, source of entropy) is the bench's; clock, UART, watchdog and interrupts are the emulated chip's own. */
#include "../port.h"

#include <string.h>

#include "bench.h"
#include "board.h"

#define SAMPLE_US 250u
#define BATCH_US 5000u /* samples are handed over so often; at most 20 ms (P11) */

_Static_assert(FLASH_PAGE == FC_FLASH_PAGE && FLASH_PAGES >= FC_FLASH_PAGES, "the storage holds what the core keeps");

static struct fc_unit unit = {
    .firmware = "mps2 1",
    .abilities = FC_CAN_PAD | FC_CAN_THERMOMETER | FC_CAN_SLEEP | FC_CAN_BUTTON | FC_CAN_TRANSMITTER | FC_CAN_LEVELS |
                 FC_CAN_TRACES,
    .turnaround_us = 200,
    .radio = false,
    .log_max = 64,
    .weak_mv = 2200,
    .low_mv = 2600,
    .awake_ua = 3000,
    .sending_ua = 12000,
};

static bool pad_on;
static uint64_t next_sample;
static uint32_t presses;

static void gate(void *ctx, uint32_t hold_us)
{
    (void)ctx;
    bench_gate(hold_us != 0, hold_us);
}

static bool gate_reads(void *ctx)
{
    (void)ctx;
    return bench_gate_reads();
}

static void level(void *ctx, uint8_t percent)
{
    (void)ctx;
    BENCH.level = percent;
}

static bool send(void *ctx, const uint8_t *data, size_t size)
{
    (void)ctx;
    return uart_give(data, (uint32_t)size);
}

static void listen(void *ctx, bool on)
{
    (void)ctx;
    uart_listen(on);
}

static void pad(void *ctx, bool on)
{
    (void)ctx;
    if (on && !pad_on) {
        uint64_t now = clock_us();
        next_sample = now + SAMPLE_US - now % SAMPLE_US;
    }
    pad_on = on;
}

static void read_flash(void *ctx, uint32_t offset, void *data, uint32_t size)
{
    (void)ctx;
    memcpy(data, flash_at(offset), size);
}

static bool erase_flash(void *ctx, uint32_t page)
{
    (void)ctx;
    return flash_erase(page);
}

static bool write_flash(void *ctx, uint32_t offset, const void *data, uint32_t size)
{
    (void)ctx;
    return flash_write(offset, data, size);
}

static uint16_t battery(void *ctx, bool loaded)
{
    (void)ctx;
    return (uint16_t)(loaded ? BENCH.load_mv : BENCH.rest_mv);
}

static uint16_t kelvin10(void *ctx)
{
    (void)ctx;
    return (uint16_t)BENCH.kelvin10;
}

static void entropy(void *ctx, uint8_t *data, size_t size)
{
    (void)ctx;
    bench_entropy(data, size);
}

static void watchdog(void *ctx)
{
    (void)ctx;
    watchdog_feed();
}

const struct fc_port board_port = {
    .unit = &unit,
    .gate = gate,
    .gate_reads = gate_reads,
    .level = level,
    .send = send,
    .listen = listen,
    .pad = pad,
    .flash_read = read_flash,
    .flash_erase = erase_flash,
    .flash_write = write_flash,
    .battery = battery,
    .kelvin10 = kelvin10,
    .entropy = entropy,
    .watchdog = watchdog,
};

void board_begin(void)
{
    clock_begin();
    bench_gate(false, 0);
    watchdog_begin();
    uart_begin(115200);
    for (size_t i = 0; i < sizeof unit.hardware; i++) {
        unit.hardware[i] = (uint8_t)(BENCH.hardware[i / 4u] >> 8u * (i % 4u));
    }
    for (size_t i = 0; i < sizeof unit.secret; i++) {
        unit.secret[i] = (uint8_t)(BENCH.secret[i / 4u] >> 8u * (i % 4u));
    }
    presses = BENCH.pressed;
    bench_begin();
}

uint8_t board_why(void)
{
    static const uint8_t why[] = {
        [CAUSE_POWER] = FC_WHY_POWER,
        [CAUSE_WATCHDOG] = FC_WHY_WATCHDOG,
        [CAUSE_FAULT] = FC_WHY_FAULT,
        [CAUSE_ASKED] = FC_WHY_ORDER,
    };
    return why[board_cause()];
}

size_t board_bytes(uint8_t *data, size_t room, uint64_t *last)
{
    return uart_take(data, (uint32_t)room, last);
}

size_t board_samples(int16_t *samples, size_t room, uint64_t *first)
{
    if (!pad_on || clock_us() < next_sample + BATCH_US) {
        return 0;
    }
    uint64_t now = clock_us();
    size_t count = 0;
    *first = next_sample;
    while (count < room && next_sample <= now) {
        samples[count++] = bench_sample(next_sample);
        next_sample += SAMPLE_US;
    }
    return count;
}

bool board_pressed(void)
{
    if (presses == BENCH.pressed) {
        return false;
    }
    presses++;
    return true;
}

void board_idle(uint64_t until)
{
    bench_turn();
    if (pad_on && next_sample + BATCH_US < until) {
        until = next_sample + BATCH_US;
    }
    until = bench_wakes(until);
    uint32_t before = board_lock(); /* an interrupt that comes from here on still ends the sleep */
    clock_wake_at(until);
    if (clock_us() < until && !uart_waits()) {
        board_sleep();
    }
    board_unlock(before);
}
