/* The log of the strikes: in flash until each is acknowledged, over a loss of power at any write.

   A strike has a slot of its own. Whether it waits is seen at its first word, which is written to zero when it is
   acknowledged, together with its sum: so neither a torn write nor a torn erase brings it back. One page without a
   waiting strike is always left; before the last such page is used, the page with the fewest is moved into it. */
#ifndef FIELDCTL_LOG_H
#define FIELDCTL_LOG_H

#include "state.h"

#define FC_LOG_FIRST 4u /* page */
#define FC_LOG_PAGES 8u
#define FC_FEATURE_BYTES 42u

struct fc_logged { /* as it lies in flash, after the first word */
    uint16_t sum;
    uint8_t size, spare;
    uint32_t boot, number;
    uint32_t ticks_low, ticks_high;
    uint8_t features[FC_FEATURE_BYTES + 2u]; /* one to five bytes a number, as CBOR has them */
    uint64_t ticks;                          /* not in flash */
};

/* Looks through the log; once, after the store is open. */
void fc_log_open(struct fc_core *core);

/* Logs a strike under the next number of this boot; false when there is no room (counted) or it could not be written.
 */
bool fc_log_add(struct fc_core *core, const uint32_t *features, size_t count, uint64_t at);

/* Nothing waits any more; what lies in flash is below the mark that `kept` has. */
void fc_log_clear(struct fc_core *core);

/* Takes one out; true also when there was no such strike. */
bool fc_log_forget(struct fc_core *core, uint32_t boot, uint32_t number);

/* The next slot after `slot` with a waiting strike, in the order in which they were made; FC_LOG_NONE at the end.
   Begins with FC_LOG_NONE. */
uint16_t fc_log_next(const struct fc_core *core, uint16_t slot);

/* In a build that breaks `strike-cut`: an acknowledgement reaches the flash a while later. */
void fc_log_flush(struct fc_core *core, uint64_t ticks);

/* In a build that breaks `strike-stamped`: stamped when it is first told. */
void fc_log_restamp(struct fc_core *core, uint16_t slot, uint64_t ticks);

void fc_log_read(const struct fc_core *core, uint16_t slot, struct fc_logged *logged);
size_t fc_log_features(const struct fc_logged *logged, uint32_t features[FC_FEATURES]);

#endif
