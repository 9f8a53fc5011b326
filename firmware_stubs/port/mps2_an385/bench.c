/* The world around the board, as bench.h has it. */
#include "bench.h"

#include "board.h"

static volatile struct gate_span *span; /* the one that is open; 0: the gate is off */
static uint32_t noise_state = 0x2545F491u;

void bench_begin(void)
{
    BENCH.starts++;
    BENCH.done = BENCH.order_seq;
    BENCH.stack_size = board_stack_size();
    BENCH.data_bytes = board_data_bytes();
    BENCH.cut_done = 0;
    noise_state ^= BENCH.entropy[0];
    BENCH.magic = BENCH_MAGIC;
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

void bench_turn(void)
{
    uint64_t now = clock_us();
    BENCH.seq++;
    BENCH.now_lo = (uint32_t)now;
    BENCH.now_hi = (uint32_t)(now >> 32);
    BENCH.seq++;
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

/* About Gaussian: the sum of four even draws, whose root mean square is 1/sqrt(3) of the width of one. */
static int noise(void)
{
    int sum = 0;
    for (int i = 0; i < 4; i++) {
        noise_state = noise_state * 1664525u + 1013904223u;
        sum += (int)(noise_state >> 24) - 128;
    }
    return sum * (int)BENCH.noise / (148 * 16);
}

int bench_sample(uint64_t at_us)
{
    int level = BENCH_PAD_MIDDLE + noise();
    if (BENCH.play_count) {
        uint64_t first = (uint64_t)BENCH.play_hi << 32 | BENCH.play_lo;
        uint64_t index = (at_us - first) / 250u;
        if (at_us >= first && index < BENCH.play_count) {
            level += PLAY[index];
        }
    }
    return level < 0 ? 0 : level > 4095 ? 4095 : level;
}
