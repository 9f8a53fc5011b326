/* A target: the core in one loop. */
#include "../../core/core.h"
#include "board.h"

#define BYTES_AT_ONCE 64u
#define SAMPLES_AT_ONCE 40u

static struct fc_core core;

int main(void)
{
    board_begin();
    fc_start(&core, &board_port, clock_us(), board_why());
    for (;;) {
        uint8_t bytes[BYTES_AT_ONCE];
        int16_t samples[SAMPLES_AT_ONCE];
        uint64_t at;
        size_t count;
        while ((count = board_bytes(bytes, sizeof bytes, &at)) > 0) {
            fc_bytes(&core, bytes, count, at);
        }
        while ((count = board_samples(samples, SAMPLES_AT_ONCE, &at)) > 0) {
            fc_samples(&core, samples, count, at);
        }
        while (board_pressed()) {
            fc_pressed(&core, clock_us());
        }
        board_idle(fc_step(&core, clock_us()));
    }
}
