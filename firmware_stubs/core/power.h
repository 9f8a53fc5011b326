/* The battery at rest and under load, the temperature, and the charge that was taken out. */
#ifndef FIELDCTL_POWER_H
#define FIELDCTL_POWER_H

#include "state.h"

/* Measures now: at the start, before a grant, for a report, and every ten minutes. */
void fc_sample_battery(struct fc_core *core, uint64_t ticks);

/* Counts the charge up to now, and writes it down once an hour; gives when it wants to be asked again. */
uint64_t fc_power_step(struct fc_core *core, uint64_t ticks);

#endif
