/* The world around the board, as bench.h has it. */
#include "bench.h"

#include "board.h"

#define AWAKE_US 100u

static volatile struct gate_span *span; /* the one that is open; 0: the gate is off */

void bench_publish(void)
{
    uint32_t before = board_lock();
    uint64_t now = clock_us();
    BENCH.seq++;
    BENCH.now_lo = (uint32_t)now;
    BENCH.now_hi = (uint32_t)(now >> 32);
    BENCH.seq++;
    board_unlock(before);
}

void bench_begin(void)
{
    BENCH.starts++;
    BENCH.done = BENCH.order_seq;
    BENCH.stack_size = board_stack_size();
    BENCH.data_bytes = board_data_bytes();
    BENCH.cut_done = 0;
    BENCH.play_count = 0;
    BENCH.seq = 0;
    bench_publish();
    BENCH.magic = BENCH_MAGIC; /* from here on what stands above is this start's */
}

static void obey(uint32_t order)
{
    switch (order) {
    case BENCH_HANG: /* the loop stands still, interrupts go on */
        for (;;) {
            board_sleep();
        }
    case BENCH_HANG_DEAF: /* and these too */
        (void)board_lock();
        for (;;) {
        }
    case BENCH_FAULT:
        *(volatile uint32_t *)0xF0000000u = 0;
        break;
    case BENCH_RESET:
        board_restart(CAUSE_ASKED);
    default:
        break;
    }
}

uint64_t bench_wakes(uint64_t until)
{
    uint64_t most = clock_us() + AWAKE_US;
    return BENCH.awake && most < until ? most : until;
}

void bench_turn(void)
{
    bench_publish();
    BENCH.loops++;
    if (BENCH.loops % 256u == 0) {
        BENCH.stack_used = board_stack_used();
    }
    if (BENCH.done != BENCH.order_seq) {
        BENCH.done = BENCH.order_seq;
        obey(BENCH.order);
    }
}

void bench_power_goes(void)
{
    bench_gate(false, 0);
    BENCH.cut_done = 1;
    board_halt();
}

bool bench_cut_in_word(void)
{
    return BENCH.cut_in && --BENCH.cut_in == 0;
}

bool bench_cut_at_record(void)
{
    return BENCH.cut_records && --BENCH.cut_records == 0;
}

static uint64_t falls_at(void)
{
    return (uint64_t)span->off_hi << 32 | span->off_lo;
}

void bench_gate(bool on, uint32_t hold_us)
{
    uint32_t before = board_lock();
    uint64_t now = clock_us();
    if (span && now >= falls_at()) {
        span = 0; /* nobody triggered it again in time: it has fallen */
    }
    if (on && !span) {
        span = &BENCH.gate[BENCH.gate_head % GATE_LOG];
        span->on_lo = (uint32_t)now;
        span->on_hi = (uint32_t)(now >> 32);
        span->start = BENCH.starts;
        BENCH.gate_head++;
    }
    if (span && !(BENCH.gate_stuck && !on)) {
        uint64_t off = on ? now + hold_us : now;
        span->off_lo = (uint32_t)off;
        span->off_hi = (uint32_t)(off >> 32);
    }
    if (!on) {
        span = 0;
    }
    board_unlock(before);
}

bool bench_gate_reads(void)
{
    if (BENCH.gate_lies) {
        return false;
    }
    return BENCH.gate_stuck || (span && clock_us() < falls_at());
}

static uint32_t draw(uint32_t *state)
{
    *state ^= *state << 13;
    *state ^= *state >> 17;
    *state ^= *state << 5;
    return *state;
}

/* What the world gave at this start, stirred with the time of each call. */
void bench_entropy(uint8_t *data, size_t size)
{
    static uint32_t state;
    state ^= BENCH.entropy[1];
    for (size_t i = 0; i < size; i++) {
        state ^= (uint32_t)clock_us() ^ BENCH.entropy[i % 4u];
        state += state == 0;
        data[i] = (uint8_t)(draw(&state) >> 11);
    }
}

/* About Gaussian: the sum of four even draws of a byte has a root mean square of 148. */
static int noise(void)
{
    static uint32_t state = 0x2545F491u;
    uint32_t bytes = draw(&state);
    int sum = -510;
    for (int i = 0; i < 4; i++) {
        sum += (int)(bytes >> 8 * i & 0xFFu);
    }
    return sum * (int)BENCH.noise / (148 * 16);
}

int16_t bench_sample(uint64_t at_us)
{
    int level = noise();
    if (BENCH.play_count) {
        uint64_t first = (uint64_t)BENCH.play_hi << 32 | BENCH.play_lo;
        uint64_t index = (at_us - first) / 250u;
        if (at_us >= first && index < BENCH.play_count) {
            level += PLAY[index];
        }
    }
    return (int16_t)(level < -2048 ? -2048 : level > 2047 ? 2047 : level);
}
