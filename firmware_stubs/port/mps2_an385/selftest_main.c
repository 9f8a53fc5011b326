/* The selftest on this board. */
#include "../../selftest/selftest.h"

#include "bench.h"
#include "board.h"

static uint64_t ticks(void *ctx)
{
    (void)ctx;
    return clock_us();
}

static void idle(void *ctx, uint64_t until)
{
    (void)ctx;
    board_idle(until);
}

static size_t bytes(void *ctx, uint8_t *data, size_t room, uint64_t *last)
{
    (void)ctx;
    return board_bytes(data, room, last);
}

static size_t samples(void *ctx, int16_t *some, size_t room, uint64_t *first)
{
    (void)ctx;
    return board_samples(some, room, first);
}

static bool pressed(void *ctx)
{
    (void)ctx;
    return board_pressed();
}

static void say(void *ctx, const char *text)
{
    (void)ctx;
    uart_say(text);
}

int main(void)
{
    board_begin();
    const struct selftest_board here = {&board_port, 0, board_why(), ticks, idle, bytes, samples, pressed, say};
    BENCH.result = 0;
    BENCH.result = selftest(&here) ? 2 : 1;
    for (;;) {
        board_port.watchdog(board_port.ctx);
        board_idle(clock_us() + 100000u);
    }
}
