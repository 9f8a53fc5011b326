/* Not part of the firmware: what a board calls, in one place, so that a linker can say how large the core is. */
#include "core.h"

struct fc_core core;
extern const struct fc_port port;
const struct fc_port port;

void footprint(uint8_t *data, size_t size, uint64_t at);
void footprint(uint8_t *data, size_t size, uint64_t at)
{
    fc_start(&core, &port, at, FC_WHY_POWER);
    fc_bytes(&core, data, size, at);
    fc_payload(&core, data, size, at, true);
    fc_connected(&core, at);
    fc_samples(&core, (const int16_t *)(const void *)data, size, at);
    fc_pressed(&core, at);
    (void)fc_step(&core, at);
}
