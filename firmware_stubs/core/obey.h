/* Which order a target carries out: the table of fieldctl/wire/obey.py, rule by rule, and what an order changes. */
#ifndef FIELDCTL_OBEY_H
#define FIELDCTL_OBEY_H

#include "body.h"
#include "words.h"

/* Obeys an order, or says why not; what has to last is written down before anything opens. */
struct fc_answer fc_obey(struct fc_core *core, const struct fc_message *order, uint64_t ticks, bool retained);

/* Whether an all off heard by everybody is new: a repeat of one that was released is a recording. */
bool fc_broadcast_counts(const struct fc_core *core, uint32_t epoch);

#endif
