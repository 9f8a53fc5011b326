/* The conversation, a target's end: rows T1 to T7 of fieldctl/wire/session.py, being found, and being added. */
#ifndef FIELDCTL_HEAR_H
#define FIELDCTL_HEAR_H

#include "state.h"

/* Takes one payload; whatever it makes the target say waits in core->out. */
void fc_hear(struct fc_core *core, uint8_t *payload, size_t size, uint64_t ticks, bool retained);

/* Says something unasked (over radio): kinds of `fc_say_…` by what they are. Only while nothing
   else waits; false when it could not be sealed. */
bool fc_push_strike(struct fc_core *core, uint16_t slot, uint64_t ticks);
bool fc_push_greeting(struct fc_core *core, uint64_t ticks);
bool fc_push_status(struct fc_core *core, uint64_t ticks);

/* Begins the conversations that the keys on file allow. */
void fc_begin_talking(struct fc_core *core);

#endif
