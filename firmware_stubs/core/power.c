#include "power.h"

#include "gate.h"
#include "store.h"

#define SAMPLE_EVERY_US 600000000u
#define WRITE_EVERY_US 3600000000u
#define PER_MAS 1000000000u /* µA·µs in a mA·s */

void fc_sample_battery(struct fc_core *core, uint64_t ticks)
{
    const struct fc_port *port = core->port;
    core->rest_mv = port->battery(port->ctx, false);
    core->load_mv = port->battery(port->ctx, true);
    core->kelvin10 = port->kelvin10(port->ctx);
    core->sampled_at = ticks;
}

uint64_t fc_power_step(struct fc_core *core, uint64_t ticks)
{
    const struct fc_unit *unit = core->port->unit;
    uint32_t ua = unit->awake_ua + (fc_sends_at(core, ticks) ? unit->sending_ua : 0u);
    core->charge_rest += (ticks - core->counted_at) * (core->asleep_until ? 0 : ua);
    core->counted_at = ticks;
    while (core->charge_rest >= PER_MAS) {
        core->charge_rest -= PER_MAS;
        core->kept.charge_mas++;
    }
    if (ticks - core->sampled_at >= SAMPLE_EVERY_US) {
        fc_sample_battery(core, ticks);
    }
    if (ticks - core->written_at >= WRITE_EVERY_US) {
        struct fc_kept next = core->kept;
        core->written_at = ticks;
        (void)fc_store(core, &next);
    }
    return core->sampled_at + SAMPLE_EVERY_US;
}
