/* What is measured of a strike on the pad: fieldctl/strikes/features.py. 4000 samples a second, all in whole numbers.

   Baseline and noise follow the samples (about 2 s) and are held while a strike goes on. A strike begins when a sample
   leaves the baseline by more than the threshold times the noise, and ends when it has stayed under a quarter of its
   peak for 20 ms, or after 2 s. What follows within 200 ms of its begin belongs to its envelope and energy and is no
   strike of its own. */
#ifndef FIELDCTL_PAD_H
#define FIELDCTL_PAD_H

#include "state.h"

/* Listens, or not; threshold in tenths of the noise, 0: the target's own. What was learned of baseline and noise is
   kept for a pad that is armed already. */
void fc_pad_arm(struct fc_core *core, bool armed, uint16_t threshold);

/* Samples, the first of them at `first`. */
void fc_pad_take(struct fc_core *core, const int16_t *samples, size_t count, uint64_t first);

/* Root mean square at rest, in steps of the converter. */
uint16_t fc_pad_noise(const struct fc_core *core);

/* Logs a strike of the pad while it is armed and awake, and tells of it. */
bool fc_pad_strike(struct fc_core *core, const uint32_t *features, size_t count, uint64_t at);

#endif
